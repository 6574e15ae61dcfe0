"""One line for all laps: the line a driver repeats, each lap's deviation, and the drive's error.

All laps of a recording run along one line.  What a smoothed drive lies to the left of the
centreline at a place of it is the line this driver repeats, plus what this lap deviates from it,
plus the drive's own error there, seen sideways.  The error is slow; the deviation is forgotten
after some tens of metres; the repeated line is the same on every lap.  Bends that face different
ways therefore tell the error in both directions, and how it changes from lap to lap.

The error is the receiver's wander where there are positions alone.  Where there are velocities too
it is what their errors add up to, which positions, wander and all, tie to the ground.  Error and
deviation are Gauss-Markov processes along the drive and make a chain (`trackkit.motion.chain`);
the repeated line is a spline whose prior is a Gaussian process about the centreline, and about how
far that may be shifted as a whole.  All of it is linear and Gaussian: the line is eliminated last,
by its Schur complement, and the result is the most probable one and its covariance at once, as
every iteration between laps and line would find it (block elimination of nuisance parameters common
to all arcs; Bierman, Factorization Methods for Discrete Sequential Estimation, 1977; Rasmussen &
Williams, Gaussian Processes for Machine Learning, 2006, section 2.7; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.chain import Chain
from trackkit.motion.line_error import ErrorBesideLine, chain_before, chain_beside_line
from trackkit.motion.line_model import Knots, LineLevels, Sideways
from trackkit.motion.line_shifts import Shifts

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_MODES = 30
"""Of what is uncertain of the line, so many parts are kept, the largest first."""
_INSTANT_S = 0.01
"""Half of the time over which the speed of a shift is taken."""


@dataclass(frozen=True, eq=False)
class Eliminated:
    """A chain with all but the repeated line eliminated.

    Parameters
    ----------
    chain
        Given the line.
    trust
        Inverse variance of each node's offset, shape (n,).
    seen
        What an offset sees of a node's unknowns, shape (n, states).
    basis
        Of the line at the nodes, and of stretches that are shifted, if any.
    information, pull
        What the nodes say of the line and of those, shape (k, k) and (k,).
    squares, density
        What the likelihood of the offsets needs besides.
    """

    side: Sideways
    levels: LineLevels
    knots: Knots
    chain: Chain
    trust: Floats
    seen: Floats
    basis: csr_array
    information: Floats
    pull: Floats
    squares: float
    density: float

    @classmethod
    def of(
        cls,
        side: Sideways,
        levels: LineLevels,
        knots: Knots,
        shifts: Shifts | None = None,
        basis: csr_array | None = None,
    ) -> Eliminated:
        """Eliminate error and deviation from what a drive lies beside a centreline.

        Parameters
        ----------
        side, levels, knots
            The drive, the levels and the spline of the line.
        shifts
            Stretches that are shifted as a whole.
        basis
            That of the knots at the drive's nodes where it has been worked out.
        """
        count, states = len(side.time_s), levels.states
        chain, trust, seen, density = chain_beside_line(side, levels)
        if basis is None:
            basis = knots.basis(side.chainage_m, side.left)
        if shifts is not None:
            basis = _beside(basis, shifts.shares(side.time_s), side.left)
        weighted = basis.multiply(trust[:, None]).tocsr()
        own = np.asarray((weighted.T @ basis).todense())
        information = own - chain.squared_beside(seen, weighted)
        pull = np.zeros(len(information))
        if shifts is not None:
            by_pace, pulled = shifts.told_by_pace()
            information[-len(pulled) :, -len(pulled) :] += by_pace
            pull[-len(pulled) :] = pulled
        alone = chain.solved(((trust * side.offset_m)[:, None] * seen).reshape(-1, 1))
        explained = np.einsum("ij,ij->i", seen, alone.reshape(count, states))
        left_over = trust * (side.offset_m - explained)
        return cls(
            side,
            levels,
            knots,
            chain,
            trust,
            seen,
            basis,
            0.5 * (information + information.T),
            np.asarray(basis.T @ left_over) + pull,
            float(side.offset_m @ left_over),
            density - chain.log_determinant + 0.5 * float(np.log(trust[trust > 0]).sum()),
        )

    def line(self, prior: Floats) -> tuple[Floats, Floats, float]:
        """Find the line under a prior covariance, its covariance, and the log-likelihood.

        Parameters
        ----------
        prior
            Shape (k, k), m^2.
        """
        matrix = np.eye(len(prior)) + prior @ self.information
        covariance = np.linalg.solve(matrix, prior)
        covariance = 0.5 * (covariance + covariance.T)
        offset = covariance @ self.pull
        _, log_determinant = np.linalg.slogdet(matrix)
        likelihood = self.density - 0.5 * (
            float(log_determinant) + self.squares - float(self.pull @ offset)
        )
        return offset, covariance, likelihood

    def likelihood(self, prior: Floats) -> float:
        """Work out the log-likelihood alone, as `line` does, for those who try many priors.

        Parameters
        ----------
        prior
            Shape (k, k), m^2.
        """
        from scipy.linalg import lu_factor, lu_solve

        factor, pivot = lu_factor(np.eye(len(prior)) + prior @ self.information)
        offset = lu_solve((factor, pivot), prior @ self.pull)
        log_determinant = float(np.log(np.abs(np.diagonal(factor))).sum())
        return self.density - 0.5 * (log_determinant + self.squares - float(self.pull @ offset))

    def given(self, offset_m: Floats) -> Floats:
        """Solve for the nodes' unknowns given the line's coefficients.

        Parameters
        ----------
        offset_m
            Shape (k,).

        Returns
        -------
        Floats
            Shape (n, states).
        """
        rest = self.trust * (self.side.offset_m - self.basis @ offset_m)
        right = (rest[:, None] * self.seen).reshape(-1, 1)
        return self.chain.solved(right).reshape(self.seen.shape)

    def moved_by(self, offset_m: Floats) -> Floats:
        """Find by how much the error would change with the line.

        Parameters
        ----------
        offset_m
            Changes of the line's coefficients, shape (k, m).

        Returns
        -------
        Floats
            Shape (n, 2, m).
        """
        count, states = self.seen.shape
        rest = self.trust[:, None] * (self.basis @ offset_m)
        right = (self.seen[:, :, None] * rest[:, None, :]).reshape(count * states, -1)
        moved = self.chain.solved(right).reshape(count, states, -1)
        return np.asarray(-moved[:, :2])


def _beside(basis: csr_array, shares: Floats, left: Floats) -> csr_array:
    """Put what shifts do sideways beside the weights of a line."""
    from scipy.sparse import csr_array, hstack

    return csr_array(hstack([basis, *(shares * axis[:, None] for axis in left.T)]))


def _with_shifts(prior: Floats, shifts: Shifts | None) -> Floats:
    """Put what is known of shifts beforehand beside the prior covariance of a line."""
    if shifts is None:
        return prior
    own = shifts.covariance()
    both = np.zeros((len(prior) + len(own),) * 2)
    both[: len(prior), : len(prior)] = prior
    both[len(prior) :, len(prior) :] = own
    return both


@dataclass(frozen=True, eq=False, kw_only=True)
class RepeatedLine(ErrorBesideLine):
    """The line a driver repeats, what each lap deviates from it, and how far the drive is off.

    Parameters
    ----------
    side
        The nodes, and where the drive lies there.
    knots
        Of the line.
    levels, levels_before
        That it was found with, and that the drive was smoothed with.
    error_m
        How far the smoothed drive is off at each node, east and north, shape (n, 2).
    deviation_m
        What the lap deviates there from the repeated line, to the left, shape (n,).
    offset_m, line_m
        The line to the left of the centreline at the knots, shape (k,), and at the nodes, (n,).
    offset_covariance_m2
        Of its coefficients, m^2, square; see `Knots.basis`.
    shifts, shift_m, shift_covariance_m2
        Stretches that are shifted as a whole, or None; how far, and how well that is known: of all
        unknowns of `Shifts`.
    """

    side: Sideways
    knots: Knots
    levels: LineLevels
    levels_before: LineLevels
    error_m: Floats
    deviation_m: Floats
    offset_m: Floats
    line_m: Floats
    offset_covariance_m2: Floats
    shifts: Shifts | None = None
    shift_m: Floats | None = None
    shift_covariance_m2: Floats | None = None

    def error_at(self, time_s: Floats) -> tuple[Floats, Floats]:
        """How far the smoothed drive is off, and how fast that changes.

        Parameters
        ----------
        time_s
            Shape (k,).

        Returns
        -------
        error_m, rate_mps
            Shape (k, 2): as straight as can be between nodes, and as at the outermost one beyond
            them, but for shifts, which come and go faster.
        """
        node = self.side.time_s
        slow = self.error_m - self.shifted(node)
        error = np.stack([np.interp(time_s, node, axis) for axis in slow.T], axis=1)
        rate = np.zeros_like(error)
        if len(node) > 1:
            slope = np.diff(slow, axis=0) / np.diff(node)[:, None]
            place = np.clip(np.searchsorted(node, time_s, side="right") - 1, 0, len(slope) - 1)
            outside = (time_s < node[0]) | (time_s > node[-1])
            rate = np.where(outside[:, None], 0.0, slope[place])
        if self.shifts is None:
            return error, rate
        around = (self.shifted(time_s + half) for half in (_INSTANT_S, -_INSTANT_S))
        rate += np.subtract(*around) / (2.0 * _INSTANT_S)
        return error + self.shifted(time_s), rate

    def shifted(self, time_s: Floats) -> Floats:
        """How far the drive has jumped aside at some times, seconds, shape (k, 2)."""
        if self.shifts is None or self.shift_m is None:
            return np.zeros((len(time_s), 2))
        return self.shifts.moved(time_s, self.shift_m[:, None])[:, :, 0]

    @cached_property
    def sigma_m(self) -> Floats:
        """One sigma of the drive's error at each node, east and north, shape (n, 2)."""
        alone = np.diagonal(self.chain.covariance, axis1=1, axis2=2)[:, :2]
        return np.asarray(np.sqrt(alone + (self.moved_m**2).sum(axis=2)))


