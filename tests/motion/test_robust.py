"""Positions that stray, or that a receiver calls bad, count for less."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import ONE_HERTZ, PLANE, TEN_HERTZ, laps, received, root_mean_square

from trackkit.motion.noise import Measured
from trackkit.motion.robust import biweight, stray_positions
from trackkit.motion.smooth import smooth
from trackkit.motion.smoother import LEAST_TRUST
from trackkit.recordings.recording import Recording


@pytest.mark.parametrize("time", [TEN_HERTZ[:600], ONE_HERTZ])
@pytest.mark.parametrize("seed", [4, 5])
@pytest.mark.parametrize("doppler", [True, False])
def test_stray_positions_do_not_move_the_drive_much(time, seed, doppler):
    # Two in a hundred fixes, 5 to 50 m off.
    clean = received(time, seed, doppler=doppler)
    random = np.random.default_rng(seed)
    stray = np.flatnonzero(random.random(len(clean)) < 0.02)
    position = PLANE.to_plane(clean.longitude_deg, clean.latitude_deg)
    angle = random.uniform(0, 2 * np.pi, len(stray))
    away = random.uniform(5, 50, len(stray))
    position[stray] += away[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    longitude, latitude = PLANE.to_geographic(position)
    spoiled = Recording(
        "spoiled", clean.time_s, longitude, latitude, None, clean.speed_mps, clean.course_deg
    )
    moved = smooth(spoiled, PLANE).position_m - smooth(clean, PLANE).position_m
    assert len(stray) > 3
    assert root_mean_square(moved) < 0.1
    assert np.linalg.norm(moved, axis=1).max() < 1.0


@pytest.mark.parametrize("column", ["accuracy_m", "hdop"])
def test_fixes_that_a_receiver_calls_bad_count_for_less(column):
    whole = received(TEN_HERTZ, 6)
    random = np.random.default_rng(6)
    bad = (TEN_HERTZ % 20.0) < 5.0
    told = np.where(bad, 8.0, 1.0)
    east = whole.longitude_deg + np.where(bad, random.normal(0, 2e-5, len(bad)), 0.0)
    noisy = replace(whole, longitude_deg=east, speed_mps=None, course_deg=None)
    errors = [
        root_mean_square(smooth(recording, PLANE).velocity_mps - laps(TEN_HERTZ)[1])
        for recording in (noisy, replace(noisy, **{column: told}))
    ]
    assert errors[1] < 0.8 * errors[0]


def test_trust_is_tukeys_biweight_and_never_quite_nothing():
    # (1 - (u / c)^2)^2 within c, which is 6 sigmas here, and 0 beyond (Tukey; from memory).
    trust = biweight(np.array([0.0, 1.5, 3.0, 6.0, 7.0, 1e9]))

    assert trust == pytest.approx(
        [1.0, (15 / 16) ** 2, (3 / 4) ** 2, LEAST_TRUST, LEAST_TRUST, LEAST_TRUST]
    )


def measured(time, position, velocity=None):
    count = len(time)
    unknown = np.full((count, 2), np.nan)
    return Measured(
        time,
        position,
        unknown if velocity is None else velocity,
        np.ones(count - 1, bool),
        np.ones(count),
    )


@pytest.mark.parametrize("doppler", [True, False])
@pytest.mark.parametrize("interval_s", [0.1, 1.0])
@pytest.mark.parametrize("at", [4, 100, 114])
def test_a_position_far_from_where_its_neighbours_put_it_is_found(interval_s, at, doppler):
    time = interval_s * np.arange(120)
    truth, velocity = laps(time)
    noisy = truth + np.random.default_rng(2).normal(0.0, 0.15, truth.shape)
    spoiled = noisy.copy()
    spoiled[at] += [60.0, -40.0]

    given = velocity if doppler else None
    assert not stray_positions(measured(time, noisy, given)).any()
    found = np.flatnonzero(stray_positions(measured(time, spoiled, given))).tolist()
    # Without velocities a position between two others is judged by those, so that a stray one
    # taints its neighbours.
    assert found == ([at] if doppler else [at - 1, at, at + 1])


def test_a_hard_corner_between_fixes_a_second_apart_is_no_stray_position():
    # 20 m/s round a right angle of 22 m radius: 18 m/s2, as hard as racing cars corner.
    time = np.arange(0.0, 40.0)
    along = 20.0 * time - 400.0
    angle = np.clip(along / 22.0, 0.0, 0.5 * np.pi)
    beyond = np.maximum(along - 11.0 * np.pi, 0.0)
    east = np.minimum(along, 0.0) + 22.0 * np.sin(angle)
    north = 22.0 * (1.0 - np.cos(angle)) + beyond

    assert not stray_positions(measured(time, np.column_stack([east, north]))).any()


def test_of_fewer_than_nine_positions_none_is_called_stray():
    place = np.zeros((8, 2))
    place[4] = 1e4

    assert not stray_positions(measured(np.arange(8.0), place)).any()


def test_a_fix_that_velocities_half_a_minute_apart_do_not_foretell_is_kept():
    # Along a straight at 13 m/s, but 10 m/s on the way to one fix and 16 m/s on from it.
    time = 28.0 * np.arange(20)
    east = 13.0 * time
    east[10] -= 84.0
    longitude, latitude = PLANE.to_geographic(np.column_stack([east, np.zeros(20)]))
    whole = Recording(
        "sparse", time, longitude, latitude, None, np.full(20, 13.0), np.full(20, 90.0)
    )

    drive = smooth(whole, PLANE)

    assert drive.trust == pytest.approx(np.ones(20))
    assert drive.position_m[10, 0] == pytest.approx(east[10], abs=2.0)
