"""Cholesky factors of block-tridiagonal matrices, in LAPACK's lower banded form."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats, Indices


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

    Where what ties a chosen link to the one after it is cut out of the factor, and taken for h
    there, all stretches are solved at once.

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
    onward = np.repeat(np.eye(block)[None], len(places) - 1, axis=0)
    form = np.zeros_like(onward)
    stretches = np.flatnonzero(np.diff(places) > 0)
    if not len(stretches):
        return onward, form
    begin, end = int(places[0]), int(places[-1])
    first, last = places[stretches] - begin, places[stretches + 1] - begin
    inside = np.array(columns[:, begin * block : (end + 1) * block], order="F")
    tie = blocks_below(inside, first, block)
    row, column = np.indices((block, block))
    tied = block + row - column < len(inside)
    inside[(block + row - column)[tied], first[:, None] * block + column[tied]] = 0.0
    right = np.zeros(((end + 1 - begin) * block, block), order="F")
    after = (first[:, None] + 1) * block + np.arange(block)
    right[after] = -tie
    solved = solved_below(inside, right)
    onward[stretches] = solved[last[:, None] * block + np.arange(block)]
    for place, low, high in zip(stretches.tolist(), first.tolist(), last.tolist(), strict=True):
        part = solved[(low + 1) * block : (high + 1) * block]
        form[place] = part.T @ part
    return onward, form


def squares_beyond(onward: Floats, form: Floats) -> Floats:
    """Add up squares from each link to the end, from those up to the next.

    Parameters
    ----------
    onward, form
        From `responses`, the last link but one being followed to the end.

    Returns
    -------
    Floats
        Quadratic forms in x at each link, shape (m, block, block), its own square included.
    """
    return np.eye(form.shape[1]) + followed_backward(onward.transpose(0, 2, 1), form)


def followed_backward(kept: Floats, fresh: Floats) -> Floats:
    """Follow covariances from the last link to the first: P = K P' K' + F, with P' of the next.

    Two neighbouring steps make one of the same kind, so that half as many are followed first, and
    so on (a parallel scan; Blelloch 1990, from memory).
    """
    count = len(kept)
    if count < 2:
        return fresh
    even = count // 2 * 2
    first, second = kept[0:even:2], kept[1:even:2]
    paired = fresh[0:even:2] + first @ fresh[1:even:2] @ first.transpose(0, 2, 1)
    both = first @ second
    if even < count:
        both = np.concatenate([both, kept[even:]])
        paired = np.concatenate([paired, fresh[even:]])
    covariance = np.empty_like(fresh)
    covariance[0::2] = followed_backward(both, paired)
    following = np.zeros_like(second)
    later = covariance[2::2]
    following[: len(later)] = later
    covariance[1::2] = second @ following @ second.transpose(0, 2, 1) + fresh[1:even:2]
    return covariance
