"""``trackkit laps`` without a track: circuits located, folders, names, ids."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from oval_page import document_of

from trackkit.cli import run
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive, write_simulation
from trackkit.track.file import read_track, write_track

TRACKS = Path(__file__).parents[2] / "tracks"


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """A folder of a day: three recordings of two circuits, and what lies beside them."""
    folder = tmp_path_factory.mktemp("day")
    kart, short = (read_track(TRACKS / f"{name}.geojson") for name in NAMES)
    write_simulation(simulate_drive(kart, laps=3, rate_hz=5.0, seed=1), folder / "a.nmea")
    (folder / "later").mkdir()
    afternoon = datetime(2024, 5, 4, 15, 0, tzinfo=UTC)
    second = simulate_drive(kart, laps=3, rate_hz=5.0, seed=2, start=afternoon)
    write_simulation(second, folder / "later" / "b.csv")
    third = simulate_drive(short, laps=2, rate_hz=5.0, seed=3)
    write_recording(third.recording, folder / "later" / "c.gpx")
    write_track(kart, folder / "kart.geojson")
    (folder / "notes.txt").write_text("rain at noon\n")
    (folder / "drivers.csv").write_text("file,driver,vehicle\na.nmea,Ada,7\n")
    return folder


NAMES = ("pipwick-kart-circuit", "ruddlebeck-short")


@pytest.fixture
def laps(day, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(day)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)

    def work(*arguments, status=0):
        capsys.readouterr()
        assert run(["laps", *arguments]) == status
        return capsys.readouterr()

    return work


@pytest.mark.slow
def test_without_a_track_the_circuit_finds_itself(laps):
    document = json.loads(laps("a.nmea", "--json").out)
    named = json.loads(laps("kart.geojson", "a.nmea", "--json").out)

    assert document["track"] == NAMES[0]
    assert document["recordings"] == named["recordings"]
    assert document["unplaced"] == []


def test_an_id_of_the_library_works_where_a_track_file_does(laps):
    document = json.loads(laps(NAMES[0], "a.nmea", "--json").out)

    assert document["track"] == NAMES[0]
    said = laps("no-such-circuit", "a.nmea", status=1)
    assert "no-such-circuit: is no file, and no circuit of the libraries has it" in said.err
    assert "trackkit library list" in said.err


@pytest.mark.slow
def test_two_circuits_in_a_folder_give_two_tables(laps):
    out = laps(".").out
    document = json.loads(laps(".", "--json").out)

    assert "of Pipwick" in out
    assert "of Ruddlebeck (Short)" in out
    assert [part["track"] for part in document["circuits"]] == list(NAMES)
    assert [row["file"] for row in document["recordings"]] == [
        "a.nmea",
        "later/b.csv",
        "later/c.gpx",
    ]
    assert len(document["circuits"][0]["ranking"]) == 6


@pytest.mark.slow
def test_what_is_no_recording_in_a_folder_is_counted_and_named_on_request(laps):
    said = laps(".")
    named = laps(".", "--skipped")

    assert "1 file is no recording (--skipped names them)" in said.err
    assert "1 file is no recording: notes.txt" in named.err
    assert "truth.json" not in named.err
    assert "kart.geojson" not in named.err


@pytest.mark.slow
def test_the_table_of_drivers_names_recordings(laps):
    out = laps("a.nmea").out
    row = json.loads(laps("a.nmea", "--json").out)["recordings"][0]

    assert out.startswith("Ada, 7 (a.nmea): 3 complete flying laps")
    assert (row["label"], row["driver"], row["vehicle"], row["class"]) == (
        "Ada, 7",
        "Ada",
        "7",
        None,
    )


@pytest.mark.slow
def test_a_label_given_twice_is_numbered(laps):
    labels = ("--label", "Ada", "--label", "Ada")
    document = json.loads(laps("kart.geojson", "a.nmea", "later/b.csv", *labels, "--json").out)

    assert [row["label"] for row in document["recordings"]] == ["Ada (1)", "Ada (2)"]


def test_an_unknown_circuit_is_one_sentence_with_what_to_type(laps, day):
    known = simulate_drive(read_track(TRACKS / f"{NAMES[0]}.geojson"), laps=2, rate_hz=5.0)
    north = replace(known.recording, latitude_deg=known.recording.latitude_deg + 0.09)
    write_recording(north, day / ".." / "north.csv", force=True)
    far = replace(known.recording, latitude_deg=known.recording.latitude_deg + 1.5)
    write_recording(far, day / ".." / "far.csv", force=True)

    said = laps("../north.csv", "--json")
    (sentence,) = [line for line in said.err.splitlines() if "no known circuit" in line]
    assert "10.0 km away" in sentence
    assert "trackkit build ../north.csv --name NAME" in sentence
    assert json.loads(said.out)["unplaced"][0]["file"] == "../north.csv"
    assert "training" not in said.err
    assert "km away" not in laps("../far.csv").err


@pytest.mark.slow
def test_a_layout_that_is_not_settled_is_asked_for(laps, capsys, monkeypatch, tmp_path):
    """Two files of one line under two ids: nothing in the drive can tell them apart."""
    library = tmp_path / "library"
    library.mkdir()
    kart = read_track(TRACKS / f"{NAMES[0]}.geojson")
    write_track(replace(kart, id="twin", name="Twin"), library / "twin.geojson")
    monkeypatch.setenv("TRACKKIT_LIBRARY", str(library))

    said = laps("a.nmea")

    assert "still open between" in said.err
    assert "name the one that was driven: trackkit laps " in said.err
    assert said.out == ""
    capsys.readouterr()
    assert run(["map", "a.nmea", "-o", str(tmp_path / "page.html")]) == 1
    assert "name the one that was driven: trackkit map " in capsys.readouterr().err


@pytest.mark.slow
def test_the_layout_is_the_one_that_was_there_on_the_day(laps, monkeypatch, tmp_path):
    library = tmp_path / "library"
    library.mkdir()
    kart = read_track(TRACKS / f"{NAMES[0]}.geojson")
    for name, day_ in (("spring", "2024-05-01"), ("summer", "2024-06-01")):
        track = replace(kart, id=name, name="Twin", layout=name, valid_from=day_)
        write_track(track, library / f"{name}.geojson")
    hidden = replace(kart, name="Twin", layout="old", valid_until="2024-04-30")
    write_track(hidden, library / "old.geojson")
    monkeypatch.setenv("TRACKKIT_LIBRARY", str(library))

    assert json.loads(laps("a.nmea", "--json").out)["track"] == "spring"


@pytest.mark.slow
def test_a_map_finds_its_circuit_too(day, laps, tmp_path, capsys):
    assert run(["map", "a.nmea", "-o", str(tmp_path / "page.html")]) == 0
    assert "Pipwick" in (tmp_path / "page.html").read_text("utf-8")
    assert run(["describe", NAMES[1]]) == 0
    assert "Ruddlebeck" in capsys.readouterr().out


@pytest.fixture
def recordings_on_map(laps, tmp_path):
    """Draw a map in the folder of the day, and list what its page calls the recordings."""

    def work(*arguments, status=0):
        path = tmp_path / "page.html"
        assert run(["map", *arguments, "-o", str(path), "--force"]) == status
        base = document_of(path.read_text("utf-8"), "base")
        return [row["file"] for row in base["recordings"]]

    return work


@pytest.mark.slow
def test_a_map_names_recordings_as_laps_does(recordings_on_map):
    files = ("kart.geojson", "a.nmea", "later/b.csv")

    labels = ("--label", "Bo", "--label", "Bo")
    assert recordings_on_map(*files, *labels) == ["Bo (a.nmea)", "Bo (later/b.csv)"]
    assert recordings_on_map("a.nmea") == ["Ada, 7 (a.nmea)"]


@pytest.mark.slow
def test_a_file_that_cannot_be_read_takes_no_other_ones_name(recordings_on_map):
    files = ("kart.geojson", "none.csv", "later/b.csv")
    labels = ("--label", "None", "--label", "Bo")

    assert recordings_on_map(*files, *labels, status=1) == ["Bo (later/b.csv)"]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (
            ("a.nmea", "-o", "page.html", "--label", "A", "--label", "B"),
            "1 recording and 2 labels",
        ),
        (("a.nmea", "-o", "sheet.svg", "--label", "A"), "not a picture"),
        (("kart.geojson", ".", "-o", "pages", "--label", "A"), "not track files"),
    ],
)
def test_labels_that_name_nothing_on_a_map_are_refused(laps, capsys, arguments, sentence):
    assert run(["map", *arguments]) == 2
    assert sentence in capsys.readouterr().err


@pytest.mark.slow
def test_a_reference_is_of_the_circuit_of_its_recording(laps):
    document = json.loads(laps(".", "--reference", "later/b.csv:2", "--json").out)
    kart, short = document["circuits"]
    assert (kart["reference"]["file"], kart["reference"]["lap"]) == ("later/b.csv", 2)
    # The laps of the other circuit are compared with the best of it.
    assert short["reference"]["file"] == "later/c.gpx"

    said = laps(".", "--reference", "2", status=1)
    assert "lap 2 of which recording is the reference?" in said.err


@pytest.mark.slow
def test_official_times_are_those_of_the_circuit_whose_laps_they_fit(laps, day, tmp_path):
    truth = json.loads((day / "later" / "b.csv.truth.json").read_text("utf-8"))
    official = tmp_path / "official.csv"
    rows = [f"{lap['number']},{lap['time_s']:.3f}" for lap in truth["laps"]]
    official.write_text("\n".join(["lap,lap time", *rows]))

    said = laps(".", "--official", str(official), "--json")
    assert "are taken as times of Pipwick Kart Circuit" in said.err
    recordings = {row["file"]: row for row in json.loads(said.out)["recordings"]}
    assert len(recordings["later/b.csv"]["official"]["pairs"]) == 3
    assert "official" not in recordings["later/c.gpx"]

    official.write_text("lap,lap time\n1,12.5\n2,12.7\n")
    said = laps(".", "--official", str(official), status=1)
    assert "could be of any of the 2 circuits" in said.err
    assert "trackkit laps " in said.err
