"""Noise levels read from a recording itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.doppler_noise import (
    DIFFERENCES_WITHIN_S,
    FASTER_THAN_MPS,
    doppler_levels,
    moving,
)
from trackkit.motion.noise import USUAL, Levels, Measured
from trackkit.motion.smoother import LEAST_TRUST, solve

WANDER_FROM_S = 600.0
"""A recording shorter than this cannot tell its wander."""
LEAST_JERK = 1.0
"""No vehicle moves more smoothly than with this density of jerk, m^2/s^5; less would let a receiver
that is better than usual have its drive explained as wander."""
_JERK_FIXES = 1200
_WANDER_FIXES = 2500
_THINNED_S = 0.2
_QUIET = 0.25
"""Share of the differences, from the smallest on, that noise is read from: the quiet stretches."""
_QUIET_SIGMAS = 0.3186
"""The same quantile of the absolute value of a standard normal variable."""
_SENSIBLE_JERK, _SENSIBLE_WANDER_M = (0.5 * LEAST_JERK, 1e5), (0.05, 50.0)
_JERK_STEPS, _WANDER_STEP = (3.0, 1.5), 1.25
"""Bounds and steps, as factors, of the search for a level."""
_LEAST_WHITE = 0.2
"""Share of the white noise of averaged positions that is left at least, whatever the wander."""
_WANDER_FACTOR = 1.5
"""One standard deviation of the prior of the wander, as a factor (common practice, no source)."""


def estimate(measured: Measured, weight: Floats) -> Levels:
    """Find the noise levels of a recording.

    White noise of velocities and of positions is read from differences of neighbouring fixes in
    which smooth motion cancels.  The jerk is the likeliest on a window of fixes; the wander the
    likeliest on the whole recording, where it is long enough and has velocities.

    Parameters
    ----------
    measured
        At least three fixes.
    weight
        Trust in each position, shape (n,); stray ones 0.
    """
    levels = _white(measured, weight, doppler_levels(measured))
    begin, end = _busiest(measured, _JERK_FIXES)
    levels = _likeliest_jerk(measured.part(begin, end), levels, weight[begin:end])
    levels = replace(levels, jerk=max(levels.jerk, LEAST_JERK))
    if not np.isfinite(measured.velocity_mps).any():
        # Positions that a receiver has smoothed before it wrote them would have their corners cut
        # if they were taken to wander as much as raw ones do from fix to fix.
        quiet = float(np.clip(levels.white_m / USUAL.white_m, 0.1, 1.0))
        levels = replace(levels, wander_m=quiet * USUAL.wander_m)
    if tells_wander(measured):
        levels = _wander(measured, weight, levels)
    return levels


def tells_wander(measured: Measured) -> bool:
    """Whether the wander can be read from a recording alone.

    That takes velocities, often enough that their integral is worth more than the positions, for
    some time constants of the wander.
    """
    step = np.diff(measured.time_s)
    return bool(
        measured.time_s[-1] - measured.time_s[0] >= WANDER_FROM_S
        and np.median(step) <= DIFFERENCES_WITHIN_S
        and measured.direction is None
        and np.count_nonzero(moving(measured)) > 100
    )


def _scale(difference: Floats) -> float:
    """Find the standard deviation of noise in differences, some of which hold motion as well."""
    size = np.abs(difference[np.isfinite(difference)])
    return float(np.quantile(size, _QUIET)) / _QUIET_SIGMAS if len(size) >= 100 else np.nan


def _white(measured: Measured, weight: Floats, levels: Levels) -> Levels:
    """Read the white noise of positions from what velocities leave of their steps.

    Without velocities, from fourth differences, whose variance is 70 times that of white noise.
    """
    interval = float(np.median(np.diff(measured.time_s)))
    position = np.where(weight[:, None] > 0.5, measured.position_m, np.nan)
    fast = moving(measured)
    if fast.any() and measured.direction is None:
        velocity = measured.velocity_mps
        step = np.diff(measured.time_s)[1:-1, None]
        # Euler-Maclaurin: the trapezium less the change of slope over twelve.
        trapezium = 0.5 * (velocity[1:-2] + velocity[2:-1])
        bend = (velocity[3:] - velocity[2:-1] - velocity[1:-2] + velocity[:-3]) / 24.0
        rest = (position[2:-1] - position[1:-2]) - step * (trapezium - bend)
        of_others = 2.0 * USUAL.wander_m**2 * interval / USUAL.wander_time_s
        of_others += 0.5 * (levels.doppler_mps * interval) ** 2
        white = 0.5 * (_scale(rest[fast[1:-2]]) ** 2 - of_others)
        usable = interval <= 2.0 * DIFFERENCES_WITHIN_S
    else:
        pace = np.linalg.norm(position[2:] - position[:-2], axis=1) / (2.0 * interval)
        fourth = position[4:] - 4 * position[3:-1] + 6 * position[2:-2]
        fourth += position[:-4] - 4 * position[1:-3]
        white = _scale(fourth[pace[1:-1] > FASTER_THAN_MPS]) ** 2 / 70.0
        usable = interval <= DIFFERENCES_WITHIN_S
    if not usable or not np.isfinite(white):
        return levels
    return replace(levels, white_m=float(np.clip(np.sqrt(max(white, 0.0)), 0.01, 20.0)))


def _likeliest_jerk(measured: Measured, levels: Levels, weight: Floats) -> Levels:
    """Search the likeliest jerk."""

    def score(jerk: float) -> float:
        return solve(measured, replace(levels, jerk=jerk), weight, likelihood=True).log_likelihood

    jerk = levels.jerk
    for step in _JERK_STEPS:
        jerk = highest(score, jerk, step, _SENSIBLE_JERK)
    return replace(levels, jerk=jerk)


def highest(
    score: Callable[[float], float], start: float, step: float, bounds: tuple[float, float]
) -> float:
    """Find where a score is highest, by steps of a factor and a parabola through the best three.

    Parameters
    ----------
    score
        Of a level; smooth in its logarithm, with one peak.
    start
        Level to begin from, within the bounds.
    step
        The factor.
    bounds
        Least and most level.
    """
    scores = {0: score(start)}

    def at(steps: int) -> float:
        level = start * step**steps
        if not bounds[0] <= level <= bounds[1]:
            return -np.inf
        if steps not in scores:
            scores[steps] = score(level)
        return scores[steps]

    best = 0
    for direction in (1, -1):
        while at(best + direction) > at(best):
            best += direction
        if best:
            break
    below, middle, above = at(best - 1), at(best), at(best + 1)
    bend = below - 2.0 * middle + above
    vertex = 0.5 * (below - above) / bend if np.isfinite(bend) and bend < 0 else 0.0
    return float(np.clip(start * step ** (best + vertex), *bounds))


def _wander(measured: Measured, weight: Floats, levels: Levels) -> Levels:
    """Read the wander from a long stretch, thinned by averaging runs of fixes.

    Runs are short enough for their mean velocity to be that of the mean place, corners included.
    Means over runs of h seconds of a wander whose differences grow by r a second differ by less
    from one run to the next than its values h apart do: as if white noise of the variance r h / 6
    were taken away.
    """
    interval = float(np.median(np.diff(measured.time_s)))
    thin = max(1, int(_THINNED_S / interval + 1e-6))
    begin, end = _busiest(measured, thin * _WANDER_FIXES)
    part, trust = _thinned(measured.part(begin, end), weight[begin:end], thin)
    coarse = replace(
        levels,
        white_m=levels.white_m / np.sqrt(thin),
        doppler_mps=levels.doppler_mps / np.sqrt(thin),
    )
    coarse = _likeliest_jerk(part, coarse, trust)
    white = coarse.white_m**2
    less = 2.0 / levels.wander_time_s * thin * interval * (1.0 - 1.0 / thin**2) / 6.0

    def score(wander_m: float) -> float:
        left = float(np.sqrt(max(white - less * wander_m**2, _LEAST_WHITE * white)))
        candidate = replace(coarse, wander_m=wander_m, white_m=left)
        doubt = 0.5 * float(np.log(wander_m / USUAL.wander_m) / np.log(_WANDER_FACTOR)) ** 2
        return solve(part, candidate, trust, likelihood=True).log_likelihood - doubt

    wander = highest(score, levels.wander_m, _WANDER_STEP, _SENSIBLE_WANDER_M)
    return replace(levels, wander_m=wander)


def _thinned(measured: Measured, weight: Floats, thin: int) -> tuple[Measured, Floats]:
    if thin == 1:
        return measured, weight
    count = len(measured.time_s) // thin * thin

    def mean(values: Floats) -> Floats:
        return np.asarray(values[:count].reshape(-1, thin, *values.shape[1:]).mean(axis=1))

    broken = np.flatnonzero(~measured.joined) // thin
    joined = np.ones(count // thin - 1, dtype=bool)
    joined[broken[broken < len(joined)]] = False
    part = Measured(
        mean(measured.time_s),
        mean(measured.position_m),
        mean(measured.velocity_mps),
        joined,
        mean(measured.scale),
        velocity_scale=None if measured.velocity_scale is None else mean(measured.velocity_scale),
    )
    return part, np.where(mean(weight) > 0.99, 1.0, LEAST_TRUST)


def _busiest(measured: Measured, window: int) -> tuple[int, int]:
    """Find the stretch of a recording in which most ground is covered."""
    count = len(measured.time_s)
    if count <= window:
        return 0, count
    step = np.linalg.norm(np.diff(measured.position_m, axis=0), axis=1)
    # Stray fixes would make a short stretch look long.
    step = np.minimum(step, 10.0 * np.median(step) + 1.0)
    travelled = np.concatenate([[0.0], np.cumsum(step)])
    starts = np.arange(0, count - window + 1, window // 4)
    begin = int(starts[np.argmax(travelled[starts + window - 1] - travelled[starts])])
    return begin, begin + window
