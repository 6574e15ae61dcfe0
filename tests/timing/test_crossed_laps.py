"""Speeds between crossings, and behind which gates speed gates lie."""

from __future__ import annotations

from dataclasses import replace

import driven_block
import numpy as np
from drives import block_circuit, track_of

from trackkit.timing.crossed_laps import _speed_places, _speeds
from trackkit.timing.crossings import Crossing


def passed(gate, time_s, speed_mps, fix):
    return Crossing(gate, time_s, speed_mps, fix)


def test_speeds_between_two_crossings_are_of_those_and_of_all_fixes_between():
    speed = np.array([50.0, 9.0, 20.0, 31.0, 22.0, 99.0])
    before, after = passed("a", 1.5, 15.0, 1), passed("b", 4.2, 23.0, 4)

    assert _speeds(speed, before, after) == (15.0, 31.0)
    assert _speeds(speed, before, replace(after, speed_mps=40.0)) == (15.0, 40.0)
    assert _speeds(speed, replace(before, speed_mps=25.0), after) == (20.0, 31.0)
    # Between two fixes there are the crossings alone.
    assert _speeds(speed, before, replace(after, fix=1)) == (15.0, 23.0)


def test_a_speed_gate_lies_behind_as_many_gates_as_are_passed_before_it():
    gates = [*driven_block.GATES, ("s1", "speed", 100.0), ("s2", "speed", 800.0)]
    track = track_of(block_circuit(), gates=[*gates, ("s3", "speed", 1300.0)], spacing_m=5.0)

    assert _speed_places(track) == {"s1": 0.5, "s2": 2.5, "s3": 2.5}
