"""``trackkit gate``: listing and suggesting."""

import json
import shutil

import numpy as np
import pytest
from checkout import TRACKS

from trackkit.cli import run
from trackkit.track.file import read_track


def test_gate_list_says_what_each_gate_is_worth(capsys):
    assert run(["gate", "list", str(TRACKS / "morrowfen.geojson"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)

    assert "assumed" in told["timing_basis"]
    for gate in told["gates"]:
        timing = gate["timing"]
        assert timing["sigma_s"] == pytest.approx(
            np.hypot(timing["receiver_sigma_s"], timing["line_sigma_s"]), abs=1e-4
        )
        assert 0 < timing["lap_sigma_s"] < timing["sigma_s"]
        assert 0 < timing["session_lap_sigma_s"] <= timing["lap_sigma_s"]
    # A quarter of an hour of laps of more than a minute.
    assert 2 <= told["session_laps"] <= 15


@pytest.mark.slow
def test_the_command_leaves_the_file_alone_unless_told_to_apply(tmp_path, capsys):
    path = tmp_path / "t.geojson"
    shutil.copy(TRACKS / "morrowfen.geojson", path)
    before = path.read_bytes()

    assert run(["gate", "suggest", str(path), "--sectors", "4", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert len(told["suggestions"]) == 3
    assert path.read_bytes() == before
    assert run(["gate", "suggest", str(path), "--sectors", "4", "--apply"]) == 0
    assert len(read_track(path).gates_of_kind("sector")) == 3
    assert (tmp_path / "t.geojson~").read_bytes() == before


def test_nothing_is_suggested_from_assumed_speeds_when_recordings_cannot_be_read(tmp_path, capsys):
    track = str(TRACKS / "pipwick-kart-circuit.geojson")

    assert run(["gate", "suggest", track, str(tmp_path / "none.csv"), "--sectors", "3"]) == 1
    said = capsys.readouterr()
    assert "no such file" in said.err
    assert said.out == ""


@pytest.mark.parametrize("place", [["38.7214,83.3512"], ["38.7214", "83.3512"]])
def test_a_position_is_one_word_or_two(tmp_path, place):
    path = tmp_path / "t.geojson"
    shutil.copy(TRACKS / "pipwick-kart-circuit.geojson", path)

    assert run(["gate", "place", str(path), "speed", *place]) == 0
    (gate,) = read_track(path).gates_of_kind("speed")
    assert gate.chainage_m == pytest.approx(860.1, abs=0.1)


def test_a_place_and_two_recordings_exclude_each_other(tmp_path, capsys):
    path = str(TRACKS / "pipwick-kart-circuit.geojson")

    assert run(["gate", "place", path, "speed", "412m", "--ends", "a.csv,b.csv"]) == 2
    assert run(["gate", "place", path, "speed"]) == 2
    assert "give a PLACE, or --ends" in capsys.readouterr().err
