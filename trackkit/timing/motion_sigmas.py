"""How well speed and accelerations are known where a vehicle passes a line."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.vectors import left_of
from trackkit.timing.traces import SLOWEST_MPS


def motion_sigmas(
    motion: Floats, covariance: Floats, delay: Floats, left_over: Floats
) -> dict[str, Floats]:
    """One sigma of speed and accelerations where a vehicle passes lines.

    They are of the smoothed drive, carried over linearly (JCGM 100, "GUM", section 5.2; from
    memory).  A vehicle that is farther back than it is taken to be passes later, when it is faster
    or slower.

    Parameters
    ----------
    motion
        Position, velocity and acceleration, east and north, shape (k, 3, 2).
    covariance
        Of them, east, then north, shape (k, 6, 6); see `StretchCovariance.motion`.
    delay
        How much later a line is passed for each metre that the vehicle is farther east and north,
        s/m, shape (k, 2).
    left_over
        How much of the uncertainty of when it is passed is left where laps tell of each other, 0
        to 1, shape (k,).

    Returns
    -------
    dict
        Of ``speed_sigma_mps``, ``longitudinal_sigma_mps2`` and ``lateral_sigma_mps2``, shape (k,);
        NaN where the vehicle is too slow for its direction to be known.
    """
    velocity, acceleration = motion[:, 1], motion[:, 2]
    pace = np.hypot(velocity[:, 0], velocity[:, 1])
    pace = np.where(pace < SLOWEST_MPS, np.nan, pace)
    onward = velocity / pace[:, None]
    aside = left_of(onward)
    gaining = np.einsum("ij,ij->i", acceleration, onward)
    turning = np.einsum("ij,ij->i", acceleration, aside)

    def sigma(*parts: Floats) -> Floats:
        weight = np.stack(parts, axis=2).reshape(len(pace), 6)
        spread = (covariance @ weight[:, :, None])[:, :, 0]
        return np.asarray(np.sqrt(np.einsum("ki,ki->k", weight, spread)))

    none = np.zeros_like(delay)
    along = (gaining * left_over)[:, None] * delay
    return {
        "speed_sigma_mps": sigma(along, onward, none),
        "longitudinal_sigma_mps2": sigma(none, (turning / pace)[:, None] * aside, onward),
        "lateral_sigma_mps2": sigma(none, -(gaining / pace)[:, None] * aside, aside),
    }
