"""Words that begin with a minus and a digit: places, numbers and files, no options."""

import shutil

import pytest
from checkout import TRACKS

from trackkit.cli import run
from trackkit.track.file import read_track


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The folder one works in, with a track file whose name begins with a minus."""
    shutil.copy(TRACKS / "pipwick-kart-circuit.geojson", tmp_path / "-5m.geojson")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_file_named_like_a_number_is_read_and_changed(folder, capsys):
    length_m = read_track("-5m.geojson").curve.length_m

    assert run(["describe", "-5m.geojson"]) == 0
    assert "933" in capsys.readouterr().out
    assert run(["gate", "place", "-5m.geojson", "sector", "-20m", "--name", "Spur"]) == 0

    spur = read_track("-5m.geojson").gate("Spur")
    assert spur.chainage_m == pytest.approx(length_m - 20.0, abs=0.01)
    assert sorted(path.name for path in folder.iterdir()) == ["-5m.geojson", "-5m.geojson~"]


def test_recordings_named_like_numbers_are_written_and_read(folder, capsys):
    assert run(["simulate", "-5m.geojson", "-o", "-7.gpx", "--laps", "1"]) == 0
    capsys.readouterr()

    assert run(["laps", "-5m.geojson", "-7.gpx"]) == 0

    assert capsys.readouterr().out.startswith("-7.gpx: 1 complete flying lap")


def test_a_file_that_is_missing_is_told_by_its_name(folder, capsys):
    assert run(["describe", "-6m.geojson"]) == 1

    assert capsys.readouterr().err == "trackkit: -6m.geojson: no such file\n"


def test_what_follows_two_hyphens_is_no_option(folder, capsys):
    shutil.copy("-5m.geojson", "-loop.geojson")

    assert run(["describe", "--", "-loop.geojson"]) == 0