def fit_line(
    side: Sideways,
    levels: LineLevels,
    knots: Knots,
    before: LineLevels | None = None,
    shifts: Shifts | None = None,
) -> RepeatedLine:
    """Find the repeated line, the deviations and the drive's error together.

    Parameters
    ----------
    side
        The drive beside the centreline.
    levels
        The levels.
    knots
        Of the line.
    before
        Levels that the drive was smoothed with, for what was uncertain of it before; None where
        they are the same.
    shifts
        Stretches of the drive that are shifted as a whole, if any.

    Returns
    -------
    RepeatedLine
        The most probable one, with its covariance.
    """
    eliminated = Eliminated.of(side, levels, knots, shifts)
    prior = knots.covariance(levels)
    coefficient, covariance, _ = eliminated.line(_with_shifts(prior, shifts))
    state = eliminated.given(coefficient)
    error = state[:, :2]
    own = len(prior)
    value, vector = np.linalg.eigh(covariance)
    most = _MODES + len(covariance) - own
    modes = vector[:, -most:] * np.sqrt(np.maximum(value[-most:], 0.0))
    moved = eliminated.moved_by(modes)
    if shifts is not None:
        error = error + shifts.moved(side.time_s, coefficient[own:, None])[:, :, 0]
        moved += shifts.moved(side.time_s, modes[own:])
    earlier = before or levels
    return RepeatedLine(
        node_s=side.time_s,
        chain=eliminated.chain,
        moved_m=moved,
        before=chain_before(side, earlier),
        side=side,
        knots=knots,
        levels=levels,
        levels_before=earlier,
        error_m=error,
        deviation_m=state[:, -2],
        offset_m=np.asarray(knots.basis(knots.chainage_m, knots.left) @ coefficient[:own]),
        line_m=np.asarray(eliminated.basis[:, :own] @ coefficient[:own]),
        offset_covariance_m2=covariance[:own, :own],
        shifts=shifts,
        shift_m=None if shifts is None else coefficient[own:],
        shift_covariance_m2=None if shifts is None else covariance[own:, own:],
    )
