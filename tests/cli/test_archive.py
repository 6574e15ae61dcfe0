"""What the commands of an archive parse and print."""

from __future__ import annotations

import io
import json
import shlex

import pytest
from output_schemas import validator
from unknown_circuit import unknown_track

from trackkit.archive import add as adding
from trackkit.cli import run
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive

for name in ("dask", "deltalake", "duckdb", "pyarrow"):
    pytest.importorskip(name, reason=f"the extra archive, of which {name} is, is not installed")


@pytest.fixture(autouse=True)
def here(monkeypatch):
    """Time recordings in this process: what is tested is what is parsed and printed."""

    def inline(work, items, done, **_):
        for place, item in enumerate(items):
            done(place, work(item))
        return []

    monkeypatch.setattr(adding, "spread", inline)


@pytest.fixture
def season(home, bean_folder, monkeypatch):
    """One recording of a known circuit, one of an unknown one, and one that is broken."""
    folder = home / "season"
    folder.mkdir()
    (folder / "s.nmea").write_bytes((bean_folder / "s.nmea").read_bytes())
    write_recording(
        simulate_drive(unknown_track(), laps=1, rate_hz=2.0, seed=4).recording,
        folder / "elsewhere.csv",
    )
    (folder / "broken.nmea").write_text("$GPRMC,1,2,3\n")
    (folder / "readme.txt").write_text("no recording\n")
    monkeypatch.setenv("TRACKKIT_LIBRARY", str(bean_folder))
    monkeypatch.setenv("TRACKKIT_ARCHIVE", str(home / "archive"))
    return folder


@pytest.mark.slow
def test_a_season_is_added_and_asked(season, home, capsys):
    """Status 1 for the broken file; all others are done, and known from then on."""
    add = ["archive", "add", str(season), "--driver", "Ada"]
    assert run(add) == 1
    printed = capsys.readouterr()
    assert "1 recording timed, 5 laps; 1 on no known circuit; 1 not usable" in printed.out
    assert "broken.nmea: holds no whole RMC" in printed.err
    assert "1 file" in printed.err
    assert run([*add, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["known"] == 4

    assert run(["archive", "laps"]) == 0
    printed = capsys.readouterr()
    assert printed.out.count("Ada") == 3
    assert "GPS times are for training" in printed.err
    assert run(["archive", "laps", "--most", "1"]) == 0
    printed = capsys.readouterr()
    assert printed.out.count("Ada") == 1
    assert "--most N shows more" in printed.err
    assert run(["archive", "laps", "--driver", "Bert"]) == 0
    assert "no lap is like that" in capsys.readouterr().out
    assert run(["archive", "laps", "--every", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["laps"]) == 5

    files = [str(home / "laps.csv"), str(home / "laps.parquet")]
    assert run(["archive", "laps", "--csv", files[0], "--parquet", files[1]]) == 0
    assert len((home / "laps.csv").read_text().splitlines()) == 4
    import pyarrow.parquet as pq

    assert pq.read_table(files[1]).num_rows == 3
    capsys.readouterr()
    assert run(["archive", "laps", "--csv", files[0]]) == 1
    assert "exists already" in capsys.readouterr().err

    assert run(["archive", "summary", "--by", "driver", "--by", "day"]) == 0
    assert "Invented Bean" in capsys.readouterr().out
    assert run(["archive", "summary", "--by", "driver", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [row["driver"] for row in document["summary"]] == ["Ada"]
    assert document["records"][0]["time_s"] == document["summary"][0]["best_s"]

    assert run(["archive", "unknown"]) == 0
    assert f"trackkit build {season / 'elsewhere.csv'} --name NAME" in capsys.readouterr().out
    assert run(["archive", "unknown", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["places"]) == 1


@pytest.mark.slow
def test_a_driver_is_forgotten_after_being_asked(season, home, capsys, monkeypatch):
    """No changes nothing; --yes does not ask; what is said names what is the user's to delete."""
    assert run(["archive", "add", str(season), "--driver", "Ada"]) == 1
    forget = ["archive", "forget", "--driver", "ada"]
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert run(forget) == 130
    printed = capsys.readouterr()
    assert "1 recording of Ada, 1 session, 5 laps" in printed.err
    assert str(season / "s.nmea") in printed.err
    assert "does not know who drove" in printed.err
    assert "Take them out for good?" in printed.err
    assert run(["archive", "laps"]) == 0
    assert "Ada" in capsys.readouterr().out
    assert run([*forget, "--yes", "--json"]) == 0
    printed = capsys.readouterr()
    document = json.loads(printed.out)
    assert list(validator("archive forget").iter_errors(document)) == []
    assert (document["laps"], document["drivers"], document["untimed"]) == (5, ["Ada"], 2)
    assert "are yours to delete" in printed.err
    assert run(["archive", "laps"]) == 0
    assert "no lap is like that" in capsys.readouterr().out
    assert run([*forget, "--yes"]) == 1
    assert "holds no session of a driver 'ada'" in capsys.readouterr().err
    assert run(["archive", "forget", str(season / "elsewhere.csv"), "--yes"]) == 0
    assert "1 recording forgotten, 0 laps" in capsys.readouterr().out


@pytest.mark.slow
def test_laps_that_would_better_a_line_are_offered(home, capsys):
    """What is typed then revises it, and is not offered again."""
    track = unknown_track()
    for number, laps in enumerate((1, 3)):
        drive = simulate_drive(track, laps=laps, rate_hz=5.0, seed=21 + number)
        write_recording(drive.recording, home / f"day {number}.nmea")
    library = home / "tracks"
    library.mkdir()
    path = str(library / "k.geojson")
    assert run(["build", str(home / "day 0.nmea"), "--name", "Kart", "-o", path]) == 0
    add = ["archive", "add", "--library", str(library), "--at", str(home / "archive")]
    capsys.readouterr()
    assert run([*add, str(home / "day 0.nmea")]) == 0
    assert "revise" not in capsys.readouterr().err
    assert run([*add, str(home / "day 1.nmea")]) == 0
    (offer,) = [line for line in capsys.readouterr().err.splitlines() if "revise" in line]
    assert "3 laps of 1 recording would better its line; it was made from 2: revise it" in offer
    typed = shlex.split(offer[offer.rindex("trackkit ") :])
    assert typed == ["trackkit", "build", "--revise", path, str(home / "day 1.nmea")]
    assert run(typed[1:]) == 0
    write_recording(
        simulate_drive(track, laps=1, rate_hz=5.0, seed=29).recording, home / "day 2.nmea"
    )
    capsys.readouterr()
    assert run([*add, str(home / "day 2.nmea")]) == 0
    assert "revise" not in capsys.readouterr().err


def test_an_archive_that_is_none_is_said_and_a_wrong_word_is_status_2(home, capsys):
    assert run(["archive", "laps", "--at", str(home / "none")]) == 1
    assert "is no archive yet" in capsys.readouterr().err
    assert run(["archive", "summary", "--by", "shoes"]) == 2
    both = ["archive", "add", "x", "--workers", "2", "--scheduler", "tcp://127.0.0.1:1"]
    assert run(both) == 2
