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

from trackkit.arrays import Floats, Indices
from trackkit.motion.chain import Chain
from trackkit.motion.gauss_markov import transition

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_LOOSE_M = 100.0
"""How far a drive's error may be from nothing before anything ties it down."""
_MODES = 30
"""Of what is uncertain of the line, so many parts are kept, the largest first."""
_LEAST_MODE = 1e-3
"""Parts that move the error by less than this share of the largest are not kept with a report."""
_LEAST_WAY_M = 0.01
_LEAST_SHARE = 0.01
"""Nodes closer than so much of a deviation's length would hold each other too tightly."""


@dataclass(frozen=True, eq=False)
class Sideways:
    """Where a drive lies beside a centreline, at nodes along it.

    Parameters
    ----------
    time_s
        Of each node, rising, shape (n,), n at least 1.
    way_m
        Distance driven by then, rising, shape (n,).
    chainage_m
        Where along the centreline, shape (n,).
    offset_m
        How far to the left of it, shape (n,).
    left
        The direction of left there, unit vectors, shape (n, 2).
    sigma_m
        One sigma of what of an offset is gone again at the next node, shape (n,); infinite where
        the offset says nothing.
    tie_m
        One sigma of the white noise of what positions say of the drive's error, shape (n,).
    """

    time_s: Floats
    way_m: Floats
    chainage_m: Floats
    offset_m: Floats
    left: Floats
    sigma_m: Floats
    tie_m: Floats

    def only(self, chosen: Indices) -> Sideways:
        """Take some of the nodes, in order."""
        return Sideways(
            self.time_s[chosen],
            self.way_m[chosen],
            self.chainage_m[chosen],
            self.offset_m[chosen],
            self.left[chosen],
            self.sigma_m[chosen],
            self.tie_m[chosen],
        )


@dataclass(frozen=True)
class LineLevels:
    """How much a drive errs, laps deviate, and a repeated line leaves the centreline; one sigma.

    Parameters
    ----------
    wander_m, wander_time_s
        The receiver's wander on each axis and its time constant.
    walk_m2ps
        Variance that errors of the velocities add to the drive each second, m^2/s; None where there
        are no velocities.
    deviation_m, deviation_over_m
        What a lap deviates from the repeated line, and over how many metres.
    repeated_m, repeated_over_m
        What the repeated line deviates from the centreline, and over how many metres.
    shift_m
        How far the centreline may be shifted as a whole, on each axis.
    """

    wander_m: float
    wander_time_s: float
    walk_m2ps: float | None
    deviation_m: float = 0.4
    deviation_over_m: float = 30.0
    repeated_m: float = 1.0
    repeated_over_m: float = 30.0
    shift_m: float = 2.0

    @property
    def states(self) -> int:
        """How many unknowns a node has.

        The first two are the error, the last two the deviation and how it changes along the way.
        """
        return 4 if self.walk_m2ps is None else 6


