"""A drawn line and laps driven on it, weighed against each other along the lap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.fit import FittedLine
from trackkit.building.line_accuracy import KnownLine
from trackkit.geometry.curve import Curve
from trackkit.motion.noise import USUAL
from trackkit.motion.smooth_correlation import smooth_correlation

_PLACES = 180
_LEAST_STEP_M = 6.0
_OFFSETS = (0.1, 0.14, 0.2, 0.28, 0.4, 0.55, 0.75, 1.0, 1.4, 2.0, 3.0)
_LOCALS = (0.07, 0.12, 0.2, 0.35, 0.6, 1.0, 1.7)
"""Errors of a drawn line, as a whole and from place to place, over what its file says of it."""
_LENGTHS_M = (15.0, 30.0, 60.0, 120.0, 240.0)
_USUAL_OFFSET, _OFFSET_FACTOR = 0.85, 0.85
_USUAL_LOCAL, _LOCAL_FACTOR = 0.6, 1.2
"""What these errors are expected to be beforehand, over the same: the middle, and one sigma of the
logarithm."""
_OWN_M = 0.15
_SLOWEST_MPS = 1.0
_REACH = 6.0
"""Over its length, how far a correlation reaches that is anything."""


@dataclass(frozen=True, eq=False)
class DrivenLine:
    """A line that laps were driven along, moved by what a drawn line tells of their error.

    Parameters
    ----------
    curve
        The line.
    chainage_m, accuracy
        Chainages along it, shape (n,), and how well it is known there.
    drawn_m
        How far the drawn line was off as a whole and from place to place, one sigma, metres.
    """

    curve: Curve
    chainage_m: Floats
    accuracy: KnownLine
    drawn_m: float


def moved_towards_drawn(fitted: FittedLine, drawn: Curve, drawn_sigma_m: float) -> DrivenLine:
    """Move a fitted line by what a drawn line tells of how far its receivers wandered.

    The sideways distance of the two is the drawn line's error less the laps'.  The drawn line is
    off by one shift as a whole, as pictures of the ground are, and by an error from place to place
    that is as smooth as a hand draws (Matérn's covariance of order 5/2); the laps are off by the
    receiver's wander, a first-order Gauss-Markov process in the time since
    (`trackkit.motion.gauss_markov`).  Given the levels the laps' error is a linear estimate of
    least variance (kriging; Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006,
    chapters 2 and 4; from memory); those of the drawn line are not known, so that estimates for a
    grid of them are weighed by how probable each makes the distances, with what the file states as
    the middle of a broad prior.

    Parameters
    ----------
    fitted
        The line fitted to the laps.
    drawn
        The line that was drawn, on the same plane.
    drawn_sigma_m
        What the file states of its sideways place, one sigma, metres.
    """
    weighing = Weighing.of(fitted, drawn_sigma_m)
    curve, chainage = fitted.curve, weighing.chainage_m
    place = curve.position(chainage)
    reached, _ = drawn.project(place, curve.direction(chainage))
    aside = np.einsum("ij,ij->i", drawn.position(reached) - place, weighing.left)
    return _moved(fitted, chainage, *weighing.error_of_laps(aside))


@dataclass(frozen=True, eq=False)
class _Held:
    """What follows from one size and length of the error from place to place.

    Parameters
    ----------
    root
        Cholesky's of the covariance of the distances without the shift.
    shift
        That covariance's inverse times the lefts, shape (n, 2).
    told
        The lefts' covariance with themselves by it, shape (2, 2).
    by_shift
        Errors of the laps, east and north, by each column of `shift`, shape (2, n, 2).
    known, known_by_shift
        What the distances tell of the laps' variance aside, shape (n,), and its part by the shift,
        shape (n, 2).
    local_m, log_odds
        The size, and the logarithm of how probable it is beforehand.
    """

    root: tuple[Floats, bool]
    shift: Floats
    told: Floats
    by_shift: Floats
    known: Floats
    known_by_shift: Floats
    local_m: float
    log_odds: float


@dataclass(frozen=True, eq=False)
class Weighing:
    """What a drawn line can tell of the error of laps, before it is looked at.

    Parameters
    ----------
    chainage_m, left
        Places along the laps' line, shape (n,), and unit vectors to its left, shape (n, 2).
    wander
        Covariance of the laps' error on one axis, shape (n, n).
    drawn_sigma_m
        What is stated of the drawn line.
    """

    chainage_m: Floats
    left: Floats
    wander: Floats
    drawn_sigma_m: float
    _held: tuple[_Held, ...]

    @classmethod
    def of(cls, fitted: FittedLine, drawn_sigma_m: float) -> Weighing:
        """Prepare a grid of sizes and lengths for a line fitted to laps."""
        from scipy.linalg import cho_factor, cho_solve

        curve = fitted.curve
        count = int(np.clip(curve.length_m / _LEAST_STEP_M, 12, _PLACES))
        chainage = curve.chainages(curve.length_m / count)
        left = curve.left(chainage)
        wander = fitted.accuracy_m**2 * _wander_correlation(fitted, chainage)
        aside = wander * (left @ left.T)
        of_laps = aside + _OWN_M**2 * np.eye(len(chainage))
        held = []
        for length in _LENGTHS_M:
            nearby = _smooth_correlation(curve, chainage, length)
            for local in _LOCALS:
                size = drawn_sigma_m * local
                root = cho_factor(of_laps + size**2 * nearby, lower=True)
                shift = cho_solve(root, left)
                held.append(
                    _Held(
                        root,
                        shift,
                        left.T @ shift,
                        np.stack([-wander @ (left * column[:, None]) for column in shift.T]),
                        np.einsum("ij,ji->i", aside, cho_solve(root, aside)),
                        aside @ shift,
                        size,
                        -0.5 * (np.log(local / _USUAL_LOCAL) / _LOCAL_FACTOR) ** 2,
                    )
                )
        return cls(chainage, left, wander, drawn_sigma_m, tuple(held))

    def error_of_laps(self, aside_m: Floats) -> tuple[Floats, Floats, float]:
        """Estimate the laps' error from how far to the left of them the drawn line lies.

        Returns
        -------
        error_m, variance_m2, drawn_m
            East and north, shape (n, 2); the variance of what is left aside, shape (n,); and how
            far the drawn line was off, one sigma.
        """
        from scipy.linalg import cho_solve

        offset = self.drawn_sigma_m * np.array(_OFFSETS)
        beforehand = -0.5 * (np.log(np.array(_OFFSETS) / _USUAL_OFFSET) / _OFFSET_FACTOR) ** 2
        square = offset[:, None, None] ** 2
        chances, errors, variances, sizes = [], [], [], []
        for held in self._held:
            solved = cho_solve(held.root, aside_m)
            alone = -self.wander @ (self.left * solved[:, None])
            likely = -0.5 * float(aside_m @ solved) - float(np.log(np.diag(held.root[0])).sum())
            told = self.left.T @ solved
            # A shift adds two dimensions: Woodbury's identity, and Sylvester's for the factor.
            inner = np.linalg.inv(np.eye(2) / square + held.told)
            taken = inner @ told
            stretch = np.linalg.slogdet(np.eye(2) + square * held.told)[1]
            chances.append(likely + 0.5 * (taken @ told - stretch) + beforehand + held.log_odds)
            errors.append(alone - np.einsum("wb,bij->wij", taken, held.by_shift))
            by_shift = np.einsum("ib,wbc,ic->wi", held.known_by_shift, inner, held.known_by_shift)
            variances.append(np.maximum(np.diag(self.wander) - held.known + by_shift, 0.0))
            sizes.append(np.hypot(offset, held.local_m))
        chance, each = np.concatenate(chances), np.concatenate(errors)
        weight = np.exp(chance - chance.max())
        weight /= weight.sum()
        error = np.einsum("m,mij->ij", weight, each)
        # What the estimates differ by among themselves is not known either.
        spread = np.einsum("mij,ij->mi", each - error, self.left)
        variance = weight @ (np.concatenate(variances) + spread**2)
        return error, variance, float(weight @ np.concatenate(sizes))


def _smooth_correlation(curve: Curve, chainage_m: Floats, length_m: float) -> Floats:
    """Correlate a smooth error between places; round a lap, along all ways from one to another."""
    images = int(np.ceil(_REACH * length_m / curve.length_m)) if curve.closed else 0
    apart = chainage_m[:, None] - chainage_m
    return smooth_correlation(
        apart, length_m / np.sqrt(5.0), 1.0 / 3.0, round_m=curve.length_m, rounds=images
    )


def _wander_correlation(fitted: FittedLine, chainage_m: Floats) -> Floats:
    """Correlation of the laps' mean error between places, by the time from one to the other."""
    curve = fitted.curve
    drives = {id(lap.path.drive) for lap in fitted.laps}
    laps = max(1, round(len(fitted.laps) / len(drives)))
    step = np.diff(np.append(fitted.chainage_m, curve.length_m))
    ends = np.cumsum(step / np.maximum(fitted.speed_mps, _SLOWEST_MPS))
    lasts = float(ends[-1])
    time = np.interp(chainage_m, np.append(0.0, fitted.chainage_m + step), np.append(0.0, ends))
    lag = np.abs(time[:, None] - time)
    between = np.arange(-laps + 1, laps)
    share = laps - np.abs(between)

    def mean_of(lag_s: Floats) -> Floats:
        every = np.exp(-np.abs(lag_s[..., None] + between * lasts) / USUAL.wander_time_s)
        return np.asarray(every @ share)

    total = mean_of(lag)
    if curve.closed:
        total = np.maximum(total, mean_of(lasts - lag))
    return np.asarray(total / mean_of(np.zeros(1)))


def _moved(
    fitted: FittedLine, chainage_m: Floats, error_m: Floats, variance_m2: Floats, drawn_m: float
) -> DrivenLine:
    curve = fitted.curve
    period = curve.length_m if curve.closed else None

    def at(where: Floats, values: Floats) -> Floats:
        return np.interp(where, chainage_m, values, period=period)

    even = curve.chainages(1.0)
    moved = curve.position(even) - np.column_stack([at(even, axis) for axis in error_m.T])
    known = fitted.accuracy
    share = np.sqrt(np.maximum(variance_m2, 0.0)) / max(fitted.accuracy_m, 1e-9)
    sigma = known.sigma_m * np.minimum(at(fitted.chainage_m, share), 1.0)
    basis = f"{known.basis}, and the drawn line, which was off by {drawn_m:.1f} m"
    line = Curve.through(moved, closed=curve.closed)
    return DrivenLine(
        line,
        fitted.chainage_m * (line.length_m / curve.length_m),
        KnownLine(sigma, known.kind, basis, known.assumed),
        drawn_m,
    )
