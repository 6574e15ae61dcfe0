"""The banded least-squares problem behind a smoothed drive.

`trackkit.motion.information` has the model.  One Cholesky factorisation of its information matrix
gives the most probable drive (equal to a Rauch-Tung-Striebel smoother's), its likelihood, and the
covariance of anything linear in it, which is the Cramer-Rao bound of this linear-Gaussian problem
(Brown & Hwang, Introduction to Random Signals and Applied Kalman Filtering; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.banded import diagonal, solved_below
from trackkit.motion.factor import Factor
from trackkit.motion.information import LEAST_LEEWAY_M, POSITION, VELOCITY
from trackkit.motion.noise import Levels, Measured
from trackkit.progress import tell

LEAST_TRUST = 1e-6
"""Trust in a stray position: not nothing, so that a piece of strays alone has a place."""
_MOST_LEEWAY_M = 1e-3


@dataclass(frozen=True, eq=False)
class Solution:
    """The most probable drive under given levels.

    Parameters
    ----------
    state
        Shape (n, states, 2): the unknowns of each fix, east and north.
    log_likelihood
        Of the measurements under the levels, up to a constant.
    factor
        Of the information matrix.
    levels
        The levels.
    """

    state: Floats
    log_likelihood: float
    factor: Factor
    levels: Levels

    @property
    def coupled(self) -> bool:
        """Whether the factor is of both axes together."""
        return self.factor.axes == 2


def solve(
    measured: Measured,
    levels: Levels,
    weight: Floats,
    *,
    likelihood: bool = False,
    leeway_m: float = LEAST_LEEWAY_M,
) -> Solution:
    """Find the most probable drive.

    The wander leaves the place of the whole drive known to a tiny part of what ties one fix to the
    next, and rounding shifts a solution by a share of its own size.  What is solved for is
    therefore the small step from the measured positions and velocities, and the right-hand side
    is worked out from what each step of the drive leaves unexplained.

    Parameters
    ----------
    measured
        At least one fix.
    levels
        The noise levels.
    weight
        Trust in each position, 0 to 1, shape (n,): the reweighting of a robust loss.
    likelihood
        Whether to work out the log-likelihood too.
    leeway_m
        How far truth may leave a smooth path between two fixes at least, one sigma; made ten
        times larger where float64 cannot hold the problem.
    """
    from scipy.linalg import LinAlgError

    factor = Factor.of(measured, levels, weight, leeway_m)
    block = factor.block
    step = np.empty((len(measured.time_s) * block, 2 // factor.axes))
    log_determinant = 0.0
    try:
        for piece in factor.pieces:
            log_determinant += _forward(factor, piece, step)
            if len(factor.pieces) > 1:
                tell("smoothing the drive", piece + 1, len(factor.pieces))
    except LinAlgError:
        if leeway_m > _MOST_LEEWAY_M:
            raise
        wider = 10.0 * leeway_m
        return solve(measured, levels, weight, likelihood=likelihood, leeway_m=wider)
    for piece in reversed(factor.pieces):
        _backward(factor, piece, step)
    factor.forget()
    states = levels.states
    if factor.axes == 1:
        state = step.reshape(-1, states, 2)
    else:
        state = np.ascontiguousarray(step.reshape(-1, 2, states).transpose(0, 2, 1))
    state[:, POSITION] += measured.position_m
    state[:, VELOCITY] += np.nan_to_num(measured.velocity_mps)
    log_likelihood = np.nan
    if likelihood:
        # A factor that both axes share counts for both.
        log_likelihood = _log_density(factor, state) - 2.0 / factor.axes * log_determinant
    return Solution(state, log_likelihood, factor, levels)


def _forward(factor: Factor, piece: int, step: Floats) -> float:
    """Solve L y = pull over a piece, into `step`; give the sum of the logarithms of its pivots."""
    block = factor.block
    model = factor.model(piece)
    rows = factor.rows(piece, model)
    first, last = factor.reach(piece)
    begin, end = factor.bounds[piece], factor.bounds[piece + 1]
    measured = model.measured
    start = np.zeros((factor.levels.states, 2, last + 1 - first))
    start[POSITION] = measured.position_m.T
    start[VELOCITY] = np.nan_to_num(measured.velocity_mps.T)
    order = (2, 0, 1) if factor.axes == 1 else (2, 1, 0)
    right = model.pull(start)[0].transpose(order).reshape(-1, 2 // factor.axes)
    if piece:
        # Of the fix before the piece y is there already.
        before = slice(first * block, begin * block)
        right[:block] = diagonal(rows, 0, block) @ step[before]
    own = slice((begin - first) * block, (end - first) * block)
    step[begin * block : end * block] = solved_below(rows, right)[own]
    return float(np.log(rows[0, own]).sum())


def _backward(factor: Factor, piece: int, step: Floats) -> None:
    """Solve L' x = y over a piece, y being in `step`, into `step`."""
    block = factor.block
    rows = factor.rows(piece)
    first, last = factor.reach(piece)
    begin, end = factor.bounds[piece], factor.bounds[piece + 1]
    right = step[first * block : (last + 1) * block].copy()
    if last == end:
        # Of the fix after the piece x is there already.
        right[-block:] = diagonal(rows, last - first, block).T @ right[-block:]
    own = slice((begin - first) * block, (end - first) * block)
    step[begin * block : end * block] = solved_below(rows, right, transposed=True)[own]


def _log_density(factor: Factor, state: Floats) -> float:
    """Logarithm of the density at a state, up to the determinant of the information matrix.

    What a piece adds is what it comes to together with the fix before it, less what that fix comes
    to by itself.
    """
    total = 0.0
    for piece in factor.pieces:
        first, end = factor.reach(piece)[0], factor.bounds[piece + 1]
        total += _log_density_of(factor, state, first, end)
        if piece:
            total -= _log_density_of(factor, state, first, first + 1)
    return total


def _log_density_of(factor: Factor, state: Floats, begin: int, end: int) -> float:
    model = factor.model_of(begin, end)
    squares = model.pull(np.ascontiguousarray(state[begin:end].transpose(1, 2, 0)))[1]
    return -0.5 * squares - model.log_scale(factor.axes)
