"""What levels of a repeated line are read from, and what of a drive has left it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rings import LENGTH_M, POSITIONS, knots, ring

from trackkit.motion.line_levels import _bends_begin, _part, far_off, off_line, without
from trackkit.motion.line_model import Sideways
from trackkit.motion.repeated_line import fit_line

LONG_M = 4000.0


def winding(bends_m, laps=2.0, step_m=10.0):
    """A course of 4 km that goes straight but for one stretch of 800 m, which turns right round."""
    way = np.arange(0.0, laps * LONG_M, step_m)
    chainage = way % LONG_M
    angle = 2.0 * np.pi * np.clip((chainage - bends_m) / 800.0, 0.0, 1.0)
    left = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
    same = np.full(len(way), 0.05)
    return Sideways(way / 20.0, way, chainage, np.zeros(len(way)), left, same, same)


@pytest.mark.parametrize("bends_m", [0.0, 700.0, 2000.0, 3200.0])
@pytest.mark.parametrize("turned_deg", [0.0, 30.0, 90.0])
def test_levels_are_read_where_the_track_faces_in_most_directions(bends_m, turned_deg):
    side = winding(bends_m)
    angle = np.radians(turned_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    side = replace(side, left=side.left @ turn.T)

    begin_m = _bends_begin(side, LONG_M, 900.0)

    # By trying every window: the least of how much of left is seen in any one direction.
    least = []
    for begin in np.arange(0.0, LONG_M, 20.0):
        inside = (side.chainage_m - begin) % LONG_M < 900.0
        least.append(np.linalg.eigvalsh(side.left[inside].T @ side.left[inside])[0])
    assert least[round(begin_m / 20.0)] == pytest.approx(max(least), rel=1e-6)


@pytest.mark.parametrize("bends_m", [700.0, 3700.0])
def test_of_a_long_track_a_part_is_cut_out_with_knots_along_it(bends_m):
    side = winding(bends_m)

    part, knot = _part(side, LONG_M, closed=True)

    assert knot.length_m == 900.0
    assert not knot.closed
    assert knot.chainage_m[[0, -1]] == pytest.approx([0.0, 900.0])
    assert np.diff(knot.chainage_m) == pytest.approx(900.0 / (len(knot.chainage_m) - 1))
    assert part.chainage_m.min() >= 0.0
    assert part.chainage_m.max() < 900.0
    # Every node there, of every lap, in order.
    assert len(part.time_s) == pytest.approx(2 * 90, abs=2)
    assert np.all(np.diff(part.time_s) > 0.0)
    inner = (knot.chainage_m > 10.0) & (knot.chainage_m < 880.0)
    for axis in range(2):
        order = np.argsort(part.chainage_m)
        told = np.interp(knot.chainage_m, part.chainage_m[order], part.left[order, axis])
        assert knot.left[inner, axis] == pytest.approx(told[inner])


@pytest.mark.parametrize("closed", [True, False])
def test_of_a_short_track_all_is_looked_at(closed):
    side = ring(3, POSITIONS, 1)[0]

    part, knot = _part(side, LENGTH_M, closed=closed)

    np.testing.assert_array_equal(part.chainage_m, side.chainage_m)
    assert (knot.length_m, knot.closed) == (LENGTH_M, closed)
    # On a lap the last knot is the first one again.
    assert (knot.chainage_m[-1] == pytest.approx(LENGTH_M)) == (not closed)


def test_a_track_hardly_longer_than_the_part_is_taken_whole():
    side = replace(winding(0.0), chainage_m=winding(0.0).chainage_m / 4.0)

    part, knot = _part(side, LONG_M / 4.0, closed=True)

    assert knot.length_m == LONG_M / 4.0
    assert len(part.time_s) == len(side.time_s)


def test_a_lap_that_leaves_the_others_is_off_with_what_is_close_to_it():
    side = ring(12, POSITIONS, 7, step_m=10.0)[0]
    offset = np.zeros(len(side.way_m))
    # The scatter of laps alone: a decimetre.
    offset += np.random.default_rng(1).normal(0.0, 0.1, len(offset))
    offset[200:203] += 5.0

    off = far_off(replace(side, offset_m=offset), LENGTH_M)

    # 10 m from node to node, and 15 m beside it.
    assert np.flatnonzero(off).tolist() == [199, 200, 201, 202, 203]


@pytest.mark.parametrize(("aside_m", "off"), [(1.6, False), (2.0, True)])
def test_however_exactly_laps_repeat_each_other_near_ones_have_not_left(aside_m, off):
    side = ring(12, POSITIONS, 7)[0]
    offset = np.zeros(len(side.way_m))
    offset[200] = aside_m

    # Five sigmas of at least 0.35 m are 1.75 m.
    assert far_off(replace(side, offset_m=offset), LENGTH_M).any() == off


@pytest.mark.parametrize(("sigmas", "off"), [(4.4, False), (4.6, True)])
def test_a_lap_deviates_more_than_laps_do_from_so_many_sigmas_on(sigmas, off):
    line = fit_line(ring(3, POSITIONS, 1)[0], POSITIONS, knots())
    deviation = np.zeros(len(line.deviation_m))
    deviation[20] = -sigmas * line.levels.deviation_m

    assert off_line(replace(line, deviation_m=deviation)).any() == off


def test_what_says_nothing_is_as_uncertain_as_can_be():
    side = ring(1, POSITIONS, 1)[0]
    off = np.arange(len(side.way_m)) % 3 == 0

    quiet = without(side, off)

    assert np.isinf(quiet.sigma_m[off]).all()
    np.testing.assert_array_equal(quiet.sigma_m[~off], side.sigma_m[~off])
    np.testing.assert_array_equal(quiet.offset_m, side.offset_m)
