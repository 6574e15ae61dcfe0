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
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.banded import diagonals, followed_backward, responses, squares_beyond

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_TOGETHER, _GROUPS_AT_ONCE = 4, 16
"""So many links, a power of two, are solved at once for many right-hand sides."""
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

    def __getstate__(self) -> dict[str, Any]:
        """Leave out what is worked out again when it is asked for."""
        return {"rows": self.rows, "states": self.states}

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

    def squared_beside(self, seen: Floats, basis: csr_array) -> Floats:
        """Work out R' J^-1 R of right-hand sides that are as sparse as what links see of a basis.

        Parameters
        ----------
        seen
            What each link's unknowns are seen by, shape (links, states).
        basis
            Shape (links, k): R of a link's unknowns is the outer product of the two.

        Returns
        -------
        Floats
            Shape (k, k).
        """
        inverse, onward, _ = self._groups
        size, columns = inverse.shape[1], int(basis.shape[1])
        before, total = np.zeros((self.states, columns)), np.zeros((columns, columns))
        every = basis.toarray()
        # So many groups at once stay in a processor's cache.
        for begin in range(0, len(inverse), _GROUPS_AT_ONCE):
            part = inverse[begin : begin + _GROUPS_AT_ONCE]
            links = slice(begin * _TOGETHER, (begin + len(part)) * _TOGETHER)
            right = np.zeros((len(part) * _TOGETHER, self.states, columns))
            rows = every[links, None]
            np.multiply(seen[links, :, None], rows, out=right[: len(rows)])
            value = part @ right.reshape(len(part), size, columns)
            for solved, passed_on in zip(value, onward[begin : begin + len(part)], strict=True):
                solved -= passed_on @ before
                before = solved[-self.states :]
            flat = value.reshape(-1, columns)
            total += flat.T @ flat
        return total

    @cached_property
    def _inverse(self) -> Floats:
        """Inverse of the factor's own block of each link, lower triangular."""
        own, _ = self._blocks
        inverse = np.zeros_like(own)
        for row in range(self.states):
            inverse[:, row, row] = 1.0 / own[:, row, row]
            for column in range(row):
                inside = slice(column, row)
                total = np.einsum("ni,ni->n", own[:, row, inside], inverse[:, inside, column])
                inverse[:, row, column] = -inverse[:, row, row] * total
        return inverse

    @cached_property
    def _groups(self) -> tuple[Floats, Floats, Floats]:
        """Inverse of the factor's block of every few links, and what comes from those beside."""
        _, below = self._blocks
        states, links = self.states, self.links
        groups = -(-links // _TOGETHER)
        # Links that fill the last group up are nothing.
        inverse = np.zeros((groups * _TOGETHER, states, states))
        inverse[:links], inverse[links:] = self._inverse, np.eye(states)
        tie = np.zeros_like(inverse)
        tie[1:links] = below
        size = states
        while size < _TOGETHER * states:
            first, second = inverse[::2], inverse[1::2]
            inverse = np.zeros((len(first), 2 * size, 2 * size))
            inverse[:, :size, :size], inverse[:, size:, size:] = first, second
            inverse[:, size:, :size] = -(second[:, :, :states] @ tie[1::2]) @ first[:, -states:]
            tie = tie[::2]
            size *= 2
        onward = inverse[:, :, :states] @ tie
        back = np.zeros_like(onward)
        back[:-1] = (tie[1:] @ inverse[:-1, -states:]).transpose(0, 2, 1)
        return inverse, onward, back

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of each link's unknowns, shape (links, states, states)."""
        transposed = self._inverse.transpose(0, 2, 1)
        kept = np.zeros_like(self._inverse)
        kept[:-1] = self._kept
        return followed_backward(kept, transposed @ self._inverse)

    @cached_property
    def _kept(self) -> Floats:
        """How unknowns of each link follow from those of the next, shape (links - 1, ...)."""
        _, below = self._blocks
        return -self._inverse[:-1].transpose(0, 2, 1) @ below.transpose(0, 2, 1)

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

    def kept(self, link: Indices) -> tuple[Floats, Floats]:
        """Covariance of chosen links, and how their unknowns follow from those of the next.

        Parameters
        ----------
        link
            The links, rising, shape (m,).

        Returns
        -------
        covariance, onward
            Shape (m, states, states) and (m - 1, states, states): times the covariance of the later
            of two links, the second is what the two share.
        """
        states = self.states
        onward, form = responses(self.rows, np.append(link, self.links - 1), states)
        form = squares_beyond(onward, form)
        own = diagonals(self.rows, link, states)
        turned = np.linalg.inv(own).transpose(0, 2, 1)
        passed_on = (own[1:] @ onward[:-1]).transpose(0, 2, 1)
        return turned @ form @ turned.transpose(0, 2, 1), turned[:-1] @ passed_on

    def every(self) -> tuple[Floats, Floats]:
        """Tell of all links what `kept` tells of chosen ones."""
        return self.covariance, self._kept

    def _below(self, link: int) -> Floats:
        """Take the factor's block that ties a link to the next one, shape (states, states)."""
        row, column = np.indices((self.states, self.states))
        return np.asarray(self.rows[self.states + row - column, link * self.states + column])

    @cached_property
    def _blocks(self) -> tuple[Floats, Floats]:
        """The factor's own blocks, and those that tie each link to the next one."""
        states, links = self.states, self.links
        row, column = np.indices((states, states))
        start = np.arange(links)[:, None, None] * states
        own = np.where(row >= column, self.rows[np.maximum(row - column, 0), start + column], 0.0)
        below = self.rows[states + row - column, start[:-1] + column]
        return own, np.asarray(below)

    def forward_steps(self, right: Floats) -> tuple[Floats, Floats]:
        """Tell what solving L y = right makes of y of the link before, and of right, at each link.

        Parameters
        ----------
        right
            Shape (links, states, k).

        Returns
        -------
        onward, fresh
            Shape (links, states, states) and (links, states, k).
        """
        onward = np.zeros_like(self._inverse)
        onward[1:] = -self._inverse[1:] @ self._blocks[1]
        return onward, self._inverse @ right
