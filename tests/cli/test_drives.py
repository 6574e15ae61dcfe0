"""Folders of recordings, and ids of the library, where `map` and `edit` show recordings."""

from __future__ import annotations

import json
import shutil

import pytest
from checkout import TRACKS

from trackkit.cli import run
from trackkit.cli.drives import read_drives

SAMPLE = TRACKS / "pipwick-kart-circuit.geojson"


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    folder = tmp_path_factory.mktemp("day")
    for name, seed in (("morning.csv", 4), ("noon/drive.gpx", 5)):
        (folder / name).parent.mkdir(exist_ok=True)
        words = ["simulate", str(SAMPLE), "-o", str(folder / name), "--laps", "1", "--rate", "2"]
        assert run([*words, "--seed", str(seed)]) == 0
    (folder / "drivers.csv").write_text("file,driver\nmorning.csv,Ada\n")
    (folder / "list.csv").write_text("tyre,pressure\nleft,1.1\n")
    shutil.copy(SAMPLE, folder / "track.geojson")
    return folder


@pytest.fixture
def serving(monkeypatch):
    """What the page would be served with."""
    pytest.importorskip("starlette")
    asked = {}

    def serve(path, recordings, *, names, **_):
        asked.update(path=str(path), recordings=list(recordings), names=list(names))
        return True

    monkeypatch.setattr("trackkit.serve_editor", serve, raising=False)
    return asked


@pytest.mark.slow
@pytest.mark.parametrize("words", [[str(SAMPLE)], ["pipwick-kart-circuit"], []])
def test_a_map_takes_a_folder_as_laps_does(day, words, tmp_path, capsys):
    page = tmp_path / "day.html"
    assert run(["map", *words, str(day), "-o", str(page)]) == 0
    assert "1 file is no recording (--skipped names them)" in capsys.readouterr().err
    text = page.read_text("utf-8")
    assert f"Ada ({day / 'morning.csv'})" in text
    assert str(day / "noon/drive.gpx") in text


def test_what_is_no_recording_is_named_on_request(day, tmp_path, capsys):
    words = ["map", str(SAMPLE), str(day), "-o", str(tmp_path / "day.html"), "--skipped"]
    assert run(words) == 0
    assert f"1 file is no recording: {day / 'list.csv'}" in capsys.readouterr().err
    # Named by itself it was meant, and is an error.
    words = ["map", str(SAMPLE), str(day / "list.csv"), "-o", str(tmp_path / "list.html")]
    assert run(words) == 1


def test_a_folder_of_tracks_alone_is_no_day(tmp_path, capsys):
    (tmp_path / "tracks").mkdir()
    shutil.copy(SAMPLE, tmp_path / "tracks")
    assert run(["map", str(tmp_path / "tracks"), "-o", str(tmp_path / "a.html")]) == 2
    assert "name a folder for -o" in capsys.readouterr().err


def test_a_page_for_editing_takes_a_folder_and_finds_the_circuit_in_the_library(
    day, serving, tmp_path, monkeypatch, capsys
):
    own = tmp_path / "own"
    own.mkdir()
    shutil.copy(SAMPLE, own / "kart.geojson")
    monkeypatch.setenv("TRACKKIT_LIBRARY", str(own))
    for words in ([str(own / "kart.geojson")], ["pipwick-kart-circuit"], []):
        serving.clear()
        assert run(["edit", *words, str(day), "--no-browser"]) == 0
        said = capsys.readouterr().err
        assert serving["path"] == str(own / "kart.geojson")
        assert len(serving["recordings"]) == 2
        assert serving["names"][0] == f"Ada ({day / 'morning.csv'})"
        assert "1 file is no recording" in said
        # Who did not name the file is told which one saving writes.
        named = words == [str(own / "kart.geojson")]
        assert ("saving writes" in said) != named


def test_a_sample_circuit_is_not_edited_in_place(serving, monkeypatch, capsys):
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)
    assert run(["edit", "pipwick-kart-circuit", "--no-browser"]) == 1
    assert "edit a copy: trackkit export pipwick-kart-circuit" in capsys.readouterr().err
    assert serving == {}


def laps_of(words, capsys):
    """What `laps` says, and the recordings of its document."""
    status = run(["laps", *map(str, words), "--json"])
    output = capsys.readouterr()
    rows = json.loads(output.out)["recordings"] if status == 0 else []
    return status, output.err, rows


@pytest.fixture
def morning(day, tmp_path):
    shutil.copy(day / "morning.csv", tmp_path / "morning.csv")
    return tmp_path


