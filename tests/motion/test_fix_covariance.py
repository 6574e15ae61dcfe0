"""What is kept of a drive for some of its fixes tells variances as the drive itself does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.noise import Levels
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

PLANE = LocalPlane(161.0, 47.0)


def ellipse(receiver):
    """Three minutes round an ellipse, told by a receiver that knows more or less."""
    time = np.arange(0.0, 180.0, 0.2)
    angle, rate = 0.12 * time, 0.12
    random = np.random.default_rng(3)
    position = np.column_stack([150 * np.cos(angle), 70 * np.sin(angle)])
    velocity = rate * np.column_stack([-150 * np.sin(angle), 70 * np.cos(angle)])
    longitude, latitude = PLANE.to_geographic(position + random.normal(0, 0.3, position.shape))
    speed = np.hypot(*velocity.T) + random.normal(0, 0.05, len(time))
    course = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360.0
    recording = Recording("ellipse", time, longitude, latitude)
    if receiver == "speed alone":
        return smooth(replace(recording, speed_mps=speed), PLANE, Levels())
    if receiver == "positions":
        return smooth(recording, PLANE)
    levels = Levels(slow_doppler_mps=0.05 if receiver == "slow velocities" else 0.0)
    return smooth(replace(recording, speed_mps=speed, course_deg=course), PLANE, levels)


@pytest.mark.parametrize("receiver", ["positions", "velocities", "slow velocities", "speed alone"])
def test_any_sum_over_the_fixes_kept_has_the_variance_that_the_drive_tells(receiver):
    drive = ellipse(receiver)
    assert drive.levels.states == (5 if receiver == "slow velocities" else 4)
    random = np.random.default_rng(7)
    kept = np.sort(random.choice(len(drive.time_s) - 1, 12, replace=False))
    known = drive.fix_covariance([*kept, 40, 41, len(drive.time_s) - 2])

    for count in (1, 2, 5, 12):
        index = random.choice(kept, count, replace=False)
        share, slope = random.uniform(0, 1, count), random.normal(0, 0.05, (count, 2))

        assert known.variance(index, share, slope) == pytest.approx(
            drive.variance(index, share, slope), rel=1e-8
        )


def test_two_positions_after_one_fix_may_be_summed():
    drive = ellipse("velocities")
    index, share = np.array([300, 300]), np.array([0.2, 0.8])
    slope = np.array([[0.1, 0.0], [-0.1, 0.02]])

    assert drive.fix_covariance([300]).variance(index, share, slope) == pytest.approx(
        drive.variance(index, share, slope), rel=1e-8
    )


def test_a_fix_that_was_not_kept_is_not_guessed():
    known = ellipse("positions").fix_covariance([10, 20])

    with pytest.raises(KeyError):
        known.variance(np.array([15]), np.array([0.5]), np.array([[0.1, 0.0]]))


def test_what_is_kept_is_small():
    drive = ellipse("velocities")
    known = drive.fix_covariance(range(0, 900, 90))

    kept = sum(getattr(known, name).nbytes for name in ("fix", "pivot", "onward", "form"))
    assert kept < 20_000
    assert all(getattr(known, name).base is None for name in ("pivot", "onward", "form"))
