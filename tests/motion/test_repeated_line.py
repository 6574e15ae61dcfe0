"""The repeated line against a dense Gaussian process, on drives whose error is known."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from rings import LENGTH_M, POSITIONS, SPEEDS, dense, knots, ring

from trackkit.motion import repeated_line
from trackkit.motion.line_levels import far_off, likeliest, off_line, without
from trackkit.motion.line_model import Knots, LineLevels
from trackkit.motion.repeated_line import Eliminated, fit_line

BOTH = pytest.mark.parametrize("levels", [POSITIONS, SPEEDS], ids=["positions", "speeds"])


@BOTH
def test_error_and_covariance_are_those_of_the_dense_problem(levels, monkeypatch):
    side, _, _ = ring(2.5, levels, 3)
    knot = knots()
    # All parts of what is not known of the line are kept.
    monkeypatch.setattr(repeated_line, "_MODES", 100)
    line = fit_line(side, levels, knot)
    mean, after, before = dense(side, levels, knot)

    np.testing.assert_allclose(line.error_m, mean, atol=2e-6)
    generator = np.random.default_rng(1)
    for _ in range(5):
        node = generator.integers(0, len(side.time_s), 3)
        slope = generator.normal(size=(3, 2))
        load = np.zeros((2, len(side.time_s)))
        np.add.at(load.T, node, slope)
        load = load.ravel()
        time = side.time_s[node]
        assert line.variance(time, slope) == pytest.approx(load @ after @ load, rel=1e-4)
        assert line.variance_before(time, slope) == pytest.approx(load @ before @ load, rel=1e-4)
        alone = 1.01 * load @ before @ load
        kept = line.error_covariance(time)
        (left,) = kept.variances_left(np.array([alone]), time[None], slope[None])
        assert left == pytest.approx(line.variance_left(alone, time, slope), rel=1e-4)


@BOTH
def test_covariances_at_several_times_are_those_of_the_dense_problem(levels, monkeypatch):
    side, _, _ = ring(2.5, levels, 3)
    knot = knots()
    monkeypatch.setattr(repeated_line, "_MODES", 100)
    line = fit_line(side, levels, knot)
    _, after, before = dense(side, levels, knot)
    node = np.array([3, 40, 40, 77])
    slope = np.random.default_rng(2).normal(size=(4, 2))
    load = np.zeros((4, 2 * len(side.time_s)))
    load[np.arange(4), node], load[np.arange(4), len(side.time_s) + node] = slope.T

    found = line.covariances(side.time_s[node], slope)

    np.testing.assert_allclose(found[0], load @ after @ load.T, rtol=1e-4, atol=1e-6)
    np.testing.assert_allclose(found[1], load @ before @ load.T, rtol=1e-4, atol=1e-6)


@BOTH
def test_turning_the_plane_changes_nothing(levels):
    side, _, _ = ring(3.0, levels, 4)
    turn = np.array([[0.6, -0.8], [0.8, 0.6]])
    knot = knots()

    straight = fit_line(side, levels, knot)
    turned = fit_line(
        replace(side, left=side.left @ turn), levels, replace(knot, left=knot.left @ turn)
    )

    np.testing.assert_allclose(turned.error_m, straight.error_m @ turn, atol=1e-7)
    np.testing.assert_allclose(turned.deviation_m, straight.deviation_m, atol=1e-7)
    np.testing.assert_allclose(turned.offset_m, straight.offset_m, atol=1e-7)


def test_laps_tell_the_error_as_well_as_they_say():
    score, apart, alone = [], [], []
    for seed in range(6):
        side, error, _ = ring(12, POSITIONS, 100 + seed)
        line = fit_line(side, POSITIONS, knots())
        away = line.error_m - error
        score.append((away / line.sigma_m).ravel())
        time = side.time_s[:: len(side.time_s) // 12]
        for place, span in enumerate(pairwise(time)):
            node = np.searchsorted(side.time_s, span)
            slope = np.array([[-1.0, 0.0], [1.0, 0.0]])
            sigma = np.sqrt(line.variance(np.array(span), slope))
            assert sigma < np.sqrt(line.variance_before(np.array(span), slope)), place
            apart.append(np.diff(away[node, 0])[0] / sigma)
            alone.append(np.diff(error[node, 0])[0] / sigma)

    assert 0.8 < np.sqrt(np.mean(np.square(score))) < 1.2
    assert 0.8 < np.sqrt(np.mean(np.square(apart))) < 1.2
    assert np.sqrt(np.mean(np.square(alone))) > 1.4


def test_levels_are_read_from_the_laps():
    driven = replace(POSITIONS, deviation_m=0.3, deviation_over_m=25.0)
    read = [
        likeliest(ring(12, driven, seed)[0], POSITIONS, LENGTH_M, closed=True)
        for seed in range(200, 204)
    ]

    assert np.mean([levels.deviation_m for levels in read]) == pytest.approx(0.3, rel=0.2)
    assert np.mean([levels.deviation_over_m for levels in read]) == pytest.approx(25.0, rel=0.3)
    assert {levels.wander_m for levels in read} == {1.0}


def test_the_likelihood_by_itself_is_that_found_with_the_line():
    side, _, _ = ring(3.0, POSITIONS, 5)
    knot = knots()
    eliminated = Eliminated.of(side, POSITIONS, knot)
    for over in (10.0, 60.0):
        prior = knot.covariance(replace(POSITIONS, repeated_over_m=over))
        assert eliminated.likelihood(prior) == pytest.approx(eliminated.line(prior)[2], abs=1e-6)


def test_what_leaves_the_line_says_nothing():
    side, _, _ = ring(10, POSITIONS, 7)
    offset = side.offset_m.copy()
    offset[100:106] += 12.0
    offset[200:204] += 4.0
    spoilt = replace(side, offset_m=offset)

    far = far_off(spoilt, LENGTH_M)
    cleaned = without(spoilt, far)
    line = fit_line(cleaned, POSITIONS, knots())
    off = off_line(line)

    assert far[100:106].all()
    assert np.count_nonzero(far) <= 12
    assert off[200:204].any()
    clean = fit_line(without(cleaned, off), POSITIONS, knots())
    same = fit_line(without(without(side, far), off), POSITIONS, knots())
    np.testing.assert_allclose(clean.error_m, same.error_m, atol=0.1)


@pytest.mark.parametrize("over", [5.0, 30.0, 200.0])
def test_what_is_known_of_a_line_beforehand_is_a_covariance(over):
    levels = replace(POSITIONS, repeated_over_m=over, shift_m=3.0)

    assert np.linalg.eigvalsh(knots().covariance(levels)).min() > 0.0


def test_a_shift_of_the_centreline_stays_unknown_however_tight_its_bends_are():
    # A line that turns right round every 60 m is far too quick for knots 50 m apart.  Whatever the
    # spline leaves of a shift of the whole line would pass for knowledge of where the line lies.
    chainage = np.arange(0.0, 600.0, 5.0)
    angle = 2.0 * np.pi * chainage / 60.0
    left = np.stack([-np.cos(angle), -np.sin(angle)], axis=-1)
    knot = Knots(np.arange(0.0, 600.0, 50.0), left[::10], 600.0, closed=True)
    levels = LineLevels(1.0, 120.0, None, repeated_m=0.01, shift_m=2.0)

    basis = knot.basis(chainage, left).toarray()
    prior = basis @ knot.covariance(levels) @ basis.T

    # What is beforehand of offsets as a shift of 1 m east would make them: most of 2 m, squared.
    east = left[:, 0] / np.linalg.norm(left[:, 0])
    assert east @ prior @ east == pytest.approx(2.0**2 * np.sum(left[:, 0] ** 2), rel=0.3)


@BOTH
def test_the_error_goes_straight_from_node_to_node_and_stays_beyond_them(levels):
    side, _, _ = ring(2.0, levels, 9)
    line = fit_line(side, levels, knots())
    node = side.time_s
    middle = 0.5 * (node[1:] + node[:-1])

    error, rate = line.error_at(middle)
    np.testing.assert_allclose(error, 0.5 * (line.error_m[1:] + line.error_m[:-1]))
    np.testing.assert_allclose(rate, np.diff(line.error_m, axis=0) / np.diff(node)[:, None])

    error, rate = line.error_at(np.array([node[0] - 5.0, node[-1] + 5.0]))
    np.testing.assert_allclose(error, line.error_m[[0, -1]])
    assert not rate.any()
    # At the very ends it changes as it does within.
    _, rate = line.error_at(node[[0, -1]])
    np.testing.assert_allclose(rate, line.error_at(middle[[0, -1]])[1])


def test_the_error_at_a_single_node_is_the_error_everywhere():
    side, _, _ = ring(1.0, POSITIONS, 9)
    line = fit_line(side.only(np.array([3])), POSITIONS, knots())

    error, rate = line.error_at(np.array([0.0, side.time_s[3], 99.0]))

    np.testing.assert_allclose(error, np.repeat(line.error_m, 3, axis=0))
    assert not rate.any()
