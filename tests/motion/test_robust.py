"""Positions that stray, or that a receiver calls bad, count for less."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import ONE_HERTZ, PLANE, TEN_HERTZ, laps, received, root_mean_square

from trackkit.motion.drive import smooth
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