@pytest.mark.parametrize(
    "table",
    [
        b"File;Driver;Vehicle\r\nmorning.csv;\xc4da;Kart 7\r\n",
        "file\tdriver\tvehicle\nmorning.csv\tÄda\tKart 7\n".encode(),
        "file,driver,vehicle,,\nmorning.csv,Äda,Kart 7,,\n,,,,\n".encode("utf-8-sig"),
    ],
)
def test_tables_of_drivers_are_read_as_spreadsheets_write_them(morning, table, capsys):
    (morning / "drivers.csv").write_bytes(table)
    status, errors, (row,) = laps_of([morning], capsys)
    assert (status, "drivers.csv" in errors) == (0, False)
    assert (row["label"], row["driver"], row["vehicle"]) == ("Äda, Kart 7", "Äda", "Kart 7")


@pytest.mark.parametrize(
    ("table", "what"),
    [
        ("file,driver,notes\nmorning.csv,Ada,wet, slick\n", "line 2: has 4 cells under 3 columns"),
        ("file,driver\nmorning.csv,Ada\nmorning.csv,Bo\n", "line 3: names morning.csv once more"),
        ("file,driver,driver\nmorning.csv,Ada,Bo\n", "has two columns 'driver'"),
        ("file,drivr\nmorning.csv,Ada\n", "has a column 'drivr'"),
        ("", "has no column 'file'"),
    ],
)
def test_a_table_of_drivers_that_is_not_clear_is_refused(morning, table, what, capsys):
    (morning / "drivers.csv").write_text(table)
    status, errors, _ = laps_of([morning], capsys)
    assert status == 1
    assert what in errors


def test_a_table_of_drivers_tells_which_of_its_files_are_not_there(morning, capsys):
    (morning / "drivers.csv").write_text("file,driver\nmornin.csv,Ada\n")
    status, errors, (row,) = laps_of([morning], capsys)
    assert (status, row["driver"]) == (0, None)
    assert "names mornin.csv, and there is no such file beside it" in errors


def test_a_recording_that_is_named_and_in_a_folder_is_timed_once(morning, capsys):
    _, errors, rows = laps_of([morning / "morning.csv", morning], capsys)
    assert [row["shared"] for row in rows] == [[]]
    assert "again" not in errors


def test_routes_and_waypoints_in_a_folder_are_no_recordings(morning, capsys):
    (morning / "places.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="a">'
        '<wpt lat="0" lon="0"/></gpx>'
    )
    assert run(["laps", str(morning), "--skipped"]) == 0
    assert f"1 file is no recording: {morning / 'places.gpx'}" in capsys.readouterr().err


def test_a_folder_without_a_recording_says_so(tmp_path, capsys):
    assert run(["laps", str(tmp_path)]) == 0
    assert capsys.readouterr().err == f"{tmp_path}: no recording to time\n"


def test_a_recording_that_is_not_there_is_no_track_that_lacks_one(capsys):
    assert run(["laps", "nowhere.csv"]) == 1
    assert capsys.readouterr().err == "trackkit: nowhere.csv: no such file\n"


@pytest.mark.parametrize("ahead", ["1000", "nan", "far"])
def test_an_antenna_is_on_the_vehicle(morning, ahead, capsys):
    assert run(["laps", str(morning), "--antenna-ahead", ahead]) == 2
    assert f"'{ahead}' is no distance along a vehicle" in capsys.readouterr().err


@pytest.mark.slow
def test_a_table_of_drivers_names_recordings_of_folders_below_it(day, tmp_path, capsys):
    shutil.copytree(day, tmp_path / "day")
    folder = tmp_path / "day"
    (folder / "drivers.csv").write_text("file,driver\nmorning.csv,Ada\nnoon\\drive.gpx,Bo\n")
    _, errors, rows = laps_of([folder], capsys)
    assert [row["driver"] for row in rows] == ["Ada", "Bo"]
    assert "no such file" not in errors
    # The nearest table that names it counts, and none above what was named.
    (folder / "noon/drivers.csv").write_text("file,driver\ndrive.gpx,Cy\n")
    assert [row["driver"] for row in laps_of([folder], capsys)[2]] == ["Ada", "Cy"]
    (folder / "noon/drivers.csv").unlink()
    assert [row["driver"] for row in laps_of([folder / "noon"], capsys)[2]] == [None]


def test_recordings_that_are_labelled_alike_are_of_one_driver_and_told_apart(day) -> None:
    drives = read_drives(
        [str(day / "morning.csv"), str(day / "noon/drive.gpx")], ("Ada", "Ada"), None
    )
    assert drives.drivers == ["Ada", "Ada"]
    assert len(set(drives.names)) == 2
