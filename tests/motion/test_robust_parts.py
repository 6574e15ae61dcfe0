"""What makes a position stray before anything is fitted, and what trust is left, by numbers."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.motion.information import POSITION, WANDER
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.robust import biweight, residuals, stray_positions
from trackkit.motion.smoother import LEAST_TRUST


def test_trust_falls_to_nothing_at_six_sigmas():
    # Tukey: (1 - (x / 6)²)²; at 3 sigmas that is (3/4)², half way out.
    trust = biweight(np.array([0.0, 3.0, 5.999, 6.0, 60.0]))

    assert trust == pytest.approx([1.0, 0.5625, LEAST_TRUST, LEAST_TRUST, LEAST_TRUST], abs=1e-6)
    assert trust[3] == trust[4] == LEAST_TRUST
    assert biweight(np.array([5.9]))[0] == pytest.approx((1 - (5.9 / 6) ** 2) ** 2)


def test_residuals_are_what_drive_and_wander_leave_in_sigmas():
    position = np.array([[3.0, 4.0], [1.0, 1.0]])
    state = np.zeros((2, 4, 2))
    state[0, POSITION] = [2.0, 3.0]
    state[0, WANDER] = [1.0, 0.4]
    state[1, POSITION] = [1.0, 0.0]
    measured = Measured(
        np.arange(2.0), position, np.zeros((2, 2)), np.ones(1, bool), np.array([1.0, 2.0])
    )
    solution = SimpleNamespace(state=state, levels=Levels(white_m=0.2))

    # 0.6 m at 0.2 m; 1 m at twice that.
    assert residuals(measured, solution) == pytest.approx([3.0, 2.5])


def drive(count=60, *, interval_s=0.1, velocities=False, speed_mps=20.0, noise_m=0.0):
    time = np.arange(count) * interval_s
    position = np.stack([speed_mps * time, np.zeros(count)], axis=1)
    position += np.random.default_rng(5).normal(0.0, 1.0, (count, 2)) * noise_m
    velocity = np.tile([speed_mps, 0.0], (count, 1)) if velocities else np.full((count, 2), np.nan)
    return Measured(time, position, velocity, np.ones(count - 1, bool), np.ones(count))


def moved(measured, fixes, away_m):
    position = measured.position_m.copy()
    position[fixes] += [0.0, away_m]
    return Measured(
        measured.time_s, position, measured.velocity_mps, measured.joined, measured.scale
    )


@pytest.mark.parametrize("velocities", [False, True])
@pytest.mark.parametrize("at", [1, 4, 30, 58])
def test_a_single_position_far_aside_strays_and_its_neighbours_do_not(velocities, at):
    found = stray_positions(moved(drive(velocities=velocities), [at], 12.0))

    assert found[at]
    assert found.sum() == 1 if velocities else found.sum() <= 3


@pytest.mark.parametrize(("away_m", "strays"), [(0.9, False), (1.1, True)])
def test_along_velocities_a_metre_beyond_the_noise_is_far(away_m, strays):
    # Without noise only the metre is left.
    found = stray_positions(moved(drive(velocities=True), [30], away_m))

    assert np.flatnonzero(found).tolist() == ([30] if strays else [])


def test_noise_alone_makes_nothing_stray():
    for velocities in (False, True):
        assert not stray_positions(drive(velocities=velocities, noise_m=0.3)).any()


def test_three_in_a_row_stray_and_five_are_the_median():
    clean = drive(velocities=True)

    assert np.flatnonzero(stray_positions(moved(clean, [30, 31, 32], 9.0))).tolist() == [30, 31, 32]
    assert not stray_positions(moved(clean, list(range(30, 45)), 9.0))[34:41].any()


@pytest.mark.parametrize(("away_m", "strays"), [(9.0, False), (13.0, True)])
def test_between_fixes_a_second_apart_hard_driving_is_no_stray_position(away_m, strays):
    # At 20 m/s² a second before and after a fix, the middle is 10 m from the chord.
    found = stray_positions(moved(drive(interval_s=1.0), [30], away_m))

    assert found[30] == strays


def test_fewer_than_nine_fixes_are_left_as_they_are():
    assert not stray_positions(moved(drive(8, velocities=True), [4], 99.0)).any()
    assert stray_positions(moved(drive(9, velocities=True), [4], 99.0))[4]


@pytest.mark.parametrize(("away_m", "strays"), [(4.6, False), (8.0, True)])
def test_between_uneven_fixes_hard_driving_is_half_of_acceleration_times_both_times(away_m, strays):
    # At 20 m/s², 0.25 s after one fix and 1 s before the next, a vehicle is 2.5 m from the chord;
    # a metre more, and no noise.
    clean = drive(interval_s=1.0)
    time = np.concatenate([clean.time_s[:31], clean.time_s[30:-1] + 0.25])
    time[31:] = 30.25 + np.arange(29)
    position = np.stack([20.0 * time, np.zeros(60)], axis=1)
    position[31] += [0.0, 0.75 * away_m]
    uneven = replace(clean, time_s=time, position_m=position)

    assert stray_positions(uneven)[31] == strays


@pytest.mark.parametrize(("interval_s", "strays"), [(1.4, True), (1.6, False)])
def test_over_a_long_way_velocities_do_not_tell_where_a_vehicle_went(interval_s, strays):
    # A quarter of 20 m/s² times the time squared, for each of eight steps: 102 m.
    clean = drive(interval_s=interval_s, velocities=True)

    assert stray_positions(moved(clean, [30], 60.0))[30] == strays


@pytest.mark.parametrize("count", [1, 3])
def test_a_stray_position_in_the_noise_is_found_by_ten_sigmas_of_steps(count):
    clean = drive(velocities=True, noise_m=0.3)
    steps = np.hypot(
        *np.diff(clean.position_m - 20.0 * clean.time_s[:, None] * [1.0, 0.0], axis=0).T
    )
    limit_m = 10.0 * np.median(steps) / np.sqrt(2.0) + 1.0

    fixes = list(range(30, 30 + count))
    assert not stray_positions(moved(clean, fixes, 0.8 * limit_m)).any()
    assert stray_positions(moved(clean, fixes, 1.3 * limit_m))[fixes].all()
