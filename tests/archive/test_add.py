"""Recordings are added once each, whatever happens to the command, and odd ones with a reason."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from unknown_circuit import unknown_track

import trackkit
from trackkit.archive import write as writing
from trackkit.archive.columns import LAPS, RECORDINGS, SECTORS, SESSIONS
from trackkit.archive.store import rows_of
from trackkit.errors import OutputError

PIPWICK = "pipwick-kart-circuit"


def recordings(at: Path) -> dict[str, dict]:
    rows = rows_of(str(at), RECORDINGS, RECORDINGS.names).to_pylist()
    return {Path(row["file"]).name: row for row in rows}


def test_every_file_of_a_folder_is_told_as_what_it_is(stored):
    at, added = stored
    states = {name: row["state"] for name, row in recordings(at).items()}
    assert states == {
        "a.nmea": "timed",
        "b.csv": "timed",
        "c.gpx": "timed",
        "elsewhere.csv": "unplaced",
        "broken.nmea": "unusable",
        "readme.txt": "other",
    }
    assert (added.timed, added.known) == (3, 0)
    assert [Path(reason.file).name for reason in added.unusable] == ["broken.nmea"]
    assert "checksum" in added.unusable[0].text
    assert [Path(reason.file).name for reason in added.unplaced] == ["elsewhere.csv"]
    assert [Path(file).name for file in added.other] == ["readme.txt"]


def test_times_are_those_of_time_laps(stored, season):
    """From the same recording and track, to the bit."""
    at, _ = stored
    track = trackkit.read_track(trackkit.open_library().find(PIPWICK).path)
    report = trackkit.time_laps(track, trackkit.read_recording(season / "a.nmea"))
    name = recordings(at)["a.nmea"]["recording"]
    every = rows_of(str(at), LAPS, LAPS.names).to_pylist()
    rows = sorted((row for row in every if row["recording"] == name), key=lambda row: row["lap"])
    assert [row["time_s"] for row in rows] == [lap.time_s for lap in report.laps]
    assert [row["sigma_s"] for row in rows] == [lap.sigma_s for lap in report.laps]
    sectors = rows_of(str(at), SECTORS, ("recording", "lap", "sector", "time_s")).to_pylist()
    stored_s = {
        (row["lap"], row["sector"]): row["time_s"] for row in sectors if row["recording"] == name
    }
    assert stored_s == {
        (lap.number, place): sector.time_s
        for lap in report.laps
        for place, sector in enumerate(lap.sectors, start=1)
    }


def test_what_a_table_of_drivers_says_stands_with_the_sessions(stored):
    rows = rows_of(str(stored[0]), SESSIONS, SESSIONS.names).to_pylist()
    said = {
        (row["driver"], row["vehicle"], row["class"], row["weather"], row["temperature_degc"])
        for row in rows
    }
    assert said == {
        ("Ada", "7", "Junior", "dry", 21.5),
        ("Bert", "8", "Senior", "wet", 12.0),
        (None, None, None, None, None),
    }


def test_what_is_said_anew_is_taken_up_without_timing(archive, season, home, in_this_process):
    """Of a table that changed and of an option; what is not said any more stays."""
    (home / "again").mkdir()
    for name in ("a.nmea", "c.gpx"):
        shutil.copy(season / name, home / "again" / name)
    (home / "again" / "drivers.csv").write_text("file,driver,temperature\na.nmea,Adele,22.5\n")
    added = trackkit.add_to_archive([home / "again"], archive, class_="Senior")
    assert in_this_process == []
    assert (added.timed, added.known, added.described) == (0, 2, 2)
    rows = rows_of(str(archive), SESSIONS, SESSIONS.names).to_pylist()
    facts = {
        (row["driver"], row["vehicle"], row["class"], row["weather"], row["temperature_degc"])
        for row in rows
    }
    assert facts == {
        ("Adele", "7", "Senior", "dry", 22.5),
        ("Bert", "8", "Senior", "wet", 12.0),
        (None, None, "Senior", None, None),
    }
    assert trackkit.add_to_archive([home / "again"], archive, class_="Senior").described == 0


def test_what_is_known_by_content_is_passed_over(archive, season, home, in_this_process):
    """Under its own name without being read, and as a copy under another name."""
    (home / "copies").mkdir()
    copy = shutil.copy(season / "a.nmea", home / "copies" / "copy.nmea")
    added = trackkit.add_to_archive([season, copy], archive)
    assert in_this_process == []
    assert (added.timed, added.known) == (0, 7)


@pytest.mark.slow
def test_a_copy_within_the_same_folder_is_timed_once(home, season, in_this_process):
    (home / "day").mkdir()
    for name in ("x.gpx", "y.gpx"):
        shutil.copy(season / "c.gpx", home / "day" / name)
    added = trackkit.add_to_archive([home / "day"], home / "archive")
    assert in_this_process == ["x.gpx"]
    assert (added.timed, added.known) == (1, 1)


@pytest.mark.slow
def test_a_recording_is_timed_once_its_circuit_is_in_the_library(
    archive, season, home, in_this_process
):
    (home / "tracks").mkdir()
    trackkit.write_track(unknown_track(), home / "tracks" / "box.geojson")
    added = trackkit.add_to_archive([season], archive, library=[home / "tracks"])
    assert in_this_process == ["elsewhere.csv"]
    assert added.timed == 1
    assert recordings(archive)["elsewhere.csv"]["track"] == "box"
    assert trackkit.open_archive(archive).unknown() == ()


@pytest.mark.slow
@pytest.mark.parametrize("commits", [0, 1, 2, 3, 4])
def test_a_batch_that_broke_off_is_written_again_with_nothing_twice(
    commits, home, season, in_this_process, monkeypatch
):
    """After each of the five commits of a batch; what the break left over does not count."""
    write, left = writing.replace_rows, [commits]

    def breaking(*arguments: object) -> None:
        if left[0] == 0:
            raise OutputError("the disk is full")
        left[0] -= 1
        write(*arguments)

    at = home / "archive"
    monkeypatch.setattr(writing, "replace_rows", breaking)
    monkeypatch.setattr(writing, "BATCH", 1)
    with pytest.raises(OutputError):
        trackkit.add_to_archive([season / "c.gpx"], at)
    if commits:
        assert rows_of(str(at), RECORDINGS, ("recording",)).num_rows == 0
    monkeypatch.setattr(writing, "replace_rows", write)
    assert trackkit.add_to_archive([season / "c.gpx"], at).timed == 1
    laps = trackkit.open_archive(at).laps(every=True).fetchall()
    assert len(laps) == len({(row[0], row[3], row[4]) for row in laps}) == 4


@pytest.mark.slow
def test_a_file_that_cannot_be_read_is_named_and_the_others_are_done(home, season, in_this_process):
    added = trackkit.add_to_archive([home / "none.nmea", season / "c.gpx"], home / "archive")
    assert added.timed == 1
    assert [reason.text for reason in added.unusable] == ["no such file"]


def test_a_temperature_that_is_no_number_is_refused(home, season):
    shutil.copy(season / "c.gpx", home / "c.gpx")
    (home / "drivers.csv").write_text("file,temperature\nc.gpx,warm\n")
    with pytest.raises(trackkit.TrackkitError, match="'warm', which is no number"):
        trackkit.add_to_archive([home / "c.gpx"], home / "archive")
