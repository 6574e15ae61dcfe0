"""How well a smoothed drive is known at some of its fixes, kept when the drive itself is not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.banded import diagonals, responses, squares_beyond
from trackkit.motion.chained_sums import chained_sums, steps_between
from trackkit.motion.error_covariance import ErrorCovariance
from trackkit.motion.information import ACCELERATION
from trackkit.motion.line_error import ErrorBesideLine
from trackkit.motion.noise import Levels
from trackkit.motion.quintic import jerk_covariance, jerk_variance, motion_weights, quintic
from trackkit.motion.smoother import Solution
from trackkit.motion.strides import Strides
from trackkit.motion.variance import diagonal_block, stretch
from trackkit.progress import tell

MOTION = ACCELERATION + 1
"""Position, velocity and acceleration come first among the unknowns of a fix."""
_TOLD_EVERY = 500
"""Of so many fixes that are kept, one tells how far the work has come."""


@dataclass(frozen=True, eq=False)
class FixCovariance:
    """Covariance of a drive's unknowns at some of its fixes.

    With L the factor of the information matrix, the variance of a sum h is the square of L^-1 h.
    From one kept fix to the next that solution goes on linearly, and so does its square, so that
    a matrix or two a fix are enough to square any sum that is about kept fixes alone; see
    `trackkit.motion.variance`.

    Parameters
    ----------
    fix
        The fixes kept, ascending, shape (m,).
    span_s
        Time from each to the fix after it, seconds, shape (m,); 0 after the last fix.
    pivot
        The factor's own block of each, shape (m, block, block); a block is the unknowns of one
        fix on one axis, or on both where only the speed is known.
    onward
        What the solution's block at a kept fix makes of that at the next, shape
        (m, block, block).
    form
        What its square adds up to from a kept fix on, as a quadratic form in its block there,
        shape (m, block, block).
    levels
        The noise levels of the drive.
    time_s
        Of the fixes kept, seconds, shape (m,).
    error
        Of what the drive is off, where its laps have told of it.
    """

    fix: Indices
    span_s: Floats
    pivot: Floats
    onward: Floats
    form: Floats
    levels: Levels
    time_s: Floats
    error: ErrorCovariance | None = None

    @classmethod
    def of(
        cls,
        solution: Solution,
        time_s: Floats,
        fixes: Iterable[int],
        line: ErrorBesideLine | None = None,
    ) -> FixCovariance:
        """Take the covariance of some fixes out of a solution.

        Parameters
        ----------
        solution
            From `trackkit.motion.smoother.solve`.
        time_s
            Of its fixes, seconds, shape (n,).
        fixes
            Their indices.
        line
            What laps have told of the drive's error, or None.
        """
        count, states, _ = solution.state.shape
        block = 2 * states if solution.coupled else states
        kept = np.unique(np.fromiter(fixes, dtype=np.intp))
        if len(solution.factor.pieces) == 1:
            columns = solution.factor.columns(0, count - 1)
            onward, own = responses(columns, np.append(kept, count - 1), block)
            pivot = diagonals(columns, kept, block)
            form = squares_beyond(onward, own)
        else:
            pivot, onward, form = _piece_by_piece(solution, kept, count, block)
        after = np.minimum(kept + 1, count - 1)
        span = time_s[after] - time_s[kept]
        error = None if line is None else line.error_covariance(time_s[np.union1d(kept, after)])
        return cls(kept, span, pivot, onward, form, solution.levels, time_s[kept], error)

    def keeps(self, fixes: Indices) -> bool:
        """Whether all of some fixes are kept."""
        if len(fixes) == 0 or len(self.fix) == 0:
            return len(fixes) == 0
        place = np.minimum(np.searchsorted(self.fix, fixes), len(self.fix) - 1)
        return bool(np.all(self.fix[place] == fixes))

    def variance(self, index: Indices, share: Floats, slope: Floats) -> float:
        """Variance of a weighted sum of positions between fixes, as `Drive.variance` tells it.

        Parameters
        ----------
        index
            The fixes before those positions, shape (k,); they and the fixes after them are kept.
        share
            Of the time to the next fix, 0 to 1, shape (k,).
        slope
            Weight of each position, east and north, shape (k, 2).

        Returns
        -------
        float
            In the square of whatever the weights make of metres.

        Raises
        ------
        KeyError
            When a fix was not kept.
        """
        return float(self.variances(index[None], share[None], slope[None])[0])

    def variances(self, index: Indices, share: Floats, slope: Floats) -> Floats:
        """Variances of several weighted sums of as many positions each.

        Parameters
        ----------
        index, share
            As for `variance`, shape (j, k).
        slope
            Shape (j, k, 2).

        Returns
        -------
        Floats
            Shape (j,).

        Raises
        ------
        KeyError
            When a fix was not kept.
        """
        sums, terms = index.shape
        flat_slope = slope.reshape(-1, 2)
        place, span = self._places(index.ravel())
        weight = state_weights(self.levels, span, share.ravel(), flat_slope)
        bridge = bridged_variances(self.levels, span, share.ravel(), flat_slope)
        block = self.pivot.shape[1]
        columns = 1 if block > self.levels.states else 2
        begun = np.linalg.solve(self.pivot[place], _as_blocks(weight, block, columns))
        # Fixes before and after each position, in order of time.
        order = np.argsort(place.reshape(2, sums, terms).transpose(1, 0, 2).reshape(sums, -1))
        row = (order // terms * sums + np.arange(sums)[:, None]) * terms + order % terms
        total = bridge.reshape(sums, terms).sum(axis=1)
        carried, before = np.zeros((sums, block, columns)), place[row[:, 0]]
        for number in row.T:
            at, own = place[number], begun[number]
            carried = self._strides.followed(carried, before, at)
            total += np.sum((2.0 * carried + own) * (self.form[at] @ own), axis=(1, 2))
            carried, before = carried + own, at
        if self.error is None:
            return np.asarray(total)
        when = self._between_s(index.ravel(), share.ravel(), span).reshape(sums, terms)
        return self.error.variances_left(total, when, slope)

    def covariances(self, index: Indices, share: Floats, slope: Floats) -> tuple[Floats, ...]:
        """Covariance of weighted positions between fixes, each with each other, in parts.

        Parameters
        ----------
        index
            The fixes before those positions, shape (k,); they and the fixes after them are kept.
        share
            Of the time to the next fix, 0 to 1, shape (k,).
        slope
            Weight of each position, east and north, shape (k, 2).

        Returns
        -------
        tuple of Floats
            Shape (k, k) each: of the fast errors and of the slow ones where laps have told of the
            slow ones, else of both as a whole.  The parts of a sum's variance, none of which is
            less than nothing, add up to `variance`.

        Raises
        ------
        KeyError
            When a fix was not kept.
        """
        count = len(index)
        place, span = self._places(index)
        block = self.pivot.shape[1]
        columns = 1 if block > self.levels.states else 2
        weight = state_weights(self.levels, span, share, slope)
        load = _as_blocks(weight, block, columns)
        begun = np.asarray(np.linalg.solve(self.pivot[place], load), dtype=float)
        bridge = bridged_variances(self.levels, span, share, slope)
        by_place = np.argsort(place, kind="stable")
        at = place[by_place]
        # Of each load by column: the square it makes, and what goes on from it.
        own = begun[by_place]
        squared = self.form[at] @ own
        total = chained_sums(
            by_place % count,
            count,
            squared.transpose(0, 2, 1),
            own.transpose(0, 2, 1),
            steps_between(at, self._strides),
        )
        total[np.diag_indices(count)] += bridge
        if self.error is None:
            return (total,)
        return self.error.covariances_left(total, self._between_s(index, share, span), slope)

    def motion(self, index: Indices, share: Floats) -> Floats:
        """Covariances of the motion between fixes, each place by itself.

        The blocks of the inverse of the information matrix follow from its factor, as in
        `trackkit.motion.stretch_covariance`; all places are worked out at once.

        Parameters
        ----------
        index, share
            As for `covariances`.

        Returns
        -------
        Floats
            Of position, velocity and acceleration east, then north, shape (k, 6, 6), of the drive
            as it was smoothed alone.

        Raises
        ------
        KeyError
            When a fix was not kept.
        """
        place, span = self._places(index)
        before, after = place[: len(index)], place[len(index) :]
        inverse = np.linalg.inv(self.pivot)
        turned = inverse.transpose(0, 2, 1)
        follows = turned[after] @ self.form[after] @ inverse[after]
        gain = turned[before] @ (self.pivot[after] @ self.onward[before]).transpose(0, 2, 1)
        shared = gain @ follows
        own = turned[before] @ inverse[before] + shared @ gain.transpose(0, 2, 1)
        return motion_between(self.levels, share, span, own, follows, shared)

    def _places(self, index: Indices) -> tuple[Indices, Floats]:
        """Where fixes and then those after each are kept, and the time between the two, seconds."""
        fixes = np.concatenate([index, index + 1])
        if not self.keeps(fixes):
            raise KeyError("positions beside fixes that were not kept")
        place = np.searchsorted(self.fix, fixes)
        return place, self.span_s[place[: len(index)]]

    def _between_s(self, index: Indices, share: Floats, span_s: Floats) -> Floats:
        return np.asarray(self.time_s[np.searchsorted(self.fix, index)] + share * span_s)

    @cached_property
    def _strides(self) -> Strides:
        return Strides(self.onward)


def _piece_by_piece(
    solution: Solution, kept: Indices, count: int, block: int
) -> tuple[Floats, Floats, Floats]:
    """Work out `pivot`, `onward` and `form` of a drive whose factor is not kept as a whole."""
    pivot, onward, form = (np.zeros((len(kept), block, block)) for _ in range(3))
    # Beyond the last fix nothing is added to the square.
    following, beyond = count - 1, np.zeros((block, block))
    for place in range(len(kept) - 1, -1, -1):
        fix = int(kept[place])
        if fix < following:
            onward[place], beyond = stretch(solution, fix, following, beyond)
        pivot[place] = diagonal_block(solution, fix, block)
        form[place] = np.eye(block) + beyond
        following = fix
        if place % _TOLD_EVERY == 0:
            tell("working out uncertainties", len(kept) - place, len(kept))
    return pivot, onward, form


def state_weights(levels: Levels, span_s: Floats, share: Floats, slope: Floats) -> Floats:
    """Turn weights of positions between fixes into weights of the unknowns of those fixes.

    Parameters
    ----------
    levels
        Of the drive.
    span_s, share
        Time to the next fix, seconds, and the share of it that has gone by, shape (k,).
    slope
        Weight of each position, east and north, shape (k, 2).

    Returns
    -------
    Floats
        Shape (2 k, states, 2): of the fixes before, then of the fixes after.
    """
    basis, _ = quintic(share, span_s)
    weight = np.zeros((2 * len(share), levels.states, 2))
    weight[:, :3] = np.concatenate([basis[:, :3], basis[:, 3:]])[:, :, None]
    weight *= np.concatenate([slope, slope])[:, None, :]
    return weight


def motion_between(
    levels: Levels, share: Floats, span_s: Floats, own: Floats, follows: Floats, shared: Floats
) -> Floats:
    """Covariances of the motion between two fixes, from those of their unknowns.

    Parameters
    ----------
    levels
        Of the drive.
    share, span_s
        Of the time to the next fix, 0 to 1, and that time, seconds, shape (k,).
    own, follows, shared
        Covariance of the unknowns of the fix before, of the fix after, and of the first with the
        second, shape (k, block, block); a block is the unknowns on one axis, or on both.

    Returns
    -------
    Floats
        Of position, velocity and acceleration east, then north, shape (k, 6, 6).
    """
    states = levels.states
    axes = own.shape[-1] // states
    kept = [axis * states + n for axis in range(axes) for n in range(MOTION)]
    own, follows, shared = (part[:, kept][:, :, kept] for part in (own, follows, shared))
    basis = motion_weights(share, span_s)
    before, after = (np.zeros((len(share), 3 * axes, 3 * axes)) for _ in range(2))
    for axis in range(axes):
        part = slice(3 * axis, 3 * axis + 3)
        before[:, part, part], after[:, part, part] = basis[:, :, :3], basis[:, :, 3:]
    mixed = before @ shared @ after.transpose(0, 2, 1)
    covariance = before @ own @ before.transpose(0, 2, 1)
    covariance += after @ follows @ after.transpose(0, 2, 1)
    covariance += mixed + mixed.transpose(0, 2, 1)
    whole = np.zeros((len(share), 6, 6))
    bridge = jerk_covariance(levels.jerk, share, span_s)
    for part in (slice(0, 3), slice(3, 6)):
        whole[:, part, part] = bridge if axes == 2 else bridge + covariance
    return whole + covariance if axes == 2 else whole


def bridged_variances(levels: Levels, span_s: Floats, share: Floats, slope: Floats) -> Floats:
    """Variances of weighted positions by what the jerk may have done between fixes, shape (k,).

    Parameters
    ----------
    levels, span_s, share, slope
        As for `state_weights`.
    """
    return np.asarray(jerk_variance(levels.jerk, share, span_s) * (slope**2).sum(axis=1))


def _as_blocks(weight: Floats, block: int, columns: int) -> Floats:
    """Lay weights out as the factor has the unknowns: axis by axis where both are coupled."""
    if columns == 2:
        return weight
    return weight.transpose(0, 2, 1).reshape(len(weight), block, 1)
