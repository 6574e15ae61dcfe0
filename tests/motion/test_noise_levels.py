"""Noise levels read from a recording itself."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import DOPPLER_MPS, PLANE, WHITE_M, laps, received, root_mean_square

from trackkit.motion.drive import smooth


def test_a_recording_longer_than_the_window_its_levels_are_read_from_is_smoothed_whole():
    time = np.arange(0.0, 600.0, 0.1)
    recording = received(time, 8)
    drive = smooth(recording, PLANE)
    assert len(drive.time_s) == len(time)
    error = drive.velocity_mps - laps(time)[1]
    assert root_mean_square(error) < 0.6 * DOPPLER_MPS * np.sqrt(2)


def test_the_wander_of_a_long_recording_with_stray_fixes_is_still_read():
    time = np.arange(0.0, 900.0, 0.1)
    whole = received(time, 31)
    random = np.random.default_rng(31)
    stray = random.random(len(time)) < 0.05
    east = whole.longitude_deg + np.where(stray, random.uniform(1e-4, 5e-4, len(time)), 0.0)
    levels = smooth(replace(whole, longitude_deg=east), PLANE).levels
    # Seven or eight time constants leave the estimate a scatter of about a quarter.
    assert 0.5 < levels.wander_m < 2.0
    assert levels.doppler_mps == pytest.approx(DOPPLER_MPS, rel=0.2)
    assert levels.white_m == pytest.approx(WHITE_M, rel=0.2)
