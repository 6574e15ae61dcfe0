"""A surveyed point: a stationary recording averaged, with an honest accuracy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.errors import RecordingError
from trackkit.geodesy import Floats, LocalPlane
from trackkit.recording import Recording
from trackkit.smoother import Levels
from trackkit.track import Position

FEWEST_FIXES = 10
FARTHEST_M = 25.0
"""A recording that spreads farther than this was not made standing still."""
_STRAY_SIGMAS = 6.0


@dataclass(frozen=True)
class Survey:
    """An averaged point.

    Parameters
    ----------
    position
        Longitude and latitude, degrees.
    sigma_m
        One sigma on one horizontal axis, the receiver's wander reckoned with.
    scatter_m
        Standard deviation of the fixes on one axis: what a naive mean would be judged by.
    naive_m
        That over the root of the number of fixes; far too small.
    seconds
        Over which it was averaged.
    fixes, left_out
        How many were averaged, and how many strayed.
    """

    position: Position
    sigma_m: float
    scatter_m: float
    naive_m: float
    seconds: float
    fixes: int
    left_out: int


def average(recording: Recording) -> Survey:
    """Average a stationary recording into a point.

    Fixes are correlated: a receiver wanders by about a metre over minutes.  The variance of the
    mean of a first-order Gauss-Markov process over a time T is
    2 s^2 (r - r^2 (1 - exp(-1 / r))), r = tau / T (Papoulis, Probability, Random Variables and
    Stochastic Processes; from memory).  The wander is taken to be the usual one, or what the
    recording shows of it if that is more; it is never taken to be less, since a recording shorter
    than some time constants shows little of its own wander.

    Parameters
    ----------
    recording
        Of a receiver that stood still.

    Raises
    ------
    RecordingError
        With few fixes, or when it moved.
    """
    if len(recording) < FEWEST_FIXES:
        raise RecordingError(
            f"{len(recording)} fixes are too few to average",
            file=recording.name, remedy="let the receiver stand for some minutes",
        )  # fmt: skip
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    position = plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    away = position - np.median(position, axis=0)
    usual = 1.4826 * float(np.median(np.abs(away))) + 1e-9
    kept = np.linalg.norm(away, axis=1) <= max(_STRAY_SIGMAS * usual, 0.05)
    reach = float(np.quantile(np.linalg.norm(away, axis=1), 0.9))
    if reach > FARTHEST_M:
        raise RecordingError(
            f"moves by {reach:.0f} m, so it was not made standing still",
            file=recording.name, remedy="give a recording of a receiver left on the gate's end",
        )  # fmt: skip
    used = position[kept]
    mean = used.mean(axis=0)
    time = recording.time_s[kept]
    seconds = float(time[-1] - time[0])
    scatter = float(np.sqrt(((used - mean) ** 2).sum(axis=0).mean() / max(len(used) - 1, 1)))
    levels = Levels()
    wander = max(levels.wander_m, _block_scatter(used, time, mean))
    sigma = float(
        np.sqrt(wander**2 * mean_variance(seconds, levels.wander_time_s)
                + levels.white_m**2 / len(used))
    )  # fmt: skip
    longitude, latitude = plane.to_geographic(mean)
    return Survey(
        (float(longitude), float(latitude)), sigma, scatter, scatter / float(np.sqrt(len(used))),
        seconds, len(used), int((~kept).sum()),
    )  # fmt: skip


def mean_variance(seconds: float, time_constant_s: float) -> float:
    """Variance of the mean of a unit Gauss-Markov process over a time."""
    if seconds <= 0:
        return 1.0
    ratio = time_constant_s / seconds
    return float(2.0 * (ratio - ratio**2 * (1.0 - np.exp(-1.0 / ratio))))


def _block_scatter(position_m: Floats, time_s: Floats, mean_m: Floats) -> float:
    """Scatter of the means of ten-second blocks, on one axis: white noise is gone from it."""
    block = ((time_s - time_s[0]) // 10.0).astype(int)
    means = np.array([position_m[block == b].mean(axis=0) for b in np.unique(block)])
    return float(np.sqrt(((means - mean_m) ** 2).mean()))
