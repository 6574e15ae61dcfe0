"""How well the motion is known at every place of a stretch of a drive, all places at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.banded import solved_below
from trackkit.motion.fix_covariance import MOTION, motion_between
from trackkit.motion.quintic import motion_weights
from trackkit.motion.smoother import Solution


@dataclass(frozen=True, eq=False)
class StretchCovariance:
    """Covariance of a drive's unknowns at the fixes of a stretch, each with itself and the next.

    The unknowns of one fix meet only those of the next, so that the blocks of the inverse of the
    information matrix follow from its factor L by a recursion from the last fix to the first, and
    what two fixes far apart share by one from either to the other (Takahashi's selected inversion,
    which for this matrix is the Rauch-Tung-Striebel smoother's; from memory).

    Parameters
    ----------
    solution
        From `trackkit.motion.smoother.solve`.
    time_s
        Of the fixes of the stretch, shape (m,).
    first
        The first of them.
    pivot
        The factor's own block of each, shape (m, block, block).
    gain
        What the covariance of the next fix with anything beyond it makes of that of each fix,
        shape (m - 1, block, block).
    own
        Covariance of the unknowns of each, shape (m, block, block); a block is the unknowns on one
        axis, or on both where only the speed is known.
    """

    solution: Solution
    time_s: Floats
    first: int
    pivot: Floats
    gain: Floats
    own: Floats

    @classmethod
    def of(
        cls, solution: Solution, time_s: Floats, first: int, last: int, beyond: Floats
    ) -> StretchCovariance:
        """Work out the covariances of the fixes from `first` to `last`.

        Parameters
        ----------
        solution
            From `trackkit.motion.smoother.solve`.
        time_s
            Of all of its fixes, seconds, shape (n,).
        first, last
            The ends of the stretch.
        beyond
            Of the last fix, from `trackkit.motion.variance.remainders_after`.
        """
        block = solution.factor.block
        pivot = np.empty((last + 1 - first, block, block))
        below = np.empty((last - first, block, block))
        for begin, end in solution.factor.cuts(first, last):
            place = slice(begin - first, end + 1 - first)
            pivot[place], inner = _blocks(solution.factor.columns(begin, end), block)
            below[begin - first : end - first] = inner
        inverse = np.linalg.inv(pivot)
        turned = inverse.transpose(0, 2, 1)
        alone = turned @ inverse
        alone[-1] = turned[-1] @ (np.eye(block) + beyond) @ inverse[-1]
        gain = -turned[:-1] @ below.transpose(0, 2, 1)
        onward = np.concatenate([gain, np.zeros((1, block, block))])
        own = _handed_back(onward, alone)
        return cls(solution, time_s[first : last + 1], first, pivot, gain, own)

    def motion(self, index: Indices, share: Floats) -> Floats:
        """Covariances of the motion at places, each by itself.

        Parameters
        ----------
        index, share
            Fixes before the places, within the stretch, and shares of the time to the next fix,
            shape (k,).

        Returns
        -------
        ndarray
            Of position, velocity and acceleration east, then north, shape (k, 6, 6).
        """
        place = index - self.first
        span = self.time_s[place + 1] - self.time_s[place]
        own, follows = self.own[place], self.own[place + 1]
        shared = self.gain[place] @ follows
        return motion_between(self.solution.levels, share, span, own, follows, shared)

    def covariance(
        self,
        origin: tuple[int, float, Floats],
        index: Indices,
        share: Floats,
        weight: Floats,
    ) -> Floats:
        """Covariance of weighted sums of the motion with one at a place before them, or close by.

        What white jerk does between two fixes is counted as apart, also where the two places lie
        between the same fixes: of an interval of 0.1 s that is a tenth of a millimetre.

        Parameters
        ----------
        origin
            Fix before that place, share, and weights, shape (3, 2).
        index, share, weight
            As for `motion`, and weights of position, velocity and acceleration there, east and
            north, shape (k, 3, 2).

        Returns
        -------
        ndarray
            Shape (k,).
        """
        at = origin[0] - self.first
        load, load_after = self._loads(
            np.array([at]), np.array([origin[1]]), np.asarray(origin[2])[None]
        )
        with_origin = self._with_origin(at, load[0], load_after[0])
        place = index - self.first
        before, after = self._loads(place, share, weight)
        return np.asarray(
            np.einsum("kia,kia->k", before, with_origin[place])
            + np.einsum("kia,kia->k", after, with_origin[place + 1])
        )

    def _with_origin(self, at: int, load: Floats, load_after: Floats) -> Floats:
        """Covariance of all unknowns with a sum over those of a fix and the next, (m, block, a)."""
        count, block, _ = self.own.shape
        pulled = np.zeros((count, block, load.shape[1]))
        pulled[at + 1] = self.gain[at].T @ load + load_after
        factor = self.solution.factor
        for begin, end in factor.cuts(self.first + at + 1, self.first + count - 1):
            inside = slice(begin - self.first, end + 1 - self.first)
            right = np.zeros(((end + 1 - begin) * block, load.shape[1]), order="F")
            right[:block] = pulled[begin - self.first]
            solved = solved_below(factor.columns(begin, end), right)
            pulled[inside] = self.pivot[inside] @ solved.reshape(-1, block, load.shape[1])
        shared = self.own @ pulled
        shared[at] = self.own[at] @ load + self.gain[at] @ self.own[at + 1] @ load_after
        for place in range(at - 1, -1, -1):
            shared[place] = self.gain[place] @ shared[place + 1]
        return shared

    def _loads(self, place: Indices, share: Floats, weight: Floats) -> tuple[Floats, Floats]:
        """Turn weights of the motion between fixes into weights of the unknowns of both fixes.

        Shape (k, block, columns) each: a column is an axis, or both where they are coupled.
        """
        basis = motion_weights(share, self.time_s[place + 1] - self.time_s[place])
        at_fixes = np.einsum("kcs,kca->ksa", basis, weight).reshape(len(place), 2, MOTION, 2)
        states = self.solution.levels.states
        full = np.zeros((len(place), 2, states, 2))
        full[:, :, :MOTION] = at_fixes
        if self.solution.coupled:
            full = full.transpose(0, 1, 3, 2).reshape(len(place), 2, 2 * states, 1)
        return full[:, 0], full[:, 1]


def _blocks(columns: Floats, block: int) -> tuple[Floats, Floats]:
    """Take a factor's blocks out of LAPACK's lower banded form: on the diagonal, and below it."""
    count = columns.shape[1] // block
    banded = columns.reshape(columns.shape[0], count, block)
    own, below = np.zeros((count, block, block)), np.zeros((count, block, block))
    for row in range(block):
        for column in range(block):
            if column <= row:
                own[:, row, column] = banded[row - column, :, column]
            below[:, row, column] = banded[block + row - column, :, column]
    return own, below[:-1]


def _handed_back(gain: Floats, alone: Floats) -> Floats:
    """Solve S[i] = alone[i] + gain[i] S[i + 1] gain[i]' for all i, the last gain being zero.

    Pairs of neighbours are put together into one step, pairs of those and so on, so that few
    products of long arrays are enough (the parallel prefix of Blelloch, 1990; from memory).
    """
    if len(gain) == 1:
        return alone
    paired = len(gain) // 2 * 2
    first, second = gain[:paired:2], gain[1:paired:2]
    both = first @ second
    together = alone[:paired:2] + first @ alone[1:paired:2] @ first.transpose(0, 2, 1)
    if paired < len(gain):
        both = np.concatenate([both, gain[-1:]])
        together = np.concatenate([together, alone[-1:]])
    solved = np.empty_like(alone)
    solved[::2] = _handed_back(both, together)
    # The one after the last is nothing, for the last gain is zero.
    following = solved[2::2] if paired < len(gain) else np.concatenate([solved[2::2], alone[:1]])
    odd = gain[1::2]
    solved[1::2] = alone[1::2] + odd @ following @ odd.transpose(0, 2, 1)
    return solved
