"""Negative numbers, which the command line takes as they are typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from checkout import TRACKS
from command_line import json_of

from trackkit.cli import run
from trackkit.track.file import read_track


class TestNegativeNumbers:
    def test_a_position_is_taken_as_typed(
        self, bean_folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = json_of(["locate", "-41.2", "-30.5", "--library", str(bean_folder)], capsys)
        assert found["candidates"][0]["id"] == "invented-bean"

    def test_a_place_before_the_finish_is_taken_as_typed(
        self, bean: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        length = read_track(bean).length_m
        json_of(["gate", "place", str(bean), "speed", "-20m"], capsys)
        assert read_track(bean).gates[-1].chainage_m == pytest.approx(length - 20, abs=0.01)

    def test_a_surveyed_gate_in_the_south_west_is_taken_as_typed(
        self, bean: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        finish = read_track(bean).finish
        ends = "/".join(f"{lat:.7f},{lon:.7f}" for lon, lat in (finish.left, finish.right))
        assert ends.startswith("-")
        json_of(["gate", "move", str(bean), "finish", ends], capsys)
        assert read_track(bean).finish.surveyed


def test_a_negative_value_of_an_option_is_told_as_it_was_typed(tmp_path, capsys):
    track = str(TRACKS / "pipwick-kart-circuit.geojson")

    assert run(["simulate", track, "-o", str(tmp_path / "x.csv"), "--laps", "-1"]) == 2
    assert "-1 is not in the range" in capsys.readouterr().err
