"""Sigmas of speed and accelerations, against slopes found by moving each unknown a little."""

from __future__ import annotations

import numpy as np
import pytest

from trackkit.timing.motion_sigmas import motion_sigmas
from trackkit.timing.traces import SLOWEST_MPS

STEP = 1e-6


def told(state, delay, left_over):
    """Speed and accelerations along and to the left of a vehicle where it passes a line."""
    position, velocity, acceleration = state.reshape(2, 3).T
    pace = np.hypot(*velocity)
    # Farther back it passes later, when it is faster or slower; how far back is known but for so
    # much of what the drive alone leaves open.
    late_s = left_over * position @ delay
    along = acceleration @ velocity / pace
    return np.array(
        [
            pace + along * late_s,
            along,
            (velocity[0] * acceleration[1] - velocity[1] * acceleration[0]) / pace,
        ]
    )


@pytest.mark.parametrize("seed", range(5))
def test_each_sigma_carries_over_that_of_every_unknown(seed):
    random = np.random.default_rng(seed)
    state = random.normal(0.0, 5.0, 6)
    # Of what follows only how the position moves counts, not where it is.
    state[[0, 3]] = 0.0
    root = random.normal(size=(6, 6))
    covariance = root @ root.T
    delay, left_over = random.normal(0.0, 0.1, 2), random.uniform(0.2, 1.0)

    slope = np.stack(
        [
            (told(state + step, delay, left_over) - told(state - step, delay, left_over))
            / (2.0 * STEP)
            for step in STEP * np.eye(6)
        ],
        axis=1,
    )
    expected = np.sqrt(np.diag(slope @ covariance @ slope.T))

    sigmas = motion_sigmas(
        state.reshape(2, 3).T[None], covariance[None], delay[None], np.array([left_over])
    )

    assert list(sigmas) == ["speed_sigma_mps", "longitudinal_sigma_mps2", "lateral_sigma_mps2"]
    assert [sigmas[name][0] for name in sigmas] == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("share", "tells"), [(0.99, False), (1.0, True), (1.01, True)])
def test_a_vehicle_too_slow_to_have_a_direction_tells_none(share, tells):
    motion = np.array([[[0.0, 0.0], [0.0, share * SLOWEST_MPS], [1.0, 1.0]]])

    sigmas = motion_sigmas(motion, np.eye(6)[None], np.zeros((1, 2)), np.ones(1))

    assert [bool(np.isfinite(values[0])) for values in sigmas.values()] == [tells] * 3
