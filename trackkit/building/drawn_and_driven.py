"""A drawn line and laps driven on it, weighed against each other along the lap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.fit import FittedLine
from trackkit.building.line_accuracy import KnownLine
from trackkit.geometry.curve import Curve
from trackkit.motion.noise import USUAL

_PLACES = 180
_LEAST_STEP_M = 6.0
_OFFSETS = (0.15, 0.3, 0.6, 1.0, 1.7)
_LOCALS = (0.1, 0.2, 0.35, 0.6, 1.0, 1.7)
"""Errors of a drawn line, as a whole and from place to place, over what its file says of it."""
_LENGTHS_M = (15.0, 30.0, 60.0, 120.0, 240.0)
_PRIOR_SPREAD = 1.0
"""How far the logarithm of a drawn line's true sigma is from that of the stated one, one sigma."""
_ALIKE_SPREAD = 1.2
"""How far that of its error as a whole is from that from place to place: who draws with care has
most often laid the picture with care (common practice, no source)."""
_OWN_M = 0.15
_SLOWEST_MPS = 1.0


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
    whose correlation falls off exponentially; the laps are off by the receiver's wander, a
    first-order Gauss-Markov process in the time since (`trackkit.motion.gauss_markov`).  Given the
    levels the laps' error is a linear estimate of least variance (kriging; Rasmussen and Williams,
    Gaussian Processes for Machine Learning, 2006, chapter 2; from memory); those of the drawn line
    are not known, so that estimates for a grid of them are weighed by how probable each makes the
    distances, with what the file states as the middle of a broad prior.

    Parameters
    ----------
    fitted
        The line fitted to the laps.
    drawn
        The line that was drawn, on the same plane.
    drawn_sigma_m
        What the file states of its sideways place, one sigma, metres.
    """
    curve = fitted.curve
    count = int(np.clip(curve.length_m / _LEAST_STEP_M, 12, _PLACES))
    chainage = curve.chainages(curve.length_m / count)
    place, left = curve.position(chainage), curve.left(chainage)
    reached, _ = drawn.project(place, curve.direction(chainage))
    aside = np.einsum("ij,ij->i", drawn.position(reached) - place, left)

    facing = left @ left.T
    wander = fitted.accuracy_m**2 * _wander_correlation(fitted, chainage)
    of_laps = wander * facing + _OWN_M**2 * np.eye(len(chainage))
    apart = np.abs(chainage[:, None] - chainage)
    if curve.closed:
        apart = np.minimum(apart, curve.length_m - apart)
    estimates = []
    for length in _LENGTHS_M:
        nearby = np.exp(-apart / length)
        for whole in _OFFSETS:
            for local in _LOCALS:
                sigma = drawn_sigma_m * np.array([whole, local])
                total = of_laps + sigma[0] ** 2 * facing + sigma[1] ** 2 * nearby
                odds = float(
                    np.hypot(
                        np.log(np.hypot(whole, local)) / _PRIOR_SPREAD,
                        np.log(whole / local) / _ALIKE_SPREAD,
                    )
                )
                estimates.append((*_estimate(total, wander, left, aside, odds), np.hypot(*sigma)))
    chance = np.array([estimate[0] for estimate in estimates])
    weight = np.exp(chance - chance.max())
    weight /= weight.sum()
    errors = np.array([estimate[1] for estimate in estimates])
    error = np.einsum("m,mij->ij", weight, errors)
    variance = np.einsum("m,mi->i", weight, np.array([estimate[2] for estimate in estimates]))
    # What the estimates differ by among themselves is not known either.
    spread = np.einsum("mij,ij->mi", errors - error, left)
    variance = variance + np.einsum("m,mi->i", weight, spread**2)
    return _moved(fitted, chainage, error, variance, float(weight @ [e[3] for e in estimates]))


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


def _estimate(
    total: Floats, wander: Floats, left: Floats, aside_m: Floats, odds: float
) -> tuple[float, Floats, Floats]:
    """Log-probability of the distances, the laps' error, shape (n, 2), and its rest aside, (n,)."""
    from scipy.linalg import cho_factor, cho_solve

    root = cho_factor(total, lower=True)
    solved = cho_solve(root, aside_m)
    chance = -0.5 * float(aside_m @ solved) - float(np.log(np.diag(root[0])).sum())
    error = -wander @ (left * solved[:, None])
    of_laps = wander * (left @ left.T)
    rest = np.diag(wander) - np.einsum("ij,ji->i", of_laps, cho_solve(root, of_laps))
    return chance - 0.5 * odds**2, error, np.maximum(rest, 0.0)


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
