"""Unknowns that follow one another in time, each tied to the one before it alone.

The information matrix of such a chain is block-tridiagonal, and its Cholesky factor is kept in
LAPACK's lower banded form.  With L the factor, the variance of a sum h is the square of L^-1 h,
which is zero before the first link that h is about; beyond the last one it adds up to what the
covariance of that link makes of it (Rue & Held, Gaussian Markov Random Fields, 2005, chapter 2;
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from trackkit.arrays import Floats, Indices

_TOGETHER = 4
"""So many links are solved at once for many right-hand sides."""
_FEW = 8


@dataclass(frozen=True, eq=False)
class Chain:
    """The factor of a chain's information matrix.

    Parameters
    ----------
    rows
        Lower banded Cholesky factor, shape (2 states, links x states).
    states
        How many unknowns a link has.
    """

    rows: Floats
    states: int

    @classmethod
    def of(cls, matrix: Floats, states: int) -> Chain:
        """Factor an information matrix.

        Parameters
        ----------
        matrix
            Its lower triangle in LAPACK's banded form, shape (2 states, links x states).
        states
            How many unknowns a link has.

        Raises
        ------
        scipy.linalg.LinAlgError
            When it is not positive definite.
        """
        from scipy.linalg import cholesky_banded

        return cls(cholesky_banded(matrix, lower=True, check_finite=False), states)

    @property
    def links(self) -> int:
        """How many links it has."""
        return int(self.rows.shape[1]) // self.states

    @property
    def log_determinant(self) -> float:
        """Half the logarithm of the determinant of the information matrix."""
        return float(np.log(self.rows[0]).sum())

    def solved(self, right: Floats) -> Floats:
        """Solve the information matrix for right-hand sides, shape (links x states, k)."""
        if right.shape[1] < _FEW:
            from scipy.linalg import cho_solve_banded

            return np.asarray(cho_solve_banded((self.rows, True), right, check_finite=False))
        value = self._forward(right)
        inverse, _, back = self._groups
        value = inverse.transpose(0, 2, 1) @ value
        for group in range(len(back) - 2, -1, -1):
            value[group] -= back[group] @ value[group + 1, : self.states]
        return value.reshape(-1, right.shape[1])[: len(right)]

    def squared(self, right: Floats) -> Floats:
        """Work out R' J^-1 R, shape (k, k), of right-hand sides R, shape (links x states, k)."""
        value = self._forward(right).reshape(-1, right.shape[1])
        return np.asarray(value.T @ value)

    def _forward(self, right: Floats) -> Floats:
        """Solve L y = right, in groups of links.

        LAPACK takes the columns one by one, a few numbers at a time: all columns of some links at
        once are much faster.
        """
        inverse, onward, _ = self._groups
        groups, size, _ = inverse.shape
        columns = right.shape[1]
        if len(right) < groups * size:
            filled = np.zeros((groups * size, columns))
            filled[: len(right)] = right
            right = filled
        value = inverse @ right.reshape(groups, size, columns)
        for group in range(1, groups):
            value[group] -= onward[group] @ value[group - 1, -self.states :]
        return np.asarray(value)

    @cached_property
    def _groups(self) -> tuple[Floats, Floats, Floats]:
        """Inverse of the factor's block of every few links, and what comes from those beside."""
        own, below = self.blocks()
        states, links = self.states, self.links
        groups = -(-links // _TOGETHER)
        size = _TOGETHER * states
        block = np.zeros((groups, _TOGETHER, states, _TOGETHER, states))
        link = np.arange(links)
        group, place = link // _TOGETHER, link % _TOGETHER
        block[group, place, :, place, :] = own
        # Links that fill the last group up are nothing.
        filling = np.arange(links, groups * _TOGETHER)
        block[filling // _TOGETHER, filling % _TOGETHER, :, filling % _TOGETHER, :] = np.eye(states)
        inside = np.flatnonzero(place[1:] > 0)
        block[group[inside + 1], place[inside + 1], :, place[inside], :] = below[inside]
        inverse = np.linalg.inv(block.reshape(groups, size, size))
        onward, back = np.zeros((2, groups, size, states))
        tie = below[np.flatnonzero(place[1:] == 0)]
        onward[1:] = inverse[1:, :, :states] @ tie
        back[:-1] = (tie @ inverse[:-1, -states:]).transpose(0, 2, 1)
        return np.asarray(inverse, dtype=float), onward, back

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of each link's unknowns, shape (links, states, states)."""
        own, below = self.blocks()
        inverse = np.linalg.inv(own)
        transposed = inverse.transpose(0, 2, 1)
        fresh = transposed @ inverse
        kept = np.zeros_like(own)
        kept[:-1] = -transposed[:-1] @ below.transpose(0, 2, 1)
        return followed_backward(kept, fresh)

    def variance(self, index: Indices, weight: Floats) -> float:
        """Variance of a weighted sum of unknowns.

        Parameters
        ----------
        index
            Links the sum is about, shape (k,), in any order and with repetitions.
        weight
            Of their unknowns, shape (k, states).
        """
        from scipy.linalg.lapack import dtbtrs

        first, last = int(index.min()), int(index.max())
        states = self.states
        right = np.zeros((last + 1 - first, states))
        np.add.at(right, index - first, weight)
        final = right[-1].copy()
        inside = 0.0
        if last > first:
            columns = self.rows[:, first * states : last * states]
            solved, _ = dtbtrs(columns, right[:-1].reshape(-1, 1), uplo="L")
            inside = float(np.einsum("ij,ij->", solved, solved))
            below = self._below(last - 1)
            final -= below @ solved[-states:, 0]
        return inside + float(final @ self.covariance[last] @ final)

    def onward(self, link: Indices) -> Floats:
        """How unknowns of chosen links follow from those of the next one chosen.

        Parameters
        ----------
        link
            The links, rising, shape (m,).

        Returns
        -------
        Floats
            Shape (m - 1, states, states): times the covariance of the later of two links, it is
            what the two links share.
        """
        own, below = self.blocks()
        kept = -np.linalg.solve(own[:-1].transpose(0, 2, 1), below.transpose(0, 2, 1))
        steps = np.asarray(kept[link[:-1]], dtype=float)
        for place, (begin, end) in enumerate(pairwise(link.tolist())):
            if end == begin + 1:
                continue
            product: Floats = np.eye(self.states)
            for step in kept[begin:end]:
                product = product @ step
            steps[place] = product
        return steps

    def _below(self, link: int) -> Floats:
        """Take the factor's block that ties a link to the next one, shape (states, states)."""
        row, column = np.indices((self.states, self.states))
        return np.asarray(self.rows[self.states + row - column, link * self.states + column])

    def blocks(self) -> tuple[Floats, Floats]:
        """Take the factor's own blocks, and those that tie each link to the next one."""
        states, links = self.states, self.links
        row, column = np.indices((states, states))
        start = np.arange(links)[:, None, None] * states
        own = np.where(row >= column, self.rows[np.maximum(row - column, 0), start + column], 0.0)
        below = self.rows[states + row - column, start[:-1] + column]
        return own, np.asarray(below)


def followed_backward(kept: Floats, fresh: Floats) -> Floats:
    """Follow covariances from the last link to the first: P = K P' K' + F, with P' of the next.

    Two neighbouring steps make one of the same kind, so that half as many are followed first, and
    so on (a parallel scan; Blelloch 1990, from memory).
    """
    count = len(kept)
    if count == 1:
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
