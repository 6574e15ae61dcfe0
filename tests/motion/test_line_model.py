"""The model of a drive beside a line, against covariances written down densely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rings import LENGTH_M, POSITIONS, SPEEDS, knots, left_at, matern, ring

from trackkit.motion.line_model import Knots, LineLevels, prior_information

LEVELS = replace(POSITIONS, wander_m=0.8, deviation_m=0.5, deviation_over_m=25.0, repeated_m=1.7)


@pytest.fixture(scope="module")
def side():
    """Nodes that lie unevenly."""
    whole, _, _ = ring(1.2, POSITIONS, 3)
    uneven = whole.only(np.sort(np.random.default_rng(1).choice(len(whole.time_s), 30, False)))
    return replace(uneven, tie_m=np.linspace(0.1, 0.4, 30))


def dense_covariance(side, levels):
    band, density = prior_information(side, levels)
    size = band.shape[1]
    information = np.zeros((size, size))
    for below, row in enumerate(band):
        place = np.arange(size - below)
        information[place + below, place] = information[place, place + below] = row[: size - below]
    states, count = levels.states, len(side.time_s)
    return np.linalg.inv(information).reshape(count, states, count, states), density


def wander(side, levels):
    lag = np.abs(side.time_s[:, None] - side.time_s)
    return levels.wander_m**2 * np.exp(-lag / levels.wander_time_s)


def test_beforehand_a_drives_error_is_its_wander_on_either_axis(side):
    covariance, _ = dense_covariance(side, LEVELS)

    for axis in range(2):
        assert covariance[:, axis, :, axis] == pytest.approx(wander(side, LEVELS), rel=1e-6)
    assert covariance[:, 0, :, 1] == pytest.approx(0.0, abs=1e-9)


def test_with_velocities_the_error_walks_and_positions_hold_its_sum_with_their_wander(side):
    levels = replace(LEVELS, walk_m2ps=SPEEDS.walk_m2ps)

    covariance, _ = dense_covariance(side, levels)

    first = np.minimum.outer(side.time_s, side.time_s) - side.time_s[0]
    walk = 100.0**2 + levels.walk_m2ps * first
    total = walk + wander(side, levels) + np.diag(side.tie_m**2)
    expected = walk - walk @ np.linalg.solve(total, walk)
    for axis in range(2):
        assert covariance[:, axis, :, axis] == pytest.approx(expected, rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("levels", [LEVELS, replace(LEVELS, walk_m2ps=1e-4)])
def test_beforehand_laps_deviate_smoothly_over_some_length(side, levels):
    covariance, _ = dense_covariance(side, levels)

    apart = side.way_m[:, None] - side.way_m
    expected = levels.deviation_m**2 * matern(apart, levels.deviation_over_m)
    assert covariance[:, -2, :, -2] == pytest.approx(expected, rel=1e-6, abs=1e-9)
    assert covariance[:, -2, :, 0] == pytest.approx(0.0, abs=1e-9)


def test_the_density_is_half_the_logarithm_of_the_determinant(side):
    covariance, density = dense_covariance(side, LEVELS)

    size = covariance.shape[0] * covariance.shape[1]
    _, logarithm = np.linalg.slogdet(covariance.reshape(size, size))
    assert density == pytest.approx(-0.5 * logarithm)


def test_how_many_unknowns_a_node_has():
    assert (POSITIONS.states, SPEEDS.states) == (4, 6)
    usual = LineLevels(1.0, 120.0, None)
    assert usual == LineLevels(1.0, 120.0, None, 0.4, 30.0, 1.0, 30.0, 2.0)


def matern_5_2(apart_m, over_m):
    x = np.abs(apart_m) / over_m
    return (1.0 + x + x**2 / 3.0) * np.exp(-x)


@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize("repeated_m", [0.5, 2.0])
def test_beforehand_a_line_leaves_the_centreline_smoothly(closed, repeated_m):
    place = np.linspace(0.0, LENGTH_M, 60, endpoint=not closed)
    knot = Knots(place, left_at(place), LENGTH_M, closed)
    levels = replace(LEVELS, repeated_m=repeated_m, repeated_over_m=40.0, shift_m=0.0)

    covariance = knot.covariance(levels)[:60, :60]

    apart = place[:, None] - place
    if closed:
        expected = sum(matern_5_2(apart + turn * LENGTH_M, 40.0) for turn in range(-4, 5))
        expected /= expected[0, 0]
    else:
        expected = matern_5_2(apart, 40.0)
    assert covariance == pytest.approx(repeated_m**2 * expected, rel=1e-5, abs=2e-6)


@pytest.mark.parametrize("shift_m", [0.5, 3.0])
def test_beforehand_a_centreline_is_shifted_as_a_whole_but_for_some_of_it(shift_m):
    levels = replace(LEVELS, repeated_m=1e-6, shift_m=shift_m)
    place = np.array([0.0, 0.5 * LENGTH_M])
    # Seen eastward at both places.
    basis = knots().basis(place, np.tile([1.0, 0.0], (2, 1))).toarray()

    covariance = basis @ knots().covariance(levels) @ basis.T

    assert np.diag(covariance) == pytest.approx(shift_m**2, rel=0.1)
    correlated = covariance[0, 1] / covariance[0, 0]
    # A quarter of it changes along the line, and half a lap is far.
    assert 0.7 < correlated < 0.9


@pytest.mark.parametrize("closed", [True, False])
def test_a_spline_through_even_values_is_even_and_through_a_slope_has_it(closed):
    place = np.linspace(0.0, LENGTH_M, 30, endpoint=not closed)
    knot = Knots(place, left_at(place), LENGTH_M, closed)
    where = np.linspace(0.0, LENGTH_M - 1e-6, 101)

    own = knot.basis(where, left_at(where)).toarray()[:, :30]

    assert own.sum(axis=1) == pytest.approx(np.ones(101))
    inner = (where > place[2]) & (where < place[-3])
    assert (own @ place)[inner] == pytest.approx(where[inner])


def test_a_spline_goes_round_a_lap_and_stays_as_it_is_beyond_a_courses_ends():
    around = knots()
    lap = around.basis(np.array([0.0, LENGTH_M]), left_at(np.zeros(2))).toarray()
    assert lap[0] == pytest.approx(lap[1])
    course = replace(around, chainage_m=np.linspace(0.0, LENGTH_M, 30), closed=False)
    ends = course.basis(np.array([0.0, LENGTH_M]), left_at(np.zeros(2))).toarray()[:, :30]
    assert ends[0, :2] == pytest.approx([5.0 / 6.0, 1.0 / 6.0])
    assert ends[1, -2:] == pytest.approx([1.0 / 6.0, 5.0 / 6.0])


def test_some_nodes_are_as_they_were(side):
    some = side.only(np.array([2, 5, 9]))

    for name in side.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(some, name), getattr(side, name)[[2, 5, 9]])
