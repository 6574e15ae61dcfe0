"""The receiver's wander read from how laps lie beside each other.

Positions alone cannot tell a receiver's slow wander from the drive.  Laps can: a driver's line
varies from place to place, the wander shifts a lap as a whole.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.motion.gauss_markov import covariance_of_means
from trackkit.motion.noise import USUAL
from trackkit.track.model import Track

FEWEST_LAPS = 6
"""From so many complete laps on the wander is read from them."""
_MOST_LAPS = 400
_PLACES = 200
_PLAUSIBLE_SIGMAS = 0.9
_FARTHEST_M = 60.0


def wander_from_laps(
    track: Track, drive: Drive, laps: Sequence[tuple[float, float]]
) -> float | None:
    """Estimate the wander's standard deviation on one axis, metres.

    Each lap's shift east and north is fitted to its sideways distances from the mean of all laps.
    The variance of the shifts over what a Gauss-Markov process of unit variance would give laps
    at these times is the estimate.  It has few degrees of freedom, about one a time constant and
    axis; so far as it is within their scatter of the usual level, it is drawn towards that.

    Parameters
    ----------
    track
        The track.
    drive
        The smoothed drive.
    laps
        Beginning and end of complete laps, seconds from the first fix.

    Returns
    -------
    float or None
        None with fewer than `FEWEST_LAPS` laps.
    """
    if len(laps) < FEWEST_LAPS:
        return None
    # Of very many laps, some spread over all tell enough: this takes the square of their number.
    laps = laps[:: -(-len(laps) // _MOST_LAPS)]
    chainage = np.linspace(0.0, track.curve.length_m, _PLACES, endpoint=False)
    left = track.curve.left(chainage)
    offset = np.array([_sideways(track, drive, chainage, *lap) for lap in laps])
    centred = offset - np.median(offset, axis=0)
    shift = np.linalg.lstsq(left, centred.T, rcond=None)[0].T
    shift -= shift.mean(axis=0)
    observed = float((shift**2).sum() / (2 * len(laps)))

    share = covariance_of_means(laps, USUAL.wander_time_s)
    factor = float(np.trace(share) / len(laps) - share.mean())
    # The residual after the shift is the driver's line; some of it looks like a shift.
    rest = centred - shift @ left.T
    by_line = float(rest.var()) * 2.0 * 50.0 / track.curve.length_m
    estimate = np.sqrt(max(observed - by_line, 1e-3) / max(factor, 0.1))

    centring = np.eye(len(laps)) - 1.0 / len(laps)
    spread = centring @ share @ centring
    freedom = 2.0 * np.trace(spread) ** 2 / float((spread**2).sum())
    away = float(np.log(estimate / USUAL.wander_m))
    odds = (away / (_PLAUSIBLE_SIGMAS / np.sqrt(2.0 * freedom))) ** 2
    return float(USUAL.wander_m * np.exp(away * odds / (1.0 + odds)))


def _sideways(
    track: Track,
    drive: Drive,
    chainage_m: Floats,
    start_s: float,
    end_s: float,
) -> Floats:
    """Distance to the left of the centreline at some chainages, on one lap."""
    begin, end = np.searchsorted(drive.time_s, [start_s, np.nextafter(end_s, np.inf)])
    velocity = drive.velocity_mps[begin:end]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    moving = speed > 1.0
    # What was measured, not what was made of it: smoothing has drawn the wander towards zero.
    position = drive.position_m[begin:end] + drive.wander_m[begin:end]
    direction = velocity[moving] / speed[moving, None]
    where, offset = track.curve.project(position[moving], direction)
    near = np.abs(offset) < _FARTHEST_M
    where, offset = where[near], offset[near]
    if len(where) < 2:
        return np.zeros(len(chainage_m))
    order = np.argsort(where)
    return np.interp(chainage_m, where[order], offset[order], period=track.curve.length_m)
