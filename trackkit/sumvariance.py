"""How well a weighted sum over a smoothed drive is known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from trackkit.geodesy import Floats
from trackkit.smoother import Solution


def sum_variance(
    solution: Solution,
    index: NDArray[np.intp],
    weight: Floats,
    remainders: dict[int, Floats] | None = None,
) -> float:
    """Variance of a sum over the unknowns of a few fixes, both axes together.

    With L the factor of the information matrix, the variance of a sum h is the square of L^-1 h.
    That is zero before the first fix h is about; what it adds up to beyond the last is a quadratic
    form in what it is there; see `remainders_after`.

    Parameters
    ----------
    solution
        From `trackkit.smoother.solve`.
    index
        Fixes the sum is about, shape (k,).
    weight
        Shape (k, states, 2): weights of the unknowns of those fixes, east and north.
    remainders
        What is known already, from `remainders_after`; the last fix is added where it lacks.
    """
    states = solution.levels.states
    block, columns = (2 * states, 1) if solution.coupled else (states, 2)
    first, last = int(index.min()), int(index.max())
    right = np.zeros(((last + 1 - first) * block, columns), order="F")
    for at, value in zip(((index - first) * block).tolist(), weight, strict=True):
        right[at : at + block] += value.T.reshape(block, 1) if solution.coupled else value
    spread = _forward(solution, first, last, block, right)
    known = {} if remainders is None else remainders
    if last not in known:
        known.update(remainders_after(solution, [last], known))
    # einsum, as sums this small are not worth waking the threads of a BLAS.
    inside = np.einsum("ij,ij->", spread, spread)
    beyond = np.einsum("ij,ik,kj->", spread[-block:], known[last], spread[-block:])
    return float(inside + beyond)


def remainders_after(
    solution: Solution, fixes: Iterable[int], known: Mapping[int, Floats] | None = None
) -> dict[int, Floats]:
    """Find what a solution of L x = h adds to its square beyond some fixes.

    Where h is zero from there on, x goes on from its values z at the fix, and the sum of its
    squares beyond is z' Q z.  Stretches between neighbouring fixes are each solved once, for the
    unit vectors, and put together from the last to the first.

    Parameters
    ----------
    solution
        From `trackkit.smoother.solve`.
    fixes
        Their indices.
    known
        What was found before, for other fixes; stretches between those are not solved again.

    Returns
    -------
    dict
        Q of each fix, shape (block, block), where a block is the unknowns of one fix on one axis,
        or on both where only the speed is known.
    """
    count, states, _ = solution.state.shape
    block = 2 * states if solution.coupled else states
    before = known or {}
    wanted = set(fixes) - before.keys()
    found: dict[int, Floats] = {}
    following, form = count - 1, np.zeros((block, block))
    for fix in sorted(wanted | before.keys(), reverse=True) if wanted else []:
        if fix in before:
            following, form = fix, before[fix]
            continue
        if fix < following:
            right = np.zeros(((following + 1 - fix) * block, block), order="F")
            # What makes the first block of the solution the unit vectors.
            for row in range(block):
                for column in range(row + 1):
                    right[row, column] = solution.factor[row - column, fix * block + column]
            beyond = _forward(solution, fix, following, block, right)[block:]
            end = beyond[-block:]
            passed_on = np.einsum("ia,ij,jb->ab", end, form, end)
            form = np.einsum("ia,ib->ab", beyond, beyond) + passed_on
        following = fix
        found[fix] = form
    return found


def _forward(solution: Solution, first: int, last: int, block: int, right: Floats) -> Floats:
    """Solve L x = right over the fixes from first to last."""
    from scipy.linalg.lapack import dtbtrs

    part = np.asfortranarray(solution.factor[:, first * block : (last + 1) * block])
    spread, info = dtbtrs(part, right, uplo="L")
    if info:
        raise ArithmeticError("the information matrix of the drive is singular")
    return np.asarray(spread)
