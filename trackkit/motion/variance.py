"""How well a weighted sum over a smoothed drive is known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.banded import diagonal, solved_below
from trackkit.motion.smoother import Solution


def sum_variance(
    solution: Solution,
    index: Indices,
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
        From `trackkit.motion.smoother.solve`.
    index
        Fixes the sum is about, shape (k,), all within one piece of the factor.
    weight
        Shape (k, states, 2): weights of the unknowns of those fixes, east and north.
    remainders
        What has been worked out, from `remainders_after`; the last fix is added where it lacks.
    """
    states = solution.levels.states
    block, columns = (2 * states, 1) if solution.coupled else (states, 2)
    first, last = int(index.min()), int(index.max())
    right = np.zeros(((last + 1 - first) * block, columns), order="F")
    for at, value in zip(((index - first) * block).tolist(), weight, strict=True):
        right[at : at + block] += value.T.reshape(block, 1) if solution.coupled else value
    spread = _forward(solution, first, last, right)
    forms = {} if remainders is None else remainders
    if last not in forms:
        forms.update(remainders_after(solution, [last], forms))
    # einsum, since on sums this small a BLAS spends longer on its threads than on the sum.
    inside = np.einsum("ij,ij->", spread, spread)
    beyond = np.einsum("ij,ik,kj->", spread[-block:], forms[last], spread[-block:])
    return float(inside + beyond)


def remainders_after(
    solution: Solution, fixes: Iterable[int], before: Mapping[int, Floats] | None = None
) -> dict[int, Floats]:
    """Find what a solution of L x = h adds to its square beyond some fixes.

    Where h is zero from there on, x goes on from its values z at the fix, and the sum of its
    squares beyond is z' Q z.  Stretches between neighbouring fixes are each solved once, for the
    unit vectors, and put together from the last to the first.

    Parameters
    ----------
    solution
        From `trackkit.motion.smoother.solve`.
    fixes
        Their indices.
    before
        What was worked out before, for other fixes; stretches between those are not solved again.

    Returns
    -------
    dict
        Q of each fix, shape (block, block), where a block is the unknowns of one fix on one axis,
        or on both where only the speed is known.
    """
    count, states, _ = solution.state.shape
    block = 2 * states if solution.coupled else states
    earlier = before or {}
    wanted = set(fixes) - earlier.keys()
    forms: dict[int, Floats] = {}
    following, form = count - 1, np.zeros((block, block))
    for fix in sorted(wanted | earlier.keys(), reverse=True) if wanted else []:
        if fix in earlier:
            following, form = fix, earlier[fix]
            continue
        if fix < following:
            _, form = stretch(solution, fix, following, form)
        following = fix
        forms[fix] = form
    return forms


def stretch(solution: Solution, first: int, last: int, form: Floats) -> tuple[Floats, Floats]:
    """Follow a solution of L x = h, h being zero after a fix, from there to a later one.

    Parameters
    ----------
    solution
        From `trackkit.motion.smoother.solve`.
    first, last
        The two fixes.
    form
        What the square of x adds up to beyond the later fix, as a quadratic form in x there, shape
        (block, block).

    Returns
    -------
    onward, form
        Shape (block, block): what x at the first fix makes of x at the last, and the form of what
        the square adds up to beyond the first.
    """
    onward = np.eye(len(form))
    for begin, end in reversed([*solution.factor.cuts(first, last)]):
        beyond = _response(solution, begin, end, len(form))[len(form) :]
        there = beyond[-len(form) :]
        passed_on = np.einsum("ia,ij,jb->ab", there, form, there)
        form = np.einsum("ia,ib->ab", beyond, beyond) + passed_on
        onward = onward @ there
    return onward, form


def sum_covariance(solution: Solution, index: Indices, weight: Floats) -> Floats:
    """Covariance of several sums over a drive, each taken on either axis.

    What `sum_variance` does for one sum, for all of them in one pass: between two fixes that some
    sum is about, all solutions of L x = h go on from what they were, so that each stretch is
    solved once, for the unit vectors.

    Parameters
    ----------
    solution
        From `trackkit.motion.smoother.solve`.
    index
        Fixes each sum is about, shape (k, m).
    weight
        Of the unknowns of those fixes on one axis, shape (k, m, states).

    Returns
    -------
    Floats
        Shape (k, 2, k, 2): sum and axis, sum and axis.
    """
    count, states = len(index), solution.levels.states
    axes = 2 if solution.coupled else 1
    block = states * axes
    gram = np.zeros((axes * count, axes * count))
    reached = np.zeros((block, axes * count))
    before = None
    for fix in np.unique(index).tolist():
        if before is not None:
            for begin, end in solution.factor.cuts(before, fix):
                beyond = _response(solution, begin, end, block)[block:]
                # What is reached at the later fix counts there, with what begins there.
                inside = beyond if end < fix else beyond[:-block]
                gram += reached.T @ (inside.T @ inside) @ reached
                reached = beyond[-block:] @ reached
        right = np.zeros((block, axes * count), order="F")
        for number, place in np.argwhere(index == fix).tolist():
            for axis in range(axes):
                rows = slice(axis * states, (axis + 1) * states)
                right[rows, axes * number + axis] += weight[number, place]
        reached = reached + _forward(solution, fix, fix, right)
        gram += reached.T @ reached
        before = fix
    if before is not None:
        gram += reached.T @ remainders_after(solution, [before])[before] @ reached
    if solution.coupled:
        return gram.reshape(count, 2, count, 2)
    return np.asarray(np.einsum("ij,ab->iajb", gram, np.eye(2)))


def diagonal_block(solution: Solution, fix: int, block: int) -> Floats:
    """Take the factor's own block of one fix, lower triangular, shape (block, block)."""
    return diagonal(solution.factor.columns(fix, fix), 0, block)


def _response(solution: Solution, first: int, last: int, block: int) -> Floats:
    """Solve L x = h for h that makes the first block of x each unit vector, and is zero after."""
    columns = solution.factor.columns(first, last)
    right = np.zeros((columns.shape[1], block), order="F")
    right[:block] = diagonal(columns, 0, block)
    return solved_below(columns, right)


def _forward(solution: Solution, first: int, last: int, right: Floats) -> Floats:
    """Solve L x = right over the fixes from first to last."""
    return solved_below(solution.factor.columns(first, last), right)
