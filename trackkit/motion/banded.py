"""Cholesky factors of block-tridiagonal matrices, in LAPACK's lower banded form."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats, Indices

_SIDE_BY_SIDE = 64
"""Stretches of more links than this are followed one by one, by LAPACK."""
_STEPS_A_CALL = 4
"""Following all stretches by one link takes as long as so many calls of LAPACK."""


def diagonal(columns: Floats, place: int, block: int) -> Floats:
    """Take a link's own block out of columns of a factor, lower triangular, (block, block)."""
    return np.asarray(diagonals(columns, np.array([place]), block)[0])


def diagonals(columns: Floats, places: Indices, block: int) -> Floats:
    """Take the own blocks of many links, as `diagonal` does, shape (k, block, block)."""
    row, column = np.indices((block, block))
    start = places[:, None, None] * block
    return np.where(row >= column, columns[np.maximum(row - column, 0), start + column], 0.0)


def blocks_below(columns: Floats, places: Indices, block: int) -> Floats:
    """Take what stands below the own blocks of many links, in the rows of the links after them."""
    row, column = np.indices((block, block))
    down = block + row - column
    start = places[:, None, None] * block
    inside = down < len(columns)
    return np.where(inside, columns[np.where(inside, down, 0), start + column], 0.0)


def solved_below(columns: Floats, right: Floats, *, transposed: bool = False) -> Floats:
    """Solve L x = right, or L' x = right, over the links whose columns these are."""
    from scipy.linalg.lapack import dtbtrs

    trans = "T" if transposed else "N"
    solved, info = dtbtrs(np.asfortranarray(columns), right, uplo="L", trans=trans)
    if info:
        raise ArithmeticError("the information matrix of the drive is singular")
    return np.asarray(solved)


def responses(columns: Floats, places: Indices, block: int) -> tuple[Floats, Floats]:
    """Follow solutions of L x = h from each of some links to the next, h being zero after it.

    Short stretches are followed side by side, where that is faster.

    Parameters
    ----------
    columns
        Of the factor.
    places
        The links, rising, shape (m,).
    block
        How many unknowns a link has.

    Returns
    -------
    onward, form
        Shape (m - 1, block, block): what x at each link makes of x at the next, and what the square
        of x adds up to after the link, up to the next, as a quadratic form in x at the link.
    """
    gap = np.diff(places)
    onward = np.repeat(np.eye(block)[None], len(gap), axis=0)
    form = np.zeros((len(gap), block, block))
    short = gap <= _shortest_way(gap)
    own = diagonals(columns, places, block)
    for place in np.flatnonzero(~short).tolist():
        first, last = int(places[place]), int(places[place + 1])
        right = np.zeros(((last + 1 - first) * block, block), order="F")
        right[:block] = own[place]
        beyond = solved_below(columns[:, first * block : (last + 1) * block], right)[block:]
        onward[place] = beyond[-block:]
        form[place] = np.einsum("ia,ib->ab", beyond, beyond)
    for number in range(int(gap[short].max(initial=0))):
        (going,) = np.nonzero(short & (gap > number))
        at = places[going] + number
        passed = -blocks_below(columns, at, block) @ onward[going]
        there = np.linalg.solve(diagonals(columns, at + 1, block), passed)
        onward[going] = there
        form[going] += there.transpose(0, 2, 1) @ there
    return onward, form


def _shortest_way(gap: Indices) -> int:
    """Tell how long stretches are followed side by side at most, for the least work."""
    limits = np.unique(np.append(gap[gap <= _SIDE_BY_SIDE], 0))
    longer = len(gap) - np.searchsorted(np.sort(gap), limits, side="right")
    return int(limits[np.argmin(_STEPS_A_CALL * limits + longer)])
