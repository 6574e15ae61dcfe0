"""What nobody foresaw: told in a sentence, of the file that it came with, the others done."""

import json

import pytest
from checkout import ROOT

import trackkit.recordings.clean
from trackkit.cli import run

TRACK = str(ROOT / "tracks" / "pipwick-kart-circuit.geojson")


@pytest.fixture
def two_drives(tmp_path, monkeypatch, capsys):
    """good.csv, and bad.csv that brings about an error in the readers."""
    monkeypatch.chdir(tmp_path)
    for name in ("good.csv", "bad.csv"):
        assert run(["simulate", TRACK, "-o", name, "--laps", "1", "--rate", "2"]) == 0
    capsys.readouterr()
    real = trackkit.recordings.clean.clean

    def failing(raw, name):
        if name == "bad.csv":
            raise IndexError("index 11 is out of bounds")
        return real(raw, name)

    monkeypatch.setattr(trackkit.recordings.clean, "clean", failing)


def test_one_file_with_a_fault_does_not_take_the_others_along(two_drives, capsys):
    assert run(["laps", TRACK, "bad.csv", "good.csv", "--json"]) == 1
    printed, remarks = capsys.readouterr()
    assert [row["file"] for row in json.loads(printed)["recordings"]] == ["good.csv"]
    sentence = next(line for line in remarks.splitlines() if line.startswith("trackkit: "))
    assert sentence.startswith(
        "trackkit: bad.csv: a fault of trackkit, not of yours: IndexError in recordings/read.py, "
    )
    assert "please report it with this file" in sentence
    assert "Traceback" not in remarks


def test_locating_goes_on_past_a_file_with_a_fault(two_drives, capsys):
    assert run(["locate", "bad.csv", "good.csv", "--json"]) == 1
    printed, remarks = capsys.readouterr()
    assert [row["file"] for row in json.loads(printed)["recordings"]] == ["good.csv"]
    assert "trackkit: bad.csv: a fault of trackkit, not of yours: IndexError in " in remarks


def test_the_traceback_is_shown_where_it_is_wanted(two_drives, capsys):
    assert run(["--traceback", "laps", TRACK, "bad.csv"]) == 1
    remarks = capsys.readouterr().err
    assert "Traceback (most recent call last)" in remarks
    assert "IndexError: index 11 is out of bounds" in remarks


def test_a_fault_of_no_file_is_a_sentence_too(monkeypatch, capsys):
    monkeypatch.setattr("trackkit.track.file.read_document", lambda path: 1 / 0)
    assert run(["describe", TRACK]) == 1
    remarks = capsys.readouterr().err
    assert remarks.startswith(
        "trackkit: a fault of trackkit, not of yours: ZeroDivisionError in track/file.py, line "
    )
    assert len(remarks.splitlines()) == 1
