"""Stretches that jump aside, on round tracks whose drives are made of what the model says."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from rings import LENGTH_M, POSITIONS, dense, knots, ring

from trackkit.motion import repeated_line
from trackkit.motion.lap_pace import LapPace
from trackkit.motion.line_shifts import SHIFT_M, Shifts, risen
from trackkit.motion.repeated_line import fit_line
from trackkit.motion.shifted_stretches import (
    beside_neighbours,
    shifted_stretches,
    standing_out,
    suspected,
)
from trackkit.motion.tried_shifts import explained_at_most, tried


def shifts_at(*spans, size_m=4.0):
    begin, end = np.array(spans, dtype=float).T
    ahead = np.tile([1.0, 0.0], (len(begin), 2, 1))
    nothing = np.full((len(begin), 2), np.inf)
    return Shifts(begin, end, np.full(len(begin), size_m), ahead, np.zeros_like(nothing), nothing)


def jumped(side, begin_s, end_s, aside_m, ramp_s=1.0):
    share = risen(side.time_s - begin_s, ramp_s) * risen(end_s - side.time_s, ramp_s)
    ahead = np.stack([side.left[:, 1], -side.left[:, 0]], axis=1)
    return replace(
        side,
        chainage_m=(side.chainage_m + share * (ahead @ np.array(aside_m))) % LENGTH_M,
        offset_m=side.offset_m + share * (side.left @ np.array(aside_m)),
    )


def found_in(side):
    line = fit_line(side, POSITIONS, knots())
    rest = side.offset_m - line.line_m - line.deviation_m
    rest -= np.einsum("ij,ij->i", side.left, line.error_m)
    pace = LapPace.of(side, LENGTH_M)
    marked = suspected(side, rest, pace)
    driven = line.line_m + beside_neighbours(side, line.deviation_m, LENGTH_M)
    return shifted_stretches(side, driven, POSITIONS, marked, pace)


def test_a_shift_is_found_when_it_comes_and_goes():
    side, _, _ = ring(12, POSITIONS, 5)
    spoilt = jumped(side, 150.0, 168.0, (4.0, -3.0))
    shifts = found_in(spoilt)
    line = fit_line(shifts.quiet(spoilt), POSITIONS, knots(), shifts=shifts)

    assert shifts.count == 1
    assert shifts.begin_s[0] == pytest.approx(150.0, abs=1.6)
    assert shifts.end_s[0] == pytest.approx(168.0, abs=1.6)
    np.testing.assert_allclose(line.shifted(np.array([159.0]))[0], [4.0, -3.0], atol=1.0)


@pytest.mark.parametrize("aside_m", [(0.0, 0.0), (1.0, -0.5), (4.0, -3.0)])
def test_what_is_promised_of_all_nodes_at_once_is_what_trying_each_with_each_gives(aside_m):
    side, _, _ = ring(8, POSITIONS, 5)
    spoilt = jumped(side, 150.0, 168.0, aside_m)
    line = fit_line(spoilt, POSITIONS, knots())
    rest = spoilt.offset_m - line.line_m
    pace = LapPace.of(spoilt, LENGTH_M)
    trial = tried(spoilt, rest, POSITIONS, pace)
    span = trial.time_s - trial.time_s[:, None]
    gain, _ = trial.pairs((span >= 2.0) & (span <= 60.0))

    promised = explained_at_most(spoilt, rest, POSITIONS, pace, (2.0, 60.0))

    # Steps at once, and at every node, are somewhat other than those that take a second.
    leeway = 0.1 * max(gain.max(), 0.0) + 1.5
    assert promised.max() == pytest.approx(gain.max(), abs=leeway)
    likeliest = trial.time_s[gain.max(axis=1).argmax()]
    if aside_m[0] > 1.0:
        assert spoilt.time_s[promised.argmax()] == pytest.approx(likeliest, abs=1.5)


def test_two_shifts_close_together_are_two():
    side, _, _ = ring(12, POSITIONS, 6)
    spoilt = jumped(jumped(side, 100.0, 115.0, (0.0, 5.0)), 124.0, 140.0, (-4.0, 4.0))
    shifts = found_in(spoilt)

    np.testing.assert_allclose(np.sort(shifts.begin_s), [100.0, 124.0], atol=1.6)
    np.testing.assert_allclose(np.sort(shifts.end_s), [115.0, 140.0], atol=1.6)


@pytest.mark.parametrize("seed", range(20, 30))
def test_none_is_found_where_there_is_none(seed):
    assert found_in(ring(12, POSITIONS, seed)[0]) is None


def test_another_line_for_half_of_the_laps_is_no_shift():
    side, _, _ = ring(12, POSITIONS, 8)
    another = np.where(side.way_m > 6 * LENGTH_M, 2.0, 0.0) * np.sin(side.chainage_m / 40.0)

    assert found_in(replace(side, offset_m=side.offset_m + another)) is None


def test_a_fitted_shift_is_as_far_as_it_was_and_as_sure_as_it_says():
    away = []
    for seed in range(40, 50):
        side, error, _ = ring(12, POSITIONS, seed)
        spoilt = jumped(side, 150.0, 170.0, (3.0, 3.0))
        shifts = shifts_at((150.0, 170.0))
        line = fit_line(shifts.quiet(spoilt), POSITIONS, knots(), shifts=shifts)
        inside = (side.time_s > 152.0) & (side.time_s < 168.0)
        true = error[inside] + [3.0, 3.0]
        away.append(((line.error_m[inside] - true) / line.sigma_m[inside]).mean(axis=0))
        assert standing_out(line).all()

    assert np.sqrt(np.mean(np.square(away))) < 1.3


def test_a_shift_that_nothing_bears_out_does_not_stand_out():
    side, _, _ = ring(12, POSITIONS, 51)
    shifts = shifts_at((100.0, 115.0))
    line = fit_line(shifts.quiet(side), POSITIONS, knots(), shifts=shifts)

    assert not standing_out(line).any()


def test_shifts_are_unknowns_of_the_dense_problem(monkeypatch):
    monkeypatch.setattr(repeated_line, "_MODES", 100)
    side, _, _ = ring(2.5, POSITIONS, 3)
    spoilt = jumped(side, 30.0, 50.0, (3.0, 1.0))
    shifts = shifts_at((30.0, 50.0), size_m=0.0)
    line = fit_line(spoilt, POSITIONS, knots(), shifts=shifts)

    share = shifts.shares(side.time_s)
    sigma = np.array([SHIFT_M, 0.5, 0.5])
    mean, after = dense(spoilt, POSITIONS, knots(), (share * sigma**2) @ share.T)[:2]

    np.testing.assert_allclose(line.error_m, mean, atol=1e-5)
    node, slope = np.array([20, 50]), np.array([[1.0, 0.5], [-1.0, 0.25]])
    load = np.zeros((2, len(side.time_s)))
    load[:, node] = slope.T
    expected = load.ravel() @ after @ load.ravel()
    assert line.variance(side.time_s[node], slope) == pytest.approx(expected, rel=1e-4)


def test_what_a_jump_moves_ahead_is_gained_on_other_laps():
    side, _, _ = ring(8, POSITIONS, 9, step_m=10.0)
    came = risen(side.time_s - 120.0, 1.0)
    ahead = replace(side, chainage_m=(side.chainage_m + 4.0 * came) % LENGTH_M)
    pace = LapPace.of(ahead, LENGTH_M)

    gained, sigma = pace.gained(np.array([80.0, 120.0, 160.0]))

    np.testing.assert_allclose(gained, [0.0, 4.0, 0.0], atol=0.5)
    assert np.isfinite(sigma).all()


def test_pace_is_not_compared_of_two_laps():
    assert LapPace.of(ring(1.9, POSITIONS, 1)[0], LENGTH_M) is None


def test_laps_beside_a_lap_tell_by_their_median_what_is_deviated_there():
    side, _, _ = ring(9, POSITIONS, 1)
    # Each lap deviates by as much all along it.
    own = np.array([5.0, 1.0, 9.0, 3.0, 7.0, 2.0, 8.0, 4.0, 6.0, 0.0])
    lap = np.floor(side.way_m / LENGTH_M).astype(int)

    beside = beside_neighbours(side, own[lap], LENGTH_M)

    inside = (side.chainage_m > 40.0) & (side.chainage_m < LENGTH_M - 40.0)
    for number in range(9):
        near = [own[k] for k in range(number - 3, number + 4) if k != number and 0 <= k < 9]
        assert beside[inside & (lap == number)] == pytest.approx(np.median(near)), number


def test_fewer_than_three_laps_beside_one_tell_nothing():
    side, _, _ = ring(3, POSITIONS, 1)

    beside = beside_neighbours(side, np.full(len(side.way_m), 4.0), LENGTH_M)

    inside = (side.chainage_m > 40.0) & (side.chainage_m < LENGTH_M - 40.0)
    assert not beside[inside].any()


def test_what_is_shifted_for_long_or_in_the_last_part_of_a_drive_is_found():
    side, _, _ = ring(12, POSITIONS, 5)
    spoilt = jumped(side, 320.0, 372.0, (-4.0, 3.0))

    shifts = found_in(spoilt)

    assert shifts.count == 1
    assert shifts.begin_s[0] == pytest.approx(320.0, abs=1.6)
    assert shifts.end_s[0] == pytest.approx(372.0, abs=1.6)
    assert shifts.size_m[0] == pytest.approx(5.0, abs=1.2)


@pytest.mark.parametrize(("sigmas", "marked"), [(2.8, False), (3.0, True), (-3.0, True)])
@pytest.mark.parametrize("sigma_m", [0.2, 3.0])
def test_what_is_gained_at_once_by_some_sigmas_is_looked_into(sigmas, marked, sigma_m):
    side, _, _ = ring(3, POSITIONS, 1)
    gained = np.zeros(len(side.time_s))
    gained[40] = sigmas * sigma_m
    pace = SimpleNamespace(gained=lambda _: (gained, np.full(len(gained), sigma_m)))

    # Of offsets alone nothing stands out.
    assert not suspected(side, np.zeros(len(gained)), None).any()
    assert np.flatnonzero(suspected(side, np.zeros(len(gained)), pace)).tolist() == [40] * marked


def test_a_stretch_that_lies_aside_as_a_whole_is_looked_into():
    side, _, _ = ring(6, POSITIONS, 1)
    rest = np.random.default_rng(2).normal(0.0, 0.05, len(side.way_m))
    aside = (side.time_s > 100.0) & (side.time_s < 108.0)
    rest[aside] += 0.5 * side.left[aside, 1]

    marked = suspected(side, rest, None)

    # Looked at over some seconds, at most 32, it is marked from a little before to a little after.
    assert marked[aside].all()
    assert not marked[(side.time_s < 100.0 - 33.0) | (side.time_s > 108.0 + 33.0)].any()
    assert not suspected(side, np.where(aside, 0.0, rest), None).any()


def test_without_a_shift_that_nothing_bears_out_another_explains_what_both_did():
    # Either could be the other: neither is sure beside it, and one of them alone is.
    covariance = np.eye(12)
    covariance[0, 1] = covariance[1, 0] = -0.95
    shift = np.zeros(12)
    shift[:2] = 2.5, 2.6
    line = SimpleNamespace(
        shifts=SimpleNamespace(count=2), shift_m=shift, shift_covariance_m2=covariance
    )

    assert standing_out(line, 8.0).tolist() == [False, True]
    assert standing_out(line, 1000.0).tolist() == [False, False]
    assert standing_out(line, 0.0).tolist() == [True, True]
    without = SimpleNamespace(shifts=None, shift_m=None, shift_covariance_m2=None)
    assert standing_out(without).tolist() == []
