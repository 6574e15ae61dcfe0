"""How many laps a prediction reckons with, and what timing them together takes off their errors."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.gates.session_quality import (
    MOST_LAPS,
    session_lap_sigma_s,
    session_laps,
    session_line,
)
from trackkit.motion.position_error import Receiver


@pytest.mark.parametrize(
    ("minutes", "laps"), [(1.0, 0), (1.9, 0), (2.0, 2), (9.5, 9), (600.0, MOST_LAPS)]
)
def test_a_session_has_the_whole_laps_that_go_into_it_and_one_lap_repeats_nothing(minutes, laps):
    receiver = replace(Receiver(), session_s=60.0 * minutes)

    assert session_laps(receiver, 60.0) == laps


def test_where_laps_tell_three_quarters_of_the_variance_half_of_sigma_is_left():
    line = SimpleNamespace(variance_left=lambda alone, *_: 0.25 * alone)

    left_s = session_lap_sigma_s(line, 5, 30.0, 50.0, np.array([0.05, 0.0]), 0.084)

    assert left_s == pytest.approx(0.042)


def positions_of(interval_s):
    return replace(Receiver(), doppler=False, interval_s=interval_s)


@pytest.mark.parametrize("interval_s", [0.1, 0.04])
def test_what_fixes_lie_between_two_nodes_is_averaged_into_one(bare, interval_s):
    # A lap of 60 s: fixes lie closer than nodes, which are a hundredth of the circuit apart.
    receiver = positions_of(interval_s)

    side = session_line(bare, receiver, 3, lambda way: way / bare.length_m * 60.0).side

    apart_m = bare.length_m / 60.0 * interval_s
    node_m = side.way_m[1]
    assert node_m == pytest.approx(0.01 * bare.length_m, rel=0.01)
    white_m = receiver.levels.white_m * np.sqrt(apart_m / node_m)
    assert side.tie_m == pytest.approx(np.full(len(side.way_m), white_m))


def test_where_fixes_lie_farther_apart_than_nodes_each_is_one(bare):
    receiver = positions_of(1.0)

    side = session_line(bare, receiver, 3, lambda way: way / bare.length_m * 60.0).side

    assert np.diff(side.time_s) == pytest.approx(np.ones(len(side.time_s) - 1))
    assert set(side.tie_m) == {receiver.levels.white_m}


def test_laps_and_the_rest_of_one_more_lie_on_the_line_of_the_track(bare):
    side = session_line(bare, positions_of(0.1), 3, lambda way: way / bare.length_m * 60.0).side

    assert side.way_m[0] == 0.0
    assert side.time_s[-1] == pytest.approx(4 * 60.0, abs=1.0)
    assert not side.offset_m.any()
    assert side.chainage_m == pytest.approx(side.way_m % bare.curve.length_m)
    assert side.left == pytest.approx(bare.curve.left(side.chainage_m))


def test_laps_together_tell_a_lap_time_better_and_more_laps_tell_it_better_still(bare):
    receiver = positions_of(0.1)
    slowness = bare.curve.direction(0.0) / 23.0
    alone_s = 0.06

    left_s = [
        session_lap_sigma_s(
            session_line(bare, receiver, laps, lambda way: way / bare.length_m * 60.0),
            *(laps, 0.0, 60.0, slowness, alone_s),
        )
        for laps in (2, 8)
    ]

    assert left_s[1] < left_s[0] < alone_s
