"""How much each measured position of a drive is trusted."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.motion.information import POSITION, WANDER
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.smoother import LEAST_TRUST, Solution, solve

STRAY_SIGMAS = 6.0
"""A position this many sigmas from the drive makes the fit robust, and then counts for nothing.

The fit is made again with the Cauchy loss, which drops no position at once, and then with Tukey's
biweight, which drops those beyond this limit (Holland & Welsch 1977, Robust regression using
iteratively reweighted least squares; from memory).  Normal noise hardly ever gets there: a clean
recording is fitted once, with full trust.
"""
CAUCHY_M = 1.0
_CAUCHY_ROUNDS = 3
_SPARSE_JERKS = (1.0, 6.0, 36.0, 216.0)
BIWEIGHT_ROUNDS = 2
_HARDEST_MPS2 = 20.0
_APART_S = 1.5


def stray_positions(measured: Measured) -> Flags:
    """Find positions far from where their neighbours put them, before anything is fitted.

    What is compared is the position less the integrated velocity, where that is known, with the
    median of nine neighbours; the limit is far above the noise, so that only what would spoil
    the first fit is found.
    """
    count = len(measured.time_s)
    if count < 9:
        return np.zeros(count, dtype=bool)
    rest = measured.position_m.copy()
    velocity = measured.velocity_mps
    leeway = np.zeros(count)
    if np.isfinite(velocity).all():
        step = np.diff(measured.time_s)[:, None]
        moved = 0.5 * (velocity[:-1] + velocity[1:]) * step
        rest -= np.concatenate([[[0.0, 0.0]], np.cumsum(moved, axis=0)])
        # Over a long way the velocities at its ends do not tell where a vehicle has gone.
        slack = np.where(step[:, 0] > _APART_S, 0.25 * _HARDEST_MPS2 * step[:, 0] ** 2, 0.0)
        total = np.concatenate([[0.0], np.cumsum(slack)])
        index = np.arange(count)
        leeway = total[np.minimum(index + 4, count - 1)] - total[np.maximum(index - 4, 0)]
    else:
        before, after = np.diff(measured.time_s)[:-1], np.diff(measured.time_s)[1:]
        share = (before / (before + after))[:, None]
        rest[1:-1] -= (1.0 - share) * rest[:-2] + share * rest[2:]
        rest[[0, -1]] = 0.0
        leeway[1:-1] = 0.5 * _HARDEST_MPS2 * before * after
    step_m = np.hypot(*np.diff(rest, axis=0).T)
    # A difference of two is larger than the noise of one.
    least = 10.0 * float(np.median(step_m)) / np.sqrt(2.0) + 1.0
    # Stray positions are reached and left by a large step: only there is a closer look worth it.
    large = np.concatenate([[0.0], step_m > 0.5 * least, [0.0]])
    # Cut from the whole convolution: "same" is as long as the longer of the two, here the 17.
    spread = np.convolve(large[:-1] + large[1:], np.ones(17))[8 : 8 + count]
    near = np.flatnonzero(spread > 0.5)
    padded = np.pad(rest, ((4, 4), (0, 0)), mode="edge")
    window = np.lib.stride_tricks.sliding_window_view(padded, 9, axis=0)[near]
    away = np.linalg.norm(rest[near] - np.median(window, axis=-1), axis=1)
    stray = np.zeros(count, dtype=bool)
    stray[near] = away > least + leeway[near]
    return stray


def cauchy_fit(measured: Measured, levels: Levels, trust: Floats) -> Solution:
    """Solve with the Cauchy loss on positions."""
    solution = solve(measured, levels, trust)
    for _ in range(_CAUCHY_ROUNDS):
        away = np.linalg.norm(_unexplained(measured, solution), axis=1)
        trust = np.maximum(1.0 / (1.0 + (away / CAUCHY_M) ** 2), LEAST_TRUST)
        solution = solve(measured, levels, trust, likelihood=True)
    return solution


def sparse_trust(measured: Measured, trust: Floats) -> Floats:
    """Find stray positions among fixes so far apart that neighbours alone do not show them.

    A stray position looks like a swerve there, and noise levels read from the recording would
    allow for it; so the jerk is first chosen with the Cauchy loss in place.
    """
    tried = [cauchy_fit(measured, Levels(jerk=jerk), trust) for jerk in _SPARSE_JERKS]
    best = max(tried, key=lambda solution: solution.log_likelihood)
    return np.where(residuals(measured, best) > STRAY_SIGMAS, LEAST_TRUST, trust)


def _unexplained(measured: Measured, solution: Solution) -> Floats:
    """Work out what drive and wander leave of the positions, metres, shape (n, 2)."""
    state = solution.state
    return np.asarray(measured.position_m - state[:, POSITION] - state[:, WANDER])


def residuals(measured: Measured, solution: Solution) -> Floats:
    """Work out the same in sigmas of the white noise, shape (n,)."""
    away = np.linalg.norm(_unexplained(measured, solution), axis=1)
    return np.asarray(away / (solution.levels.white_m * measured.scale))


def biweight(sigmas: Floats) -> Floats:
    """Trust in positions so many sigmas away, shape (n,) (Tukey's biweight; from memory)."""
    share = sigmas / STRAY_SIGMAS
    return np.where(share < 1.0, np.maximum((1.0 - share**2) ** 2, LEAST_TRUST), LEAST_TRUST)