@dataclass(frozen=True, eq=False)
class Knots:
    """Knots of a cubic spline along a centreline, evenly spaced.

    Parameters
    ----------
    chainage_m
        Of each, shape (k,).
    left
        The direction of left there, unit vectors, shape (k, 2).
    length_m, closed
        Of the centreline.
    """

    chainage_m: Floats
    left: Floats
    length_m: float
    closed: bool

    def basis(self, chainage_m: Floats) -> csr_array:
        """Weights of the spline's coefficients at some places, shape (places, k).

        Parameters
        ----------
        chainage_m
            Shape (n,).
        """
        from scipy.sparse import csr_array

        count = len(self.chainage_m)
        spacing = self.chainage_m[1] - self.chainage_m[0]
        where = chainage_m / spacing
        before = np.floor(where)
        u = where - before
        weight = np.stack(
            [(1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, 3 * u * (1 + u - u**2) + 1, u**3], axis=1
        )
        column = before.astype(np.intp)[:, None] + np.arange(-1, 3)
        # Beyond the ends of a course its line goes on as at them.
        column = column % count if self.closed else np.clip(column, 0, count - 1)
        row = np.repeat(np.arange(len(chainage_m)), 4)
        return csr_array(
            ((weight / 6.0).ravel(), (row, column.ravel())), shape=(len(chainage_m), count)
        )

    def covariance(self, levels: LineLevels) -> Floats:
        """Covariance of what the repeated line is beforehand, m^2, shape (k, k).

        A Gaussian process with the covariance (1 + d / l) exp(-d / l) of two places d apart
        (Matern's of order 3/2; Rasmussen & Williams 2006, section 4.2; from memory), and the shift
        of the centreline.
        """
        apart = np.abs(self.chainage_m[:, None] - self.chainage_m)
        if self.closed:
            apart = np.minimum(apart, self.length_m - apart)
        share = apart / levels.repeated_over_m
        smooth = levels.repeated_m**2 * (1.0 + share) * np.exp(-share)
        shift = levels.shift_m**2 * (self.left @ self.left.T)
        return np.asarray(smooth + shift + 1e-6 * np.eye(len(apart)))


def _prior(side: Sideways, levels: LineLevels) -> tuple[Floats, float]:
    """Information of the chain before it is seen beside the centreline, banded, and its density.

    The second is half the logarithm of the determinant of what the processes alone say.
    """
    count, states = len(side.time_s), levels.states
    band = np.zeros((2 * states, count * states))
    step_s = np.diff(side.time_s)
    step_m = np.maximum(np.diff(side.way_m), _LEAST_WAY_M)
    density = 0.0

    def process(place: int, kept: Floats, variance: Floats, first: float) -> None:
        nonlocal density
        information = 1.0 / variance
        band[0, place] += first
        band[0, place : (count - 1) * states : states] += kept**2 * information
        band[0, states + place :: states] += information
        band[states, place : (count - 1) * states : states] -= kept * information
        density += 0.5 * (float(np.log(information).sum()) + float(np.log(first)))

    kept, fresh = transition(step_s, levels.wander_time_s)
    wander = (kept, levels.wander_m**2 * fresh, levels.wander_m**-2)
    for axis in range(2):
        if levels.walk_m2ps is None:
            process(axis, *wander)
            continue
        process(axis, np.ones(count - 1), levels.walk_m2ps * step_s, _LOOSE_M**-2)
        process(2 + axis, *wander)
        # Positions say that the drive's error and their wander come to nothing.
        tie = side.tie_m**-2.0
        band[0, axis::states] += tie
        band[0, 2 + axis :: states] += tie
        band[2, axis::states] += tie
    density += _deviation(band, step_m, levels)
    return band, density


def _deviation(band: Floats, step_m: Floats, levels: LineLevels) -> float:
    """Add the information of the deviation and of how it changes; tell its density as `_prior`.

    A car cannot step aside: the deviation has a slope.  Its covariance is Matern's of order 3/2,
    as the repeated line's, which is Markov with two unknowns, the second the slope times the
    length (Rasmussen & Williams 2006, appendix B; from memory).
    """
    states = levels.states
    count = len(step_m) + 1
    x = np.maximum(step_m / levels.deviation_over_m, _LEAST_SHARE)
    fade = np.exp(-x)
    move = np.array([[1.0 + x, x], [-x, 1.0 - x]]) * fade
    square = fade**2
    own = 1.0 - square * (1.0 + 2.0 * x + 2.0 * x**2)
    slope = 1.0 - square * (1.0 - 2.0 * x + 2.0 * x**2)
    both = 2.0 * square * x**2
    determinant = (own * slope - both**2) * levels.deviation_m**2
    inverse = np.array([[slope, -both], [-both, own]]) / determinant
    tie = np.einsum("ijn,jkn->ikn", inverse, move)
    back = np.einsum("jin,jkn->ikn", move, tie)
    end = (count - 1) * states
    for i in range(2):
        row = states - 2 + i
        band[0, row] += levels.deviation_m**-2
        for j in range(2):
            column = states - 2 + j
            band[states + row - column, column:end:states] -= tie[i, j]
            if i >= j:
                band[i - j, column:end:states] += back[i, j]
                band[i - j, states + column :: states] += inverse[i, j]
    first = -2.0 * np.log(levels.deviation_m)
    return float(first - 0.5 * np.log(determinant * levels.deviation_m**2).sum())


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
        Of the line at the nodes.
    information, pull
        What the nodes say of the line, shape (k, k) and (k,).
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
    def of(cls, side: Sideways, levels: LineLevels, knots: Knots) -> Eliminated:
        """Eliminate error and deviation from what a drive lies beside a centreline.

        Parameters
        ----------
        side, levels, knots
            The drive, the levels and the spline of the line.
        """
        count, states = len(side.time_s), levels.states
        band, density = _prior(side, levels)
        trust = side.sigma_m**-2.0
        seen = np.zeros((count, states))
        seen[:, :2], seen[:, -2] = side.left, 1.0
        for column in range(states):
            for row in range(column, states):
                band[row - column, column::states] += trust * seen[:, row] * seen[:, column]
        chain = Chain.of(band, states)
        basis = knots.basis(side.chainage_m)
        weighted = basis.multiply(trust[:, None]).tocsr()
        own = np.asarray((weighted.T @ basis).todense())
        right = (seen[:, :, None] * weighted.toarray()[:, None, :]).reshape(count * states, -1)
        information = own - chain.squared(right)
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
            np.asarray(basis.T @ left_over),
            float(side.offset_m @ left_over),
            density
            - chain.log_determinant
            + 0.5 * float(np.log(trust[trust > 0]).sum()),
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


@dataclass(frozen=True, eq=False)
class RepeatedLine:
    """The line a driver repeats, what each lap deviates from it, and how far the drive is off.

    Parameters
    ----------
    side
        The nodes, and where the drive lies there.
    knots
        Of the line.
    levels
        That it was found with.
    error_m
        How far the smoothed drive is off at each node, east and north, shape (n, 2).
    deviation_m
        What the lap deviates there from the repeated line, to the left, shape (n,).
    offset_m
        The line to the left of the centreline at the knots, shape (k,).
    offset_covariance_m2
        Of its coefficients, m^2, shape (k, k).
    """

    side: Sideways
    knots: Knots
    levels: LineLevels
    error_m: Floats
    deviation_m: Floats
    offset_m: Floats
    offset_covariance_m2: Floats
    _chain: Chain
    _moved: Floats
    _before: Chain

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
            them.
        """
        node = self.side.time_s
        error = np.stack([np.interp(time_s, node, axis) for axis in self.error_m.T], axis=1)
        if len(node) < 2:
            return error, np.zeros_like(error)
        slope = np.diff(self.error_m, axis=0) / np.diff(node)[:, None]
        place = np.clip(np.searchsorted(node, time_s, side="right") - 1, 0, len(slope) - 1)
        outside = (time_s < node[0]) | (time_s > node[-1])
        return error, np.where(outside[:, None], 0.0, slope[place])

    def variance(self, time_s: Floats, slope: Floats) -> float:
        """Variance of a weighted sum of the drive's error at some times, having seen the laps.

        Parameters
        ----------
        time_s
            Shape (k,).
        slope
            Weights, east and north, shape (k, 2).
        """
        index, weight = _at_nodes(self.side.time_s, time_s, slope)
        moved = np.einsum("ij,ijk->k", weight, self._moved[index])
        return self._chain.variance(index, self._of_states(weight)) + float(moved @ moved)

    def variance_before(self, time_s: Floats, slope: Floats) -> float:
        """Variance of the same sum before the laps were seen beside each other."""
        index, weight = _at_nodes(self.side.time_s, time_s, slope)
        return self._before.variance(index, self._of_states(weight))

    def variance_left(self, alone: float, time_s: Floats, slope: Floats) -> float:
        """Variance of a sum over a corrected drive.

        What the drive alone does not know of it is slow, which the laps have told of, and fast,
        which they have not.

        Parameters
        ----------
        alone
            Variance of the sum over the drive as it was smoothed alone.
        time_s, slope
            As for `variance`.
        """
        fast = max(alone - self.variance_before(time_s, slope), 0.0)
        return fast + self.variance(time_s, slope)

    def error_covariance(self, time_s: Floats) -> ErrorCovariance:
        """Keep what it takes to tell the variances of sums over the drive's error at some times.

        Parameters
        ----------
        time_s
            Shape (k,).
        """
        index, _ = _at_nodes(self.side.time_s, time_s, np.zeros((len(time_s), 2)))
        kept = np.unique(index)
        moved = self._moved[kept]
        modes, size, _ = np.linalg.svd(moved.reshape(2 * len(kept), -1), full_matrices=False)
        told = size > _LEAST_MODE * size.max(initial=0.0)
        return ErrorCovariance(
            self.side.time_s[kept],
            (modes * size)[:, told].reshape(len(kept), 2, -1),
            self._chain.covariance[kept],
            self._chain.onward(kept),
            self._before.covariance[kept],
            self._before.onward(kept),
        )

    def _of_states(self, weight: Floats) -> Floats:
        wide = np.zeros((len(weight), self._chain.states))
        wide[:, :2] = weight
        return wide

    @cached_property
    def sigma_m(self) -> Floats:
        """One sigma of the drive's error at each node, east and north, shape (n, 2)."""
        alone = np.diagonal(self._chain.covariance, axis1=1, axis2=2)[:, :2]
        return np.sqrt(alone + (self._moved**2).sum(axis=2))


@dataclass(frozen=True, eq=False)
class ErrorCovariance:
    """Covariance of a drive's error at some nodes, for when the drive itself is not kept.

    Parameters
    ----------
    node_s
        The nodes kept, rising, shape (m,).
    moved_m
        What their error owes to what is not known of the repeated line, shape (m, 2, modes).
    covariance, onward
        Of their unknowns given the line, shape (m, states, states), and how those of each follow
        from those of the next, shape (m - 1, states, states).
    covariance_before, onward_before
        The same before the laps were seen beside each other.
    """

    node_s: Floats
    moved_m: Floats
    covariance: Floats
    onward: Floats
    covariance_before: Floats
    onward_before: Floats

    def variance_left(self, alone: float, time_s: Floats, slope: Floats) -> float:
        """Variance of a sum over a corrected drive; see `RepeatedLine.variance_left`.

        Parameters
        ----------
        alone
            Variance of the sum over the drive as it was smoothed alone.
        time_s
            Shape (k,), of the times that nodes were kept for.
        slope
            Weights, east and north, shape (k, 2).
        """
        index, weight = _at_nodes(self.node_s, time_s, slope)
        load = np.zeros((len(self.node_s), 2))
        np.add.at(load, index, weight)
        moved = np.einsum("ij,ijk->k", load, self.moved_m)
        before = _chained(load, self.covariance_before, self.onward_before)
        after = _chained(load, self.covariance, self.onward) + float(moved @ moved)
        return max(alone - before, 0.0) + after


def _chained(load: Floats, covariance: Floats, onward: Floats) -> float:
    """Square a sum over the first two unknowns of kept links."""
    used = np.flatnonzero(load.any(axis=1))
    if not len(used):
        return 0.0
    total, carried = 0.0, np.zeros(covariance.shape[1])
    for link in range(int(used[-1]), int(used[0]) - 1, -1):
        if link < used[-1]:
            carried = onward[link] @ carried
        own = covariance[link][:, :2] @ load[link]
        total += float(load[link] @ (own + 2.0 * carried)[:2])
        carried = carried + own
    return total


def _at_nodes(node_s: Floats, time_s: Floats, slope: Floats) -> tuple[Indices, Floats]:
    """Share weights of the error at some times out to the nodes before and after."""
    last = len(node_s) - 1
    after = np.minimum(np.clip(np.searchsorted(node_s, time_s), 1, max(last, 1)), last)
    before = np.maximum(after - 1, 0)
    span = np.maximum(node_s[after] - node_s[before], 1e-9)
    share = np.clip((time_s - node_s[before]) / span, 0.0, 1.0)[:, None]
    return (
        np.concatenate([before, after]),
        np.concatenate([(1.0 - share) * slope, share * slope]),
    )


def fit_line(
    side: Sideways, levels: LineLevels, knots: Knots, before: LineLevels | None = None
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

    Returns
    -------
    RepeatedLine
        The most probable one, with its covariance.
    """
    eliminated = Eliminated.of(side, levels, knots)
    coefficient, covariance, _ = eliminated.line(knots.covariance(levels))
    state = eliminated.given(coefficient)
    value, vector = np.linalg.eigh(covariance)
    modes = vector[:, -_MODES:] * np.sqrt(np.maximum(value[-_MODES:], 0.0))
    earlier = before or levels
    return RepeatedLine(
        side,
        knots,
        levels,
        state[:, :2],
        state[:, -2],
        np.asarray(knots.basis(knots.chainage_m) @ coefficient),
        covariance,
        eliminated.chain,
        eliminated.moved_by(modes),
        Chain.of(_prior(side, earlier)[0], earlier.states),
    )
