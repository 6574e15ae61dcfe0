"""How densely a line is looked at where laps are laid beside it."""

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, track_of

from trackkit.motion.beside_track import (
    FEWEST_NODE_M,
    levels_beside,
    line_shift_m,
    node_spacing_m,
)
from trackkit.motion.line_model import LineLevels
from trackkit.motion.noise import Levels
from trackkit.motion.position_error import walked_m2ps
from trackkit.track.accuracy import AccuracyRow


@pytest.mark.parametrize("doppler", [False, True])
@pytest.mark.parametrize("length_m", [1100.0, 1300.0, 1600.0])
def test_a_circuit_has_a_hundred_nodes(length_m, doppler):
    assert length_m / node_spacing_m(length_m, doppler=doppler) == pytest.approx(100.0)


@pytest.mark.parametrize("doppler", [False, True])
def test_on_a_short_circuit_nodes_are_no_nearer_and_on_a_long_one_velocities_bridge_more(doppler):
    most_m = [node_spacing_m(length_m, doppler=doppler) for length_m in (5_000.0, 40_000.0)]

    assert node_spacing_m(300.0, doppler=doppler) == FEWEST_NODE_M
    assert most_m[0] == most_m[1]
    assert node_spacing_m(5_000.0, doppler=True) > node_spacing_m(5_000.0, doppler=False)


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), spacing_m=10.0)


@pytest.mark.parametrize(
    ("accuracy_m", "shift_m"), [(None, 2.0), (0.7, 0.7), (5.0, 5.0), (0.001, 0.01)]
)
def test_a_line_may_be_shifted_as_far_as_its_file_says(block, accuracy_m, shift_m):
    assert line_shift_m(replace(block, accuracy_m=accuracy_m)) == pytest.approx(shift_m)


def test_where_its_file_tells_of_places_they_count_by_their_mean_square(block):
    rows = tuple(AccuracyRow(at, sigma, "measured") for at, sigma in ((0.0, 0.3), (500.0, 0.4)))
    line = replace(block.centreline, accuracy_profile=rows)

    # The mean of 0.09 and 0.16.
    assert line_shift_m(replace(block, centreline=line)) == pytest.approx(np.sqrt(0.125))


@pytest.mark.parametrize("doppler", [False, True])
def test_levels_are_those_of_the_drive_with_usual_ones_of_the_line(block, doppler):
    drive = Levels(wander_m=0.6, wander_time_s=80.0)

    levels = levels_beside(block, drive, 0.1, doppler=doppler)

    assert (levels.wander_m, levels.wander_time_s, levels.shift_m) == (0.6, 80.0, 2.0)
    # Velocities walk; without them there is no walk at all.
    assert levels.walk_m2ps == (walked_m2ps(drive, 0.1) if doppler else None)
    usual = LineLevels(1.0, 120.0, None)
    assert replace(levels, wander_m=1.0, wander_time_s=120.0, walk_m2ps=None) == usual
