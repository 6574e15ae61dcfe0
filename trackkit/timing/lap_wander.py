"""The receiver's wander read from how laps lie beside each other.

Positions alone cannot tell a receiver's slow wander from the drive.  Laps can: a driver's line
varies from place to place, the wander shifts a lap as a whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.motion.gauss_markov import covariance, covariance_of_means
from trackkit.motion.noise import USUAL, Levels
from trackkit.track.model import Track

FEWEST_LAPS = 6
"""From so many complete laps on the wander is read from them."""
_MOST_LAPS = 400
_PLACES = 200
_FARTHEST_M = 60.0
_TRUSTED = 1e-3
_TIMES_S = USUAL.wander_time_s * 2.0 ** np.arange(-2.0, 1.25, 0.25)
_SIGMAS_M = np.geomspace(0.1, 30.0, 72)
_TIME_FACTOR, _SIGMA_FACTOR = 1.6, 1.35
"""How far the wander's time constant and its level usually are from the usual ones, as factors
(common practice, no source)."""
_LEAST_M = 0.03
"""Nobody drives a line again so exactly that laps show a shift this small."""


def levels_from_laps(track: Track, drive: Drive, laps: Sequence[tuple[float, float]]) -> Levels:
    """Find the levels of a drive, with what its laps tell of the receiver's wander.

    Each lap's shift east and north is fitted to its sideways distances from the mean of all laps.
    Their likelihood, as means over the laps of a Gauss-Markov process beside what the driver's
    line adds, is worked out for many levels and time constants, with priors around the usual ones:
    log-normal of the time constant, and Cauchy of the logarithm of the level, which draws one that
    is not far from the usual towards that and leaves one alone that is.  Under all of these the
    time constant is the mean of its logarithm, and the level such that the variance of the
    difference of two laps is its mean (Gelman et al., Bayesian Data Analysis; from memory).

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
    Levels
        Those of the drive but for the wander, which is the usual one with fewer than `FEWEST_LAPS`
        laps.
    """
    if len(laps) < FEWEST_LAPS:
        return replace(drive.levels, wander_m=USUAL.wander_m, wander_time_s=USUAL.wander_time_s)
    # Of very many laps, some spread over all tell enough: this takes the cube of their number.
    some = laps[:: -(-len(laps) // _MOST_LAPS)]
    shift, by_line = _shifts(track, drive, some)
    by_line = max(by_line, _LEAST_M**2)
    score = np.array([_likelihoods(shift, by_line, some, time) for time in _TIMES_S.tolist()])
    time_away = np.log(_TIMES_S / USUAL.wander_time_s)
    score -= 0.5 * (time_away[:, None] / np.log(_TIME_FACTOR)) ** 2
    score -= np.log1p((np.log(_SIGMAS_M / USUAL.wander_m) / np.log(_SIGMA_FACTOR)) ** 2)
    odds = np.exp(score - score.max())
    odds /= odds.sum()
    time_constant = USUAL.wander_time_s * float(np.exp(odds.sum(axis=1) @ time_away))
    lap_s = float(np.median([end - start for start, end in laps]))
    lost = 1.0 - np.array([covariance(lap_s, time) for time in _TIMES_S.tolist()])
    apart = float(lost @ odds @ _SIGMAS_M**2)
    wander = float(np.sqrt(apart / (1.0 - covariance(lap_s, time_constant))))
    return replace(drive.levels, wander_m=wander, wander_time_s=time_constant)


def _likelihoods(
    shift: Floats, by_line: float, laps: Sequence[tuple[float, float]], time_constant_s: float
) -> Floats:
    """Logarithms of the likelihood of some shifts under each of `_SIGMAS_M`."""
    centring = np.eye(len(laps)) - 1.0 / len(laps)
    share = centring @ covariance_of_means(laps, time_constant_s) @ centring
    # The smallest is of the mean, which has been taken out.
    value, vector = (part[..., 1:] for part in np.linalg.eigh(share))
    power = ((vector.T @ shift) ** 2).sum(axis=1)
    variance = _SIGMAS_M[:, None] ** 2 * value + by_line
    return np.asarray(-np.log(variance).sum(axis=1) - 0.5 * (power / variance).sum(axis=1))


def _shifts(
    track: Track, drive: Drive, laps: Sequence[tuple[float, float]]
) -> tuple[Floats, float]:
    """Find how laps lie beside their mean, metres, (k, 2), and the variance that lines add."""
    chainage = np.linspace(0.0, track.curve.length_m, _PLACES, endpoint=False)
    left = track.curve.left(chainage)
    offset = _sideways(track, drive, chainage, laps)
    centred = offset - np.median(offset, axis=0)
    shift = np.asarray(np.linalg.lstsq(left, centred.T, rcond=None)[0].T, dtype=float)
    shift -= shift.mean(axis=0)
    # The residual after the shift is the driver's line; some of it looks like a shift.
    rest = centred - shift @ left.T
    return shift, float(rest.var()) * 2.0 * 50.0 / track.curve.length_m


def _sideways(
    track: Track, drive: Drive, chainage_m: Floats, laps: Sequence[tuple[float, float]]
) -> Floats:
    """Distance to the left of the centreline at some chainages, on each lap, (laps, chainages)."""
    begin, end = np.array(laps).T
    begins = np.searchsorted(drive.time_s, begin)
    ends = np.searchsorted(drive.time_s, np.nextafter(end, np.inf))
    part = slice(int(begins.min()), int(ends.max()))
    velocity = drive.velocity_mps[part]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    # Where positions have jumped aside the drive is a guess.
    moving = part.start + np.flatnonzero((speed > 1.0) & (drive.trust[part] > _TRUSTED))
    # What was measured, not what was made of it: smoothing has drawn the wander towards zero.
    position = drive.position_m[moving] + drive.wander_m[moving]
    direction = drive.velocity_mps[moving] / speed[moving - part.start, None]
    where, offset = track.curve.project(position, direction)
    near = np.abs(offset) < _FARTHEST_M
    moving, where, offset = moving[near], where[near], offset[near]
    rows = np.zeros((len(laps), len(chainage_m)))
    for row, first, last in zip(
        rows, np.searchsorted(moving, begins), np.searchsorted(moving, ends), strict=True
    ):
        if last - first < 2:
            continue
        order = first + np.argsort(where[first:last])
        row[:] = np.interp(chainage_m, where[order], offset[order], period=track.curve.length_m)
    return rows
