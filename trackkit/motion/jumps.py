"""Stretches of positions that jump aside and back, found where no velocity contradicts them.

A receiver that follows a reflected signal for some seconds tells a drive as smooth as the true one,
metres beside it.  Only the two steps, there and back, show; nothing on the way is far from its
neighbours.
"""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.motion.noise import Measured

LONGEST_JUMP_S = 12.0
"""Positions that stay aside for longer are taken to be where the vehicle is."""
SPOILED = 1e4
"""Factor on the white noise of positions that have jumped: they say nothing."""
_RARE_S, _RAREST_S = 0.7, 1.5
_BESIDE_S = 0.6
"""Time on either side of a step from which it is told, where that is neither too few nor too many
fixes."""
_FEWEST, _MOST, _BESIDE_RARE = 4, 12, 3
_LARGE = 6.0
"""How many times the usual a step must be: the median of what noise looks like.  Of noise on two
axes less than one in ten thousand million is as large."""
_LEAST_M = 1.5
_AGREE = 5.0
"""How many times the usual, and what share of them, two steps may fail to cancel by."""
_AGREE_SHARE = 0.15
_GAP = 1.5


def jumping_positions(measured: Measured) -> Flags:
    """Find fixes whose positions have jumped aside, by the steps there and back.

    A step between two fixes is what a cubic through the fixes on both sides needs besides to
    fit best; the largest is taken out first and what it adds around it, then the next
    (Mallat & Zhang 1993, Matching pursuits with time-frequency dictionaries; from memory).  A step
    and a later one that cancels it are a jump.

    Parameters
    ----------
    measured
        Any number of fixes; where one has a velocity nothing is looked for, as that tells.

    Returns
    -------
    ndarray
        Shape (n,).
    """
    count = len(measured.time_s)
    jumping = np.zeros(count, dtype=bool)
    interval = float(np.median(np.diff(measured.time_s))) if count > 1 else np.inf
    if np.isfinite(measured.velocity_mps).any() or interval > _RAREST_S:
        return jumping
    beside = _BESIDE_RARE
    if interval < _RARE_S:
        beside = int(np.clip(_BESIDE_S / interval, _FEWEST, _MOST))
    if count < 4 * beside:
        return jumping
    step = _steps(measured, interval, beside)
    size = np.hypot(step[:, 0], step[:, 1])
    usual = float(np.median(size[size > 0])) if size.any() else 0.0
    place, move = _largest(step, max(_LARGE * usual, _LEAST_M), beside)
    ends = np.searchsorted(
        measured.time_s[place], measured.time_s[place] + LONGEST_JUMP_S, side="right"
    )
    over = 0
    for first in range(len(place)):
        if first < over:
            continue
        later = slice(first + 1, int(ends[first]))
        left = np.hypot(*(move[later] + move[first]).T)
        most = _AGREE * usual + _AGREE_SHARE * float(np.hypot(*move[first]))
        back = np.flatnonzero(left < most)
        if len(back):
            over = first + 2 + int(back[0])
            jumping[place[first] + 1 : place[over - 1] + 1] = True
    return jumping


def _kernel(beside: int) -> Floats:
    """Weights of the fixes on both sides that give the step between them, shape (2 beside,)."""
    time = np.arange(2 * beside) - beside + 0.5
    design = np.stack([np.ones_like(time), time, time**2, time**3, time > 0], axis=1)
    return np.asarray(np.linalg.pinv(design)[-1])


def _steps(measured: Measured, interval: float, beside: int) -> Floats:
    """Find the step from each fix to the next, metres, shape (n - 1, 2); 0 where none shows."""
    kernel = _kernel(beside)[::-1]
    step = np.zeros((len(measured.time_s) - 1, 2))
    inner = slice(beside - 1, len(step) - beside + 1)
    for axis in range(2):
        step[inner, axis] = np.convolve(measured.position_m[:, axis], kernel, mode="valid")
    # Across a gap the cubic would not know how far it has to go.
    broken = ~measured.joined | (np.diff(measured.time_s) > _GAP * interval)
    near = np.convolve(broken, np.ones(2 * beside - 1), mode="same") > 0.5
    step[near] = 0.0
    return step


def _largest(step: Floats, least_m: float, beside: int) -> tuple[Indices, Floats]:
    """Take the large steps out one by one: before which fixes they end, in order, and how large."""
    size = np.hypot(step[:, 0], step[:, 1])
    large = np.flatnonzero(size > least_m)
    if not len(large):
        return large, np.zeros((0, 2))
    reach = 2 * beside - 1
    # What a step of one metre shows as at the places around it.
    shown = np.cumsum(_kernel(beside)[::-1])[:reach]
    places, moves = [], []
    for group in np.split(large, np.flatnonzero(np.diff(large) > reach) + 1):
        begin, end = max(group[0] - reach, 0), min(group[-1] + reach + 1, len(step))
        rest = step[begin:end].copy()
        taken: dict[int, Floats] = {}
        for _ in range(2 * len(group)):
            at = int(np.argmax(np.hypot(rest[:, 0], rest[:, 1])))
            move = rest[at].copy()
            if np.hypot(*move) <= least_m:
                break
            taken[at] = taken.get(at, np.zeros(2)) + move
            around = np.arange(max(at - beside + 1, 0), min(at + beside, len(rest)))
            rest[around] -= shown[around - at + beside - 1, None] * move
        for at in sorted(taken):
            places.append(begin + at)
            moves.append(taken[at])
    return np.array(places, dtype=np.intp), np.array(moves).reshape(-1, 2)
