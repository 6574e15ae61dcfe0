"""The model of a drive beside a line that its laps repeat; see `trackkit.motion.repeated_line`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.gauss_markov import transition
from trackkit.motion.smooth_correlation import smooth_correlation

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_LOOSE_M = 100.0
"""How far a drive's error may be from nothing before anything ties it down."""
_LEAST_WAY_M = 0.01
_LEAST_SHARE = 0.01
"""Nodes closer than so much of a deviation's length would hold each other too tightly."""
_ROUNDS = 4
_SHIFT_CHANGES, _SHIFT_OVER = 0.25, 0.15
"""What share of a centreline's shift changes along it, and over what share of its length (common
practice, no source)."""
_SHIFTS = 12
"""A shift is told at so many places round the line: closer than it changes over."""


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
    """Knots of a cubic spline along a centreline, evenly spaced from its beginning to its end.

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

    def basis(self, chainage_m: Floats, left: Floats) -> csr_array:
        """Weights of the line's coefficients at some places, shape (places, k + 2 `_SHIFTS`).

        The first are the spline's.  The others are how far the centreline is shifted, east and
        then north, at a few places round it: a shift is seen by where left is at each place, and
        through a spline it would be lost in tight bends, as if it were known.

        Parameters
        ----------
        chainage_m
            Shape (n,).
        left
            The direction of left there, unit vectors, shape (n, 2).
        """
        from scipy.sparse import csr_array, hstack

        shift = self._spline(chainage_m, _SHIFTS)
        sideways = [shift.multiply(axis[:, None]) for axis in left.T]
        own = self._spline(chainage_m, len(self.chainage_m))
        return csr_array(hstack([own, *sideways]))

    def _spline(self, chainage_m: Floats, count: int) -> csr_array:
        """Weights of so many coefficients of an evenly spaced cubic spline, shape (n, count)."""
        from scipy.sparse import csr_array

        where = chainage_m / (self.length_m / (count if self.closed else count - 1))
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
        """Covariance of the line's coefficients beforehand, m^2, square.

        Of the spline a Gaussian process with the covariance (1 + x + x^2 / 3) exp(-x) of two places
        x lengths apart (Matern's of order 5/2; Rasmussen & Williams 2006, section 4.2; from
        memory): a line that is driven has no jumps of its curvature worth the name.  And the shift
        of the centreline, some of which changes along the lap, as a wander does by which it was
        recorded, Matern's of order 3/2.
        """
        count = len(self.chainage_m)
        repeated = self._alike(self.chainage_m, levels.repeated_over_m, 1.0 / 3.0)
        place = np.linspace(0.0, self.length_m, _SHIFTS, endpoint=not self.closed)
        changing = self._alike(place, _SHIFT_OVER * self.length_m, 0.0)
        alike = 1.0 - _SHIFT_CHANGES + _SHIFT_CHANGES * changing
        covariance = np.zeros((count + 2 * _SHIFTS, count + 2 * _SHIFTS))
        covariance[:count, :count] = levels.repeated_m**2 * repeated
        for begin in (count, count + _SHIFTS):
            axis = slice(begin, begin + _SHIFTS)
            covariance[axis, axis] = levels.shift_m**2 * alike
        return np.asarray(covariance + 1e-6 * np.eye(len(covariance)))

    def _alike(self, chainage_m: Floats, over_m: float, square: float) -> Floats:
        """Correlate even places as `smooth_correlation` does, shape (n, n)."""
        rounds = _ROUNDS if self.closed else 0
        alike = smooth_correlation(
            chainage_m - chainage_m[0], over_m, square, round_m=self.length_m, rounds=rounds
        )
        number = np.arange(len(alike))
        return np.asarray(alike[np.abs(number[:, None] - number)])


def prior_information(side: Sideways, levels: LineLevels) -> tuple[Floats, float]:
    """Work out what is known of a chain before it is seen beside a centreline.

    Parameters
    ----------
    side, levels
        Its nodes and the levels.

    Returns
    -------
    information, density
        The information matrix, lower banded, shape (2 states, n states), and half the logarithm of
        the determinant of what the processes alone say.
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
