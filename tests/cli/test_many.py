"""Many track files at once: a line or a file each, and the exit status of the worst."""

from __future__ import annotations

import json
import shutil

import pytest
from checkout import TRACKS
from command_line import json_of

from trackkit.cli import run
from trackkit.library.folders import open_library
from trackkit.track.file import read_track

NAMES = ("gullhatch-oval", "morrowfen", "orrinback-hill")


@pytest.fixture
def folder(tmp_path):
    """Three good track files, and what does not count: the file before one, and a note."""
    made = tmp_path / "club"
    made.mkdir()
    for name in NAMES:
        shutil.copy(TRACKS / f"{name}.geojson", made)
    (made / "morrowfen.geojson~").write_text("{}")
    (made / "notes.txt").write_text("invented")
    return made


@pytest.fixture
def damaged(folder):
    """The same with a bad file between the good ones."""
    (folder / "kelp.geojson").write_text('{"type": "FeatureCollection"')
    return folder


def files(folder, suffix=".geojson"):
    return [str(folder / f"{name}{suffix}") for name in NAMES]


@pytest.mark.slow
@pytest.mark.parametrize("command", ["check", "describe"])
@pytest.mark.parametrize("how", ["folder", "files"])
def test_there_is_a_line_for_each_file(folder, capsys, command, how):
    words = [str(folder)] if how == "folder" else files(folder)

    assert run([command, *words]) == 0

    lines = capsys.readouterr().out.splitlines()
    assert [line.partition(": ")[0] for line in lines] == files(folder)


@pytest.mark.slow
@pytest.mark.parametrize("command", ["check", "describe"])
def test_the_json_of_several_has_a_row_for_each_that_is_else_that_of_one(folder, capsys, command):
    document = json_of([command, str(folder)], capsys)

    assert [row.pop("file") for row in document["tracks"]] == files(folder)
    alone = [json_of([command, path], capsys) for path in files(folder)]
    assert document["tracks"] == alone
    assert all("tracks" not in row for row in alone)


@pytest.mark.slow
@pytest.mark.parametrize("command", ["check", "describe", "export", "map", "library add"])
def test_a_bad_file_beside_good_ones_is_told_and_the_others_are_done(
    damaged, home, capsys, command
):
    out = home / "out"
    more = {
        "export": ["--to", "kml", "-o", str(out)],
        "map": ["-o", str(out)],
        "library add": ["--replace", "--library", str(out)],
    }
    assert run([*command.split(), str(damaged), *more.get(command, [])]) == 1

    said = capsys.readouterr()
    (sentence,) = [line for line in said.err.splitlines() if "kelp" in line]
    assert "not valid JSON" in sentence
    if command in more:
        suffix = {"export": ".kml", "map": ".html"}.get(command, ".geojson")
        assert {path.name for path in out.glob(f"*{suffix}")} - {"index.html"} == {
            f"{name}{suffix}" for name in NAMES
        }
    else:
        assert len(said.out.splitlines()) == 3


def test_the_exit_status_of_check_is_that_of_the_worst(folder, capsys):
    path = folder / "morrowfen.geojson"
    document = json.loads(path.read_text("utf-8"))
    document["features"] = [
        f for f in document["features"] if f["properties"].get("kind") != "finish"
    ]
    path.write_text(json.dumps(document), "utf-8")

    assert run(["check", str(folder)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert "1 error" in lines[1]
    assert "gate-missing" in lines[1]
    assert lines[0].endswith("nothing found")


def test_options_of_one_file_are_refused_for_several(folder, capsys):
    assert run(["check", str(folder), "--recording", "lap.nmea"]) == 2
    assert "go with one track file" in capsys.readouterr().err


def test_a_folder_without_track_files_is_told(tmp_path, capsys):
    assert run(["describe", str(tmp_path)]) == 1
    assert "holds no track file" in capsys.readouterr().err


def test_exports_of_several_go_into_a_folder(folder, tmp_path):
    out = tmp_path / "new" / "gpx"
    assert run(["export", *files(folder), "--to", "gpx", "-o", str(out)]) == 0
    assert sorted(path.stem for path in out.iterdir()) == sorted(NAMES)
    assert run(["export", *files(folder), "--to", "gpx", "-o", str(out)]) == 1


@pytest.mark.parametrize("command", ["export", "map"])
def test_what_is_made_of_many_is_not_named_as_windows_names_devices(folder, tmp_path, command):
    """Microsoft, "Naming Files, Paths, and Namespaces", from memory."""
    (folder / "morrowfen.geojson").rename(folder / "Aux.geojson")
    out = tmp_path / "out"
    more = ["--to", "kml"] if command == "export" else []
    assert run([command, str(folder), *more, "-o", str(out)]) == 0
    made = {path.stem for path in out.iterdir()} - {"index"}
    assert made == {"Aux_", "gullhatch-oval", "orrinback-hill"}
    if command == "map":
        assert "Aux_.html" in (out / "index.html").read_text("utf-8")


def test_an_export_never_takes_the_place_of_a_track_file_it_is_made_of(folder, capsys):
    before = (folder / "morrowfen.geojson").read_bytes()
    words = ["export", str(folder), "--to", "geojson", "-o", str(folder), "--force"]
    assert run(words) == 1
    assert capsys.readouterr().err.count("is the track file itself") == 3
    assert (folder / "morrowfen.geojson").read_bytes() == before


def test_files_of_one_name_do_not_take_each_others_place(folder, tmp_path, capsys):
    other = tmp_path / "other"
    other.mkdir()
    shutil.copy(folder / "morrowfen.geojson", other)
    out = tmp_path / "out"
    words = ["export", str(folder), str(other), "--to", "csv", "-o", str(out), "--force"]
    assert run(words) == 1
    assert "would take its place" in capsys.readouterr().err
    assert len(list(out.iterdir())) == 3


def test_a_folder_is_added_to_a_library(folder, home):
    library = home / "library"
    words = ["library", "add", str(folder), "--replace", "--library", str(library)]
    assert run(words) == 0
    known = {circuit.id for circuit in open_library([library]).tracks()}
    assert known == {read_track(path).id for path in files(folder)}
