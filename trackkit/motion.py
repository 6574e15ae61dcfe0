"""The smoothed drive: where a recording's vehicle most probably was, and how fast it went.

Model (DESIGN.md section 6): truth moves with white jerk; a measured position is truth plus a slow
first-order Gauss-Markov wander plus white noise; a measured velocity (speed and course, from
Doppler) is truth plus white noise.  The most probable drive under it is a banded linear
least-squares problem, one Cholesky factorisation for both axes, and equals a
Rauch-Tung-Striebel smoother (Brown & Hwang, Introduction to Random Signals and Applied Kalman
Filtering; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.geodesy import Floats, LocalPlane
from trackkit.recording import Recording

WANDER_M = 1.0
WANDER_TIME_S = 120.0
WHITE_M = 0.15
DOPPLER_MPS = 0.05
JERK_LEVELS = (0.03, 0.3, 3.0, 30.0, 300.0)
"""Densities of white jerk tried, m^2/s^5; the most likely one under the data is taken."""
QUIET = 0.1
"""Share of the noise tried as well on positions without velocities.

A receiver (or a phone) may have smoothed its positions before it wrote them; taking them for noisy
cuts corners by decimetres.  With velocities the corners are known either way.
"""
OUTLIER_M = 1.0
"""Residual scale of the Cauchy loss that keeps stray positions from pulling the drive.

Holland & Welsch (1977), Robust regression using iteratively reweighted least squares; from memory.
"""
_LIKELIHOOD_FIXES = 3000
_REWEIGHTINGS = 3
_REFINEMENTS = 2
_LEAST_WANDERING_M = 3e-6
"""How far truth may leave a smooth path between two fixes at least, one sigma.

Fixes a few milliseconds apart would tie their positions together so tightly that float64 holds
nothing else about them.
"""

# Inverse of the covariance of (position, velocity, acceleration) after unit time of unit white
# jerk, [[1/20, 1/8, 1/6], [1/8, 1/3, 1/2], [1/6, 1/2, 1]].
_JERK_INFORMATION = np.array([[720.0, -360.0, 60.0], [-360.0, 192.0, -36.0], [60.0, -36.0, 9.0]])
_STATES = 4
_BAND = 2 * _STATES


@dataclass(frozen=True, eq=False)
class Drive:
    """A recording smoothed on a plane.

    Parameters
    ----------
    recording
        What it was made from.
    plane
        The plane of the positions.
    time_s
        Seconds from the first fix, shape (n,).
    position_m, velocity_mps, acceleration_mps2
        Shape (n, 2), east and north.
    piece
        Number of the unbroken stretch each fix belongs to, shape (n,).
    """

    recording: Recording
    plane: LocalPlane
    time_s: Floats
    position_m: Floats
    velocity_mps: Floats
    acceleration_mps2: Floats
    piece: NDArray[np.intp]

    @property
    def speed_mps(self) -> Floats:
        """Speed over ground, m/s, shape (n,)."""
        return np.asarray(np.hypot(self.velocity_mps[:, 0], self.velocity_mps[:, 1]))

    @property
    def has_doppler(self) -> bool:
        """Whether the recording carries velocities, as speed and course."""
        return self.recording.speed_mps is not None and self.recording.course_deg is not None

    def at(self, time_s: ArrayLike) -> tuple[Floats, Floats]:
        """Position and velocity between fixes, on the cubic through both at either side.

        Parameters
        ----------
        time_s
            Shape (k,), seconds from the first fix, held within the recording.
        """
        time = np.clip(np.asarray(time_s, dtype=float), self.time_s[0], self.time_s[-1])
        index = np.clip(np.searchsorted(self.time_s, time, side="right") - 1, 0, None)
        index = np.minimum(index, max(len(self.time_s) - 2, 0))
        following = np.minimum(index + 1, len(self.time_s) - 1)
        span = np.maximum(self.time_s[following] - self.time_s[index], 1e-9)[:, None]
        share = (time - self.time_s[index])[:, None] / span
        return hermite(
            share,
            span,
            self.position_m[index],
            self.velocity_mps[index],
            self.position_m[following],
            self.velocity_mps[following],
        )


def hermite(
    share: Floats,
    span_s: Floats,
    start_m: Floats,
    start_mps: Floats,
    end_m: Floats,
    end_mps: Floats,
) -> tuple[Floats, Floats]:
    """Position and velocity on the cubic with given ends and end velocities.

    Parameters
    ----------
    share
        How much of the span has gone by, 0 to 1, shape (k, 1).
    span_s
        Length of the span, seconds, shape (k, 1).
    start_m, start_mps, end_m, end_mps
        Shape (k, 2).
    """
    u = share
    position = (
        (2 * u**3 - 3 * u**2 + 1) * start_m
        + (u**3 - 2 * u**2 + u) * span_s * start_mps
        + (3 * u**2 - 2 * u**3) * end_m
        + (u**3 - u**2) * span_s * end_mps
    )
    velocity = (
        (6 * u**2 - 6 * u) * (start_m - end_m) / span_s
        + (3 * u**2 - 4 * u + 1) * start_mps
        + (3 * u**2 - 2 * u) * end_mps
    )
    return position, velocity


def smooth(recording: Recording, plane: LocalPlane) -> Drive:
    """Find the most probable drive behind a recording.

    Parameters
    ----------
    recording
        At least one fix; speed and course are used together, where both are known.
    plane
        Where to compute.
    """
    measured = plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    velocity = _doppler_velocity(recording, plane)
    segment = recording.segment
    assert segment is not None  # noqa: S101 - set by Recording itself
    if len(recording) == 1:
        still = np.zeros((1, 2)) if velocity is None else np.nan_to_num(velocity)
        return Drive(recording, plane, recording.time_s, measured, still, still * 0.0, segment)
    jerk, share = _likeliest(recording.time_s, segment, measured, velocity)
    state = _solve(recording.time_s, segment, measured, velocity, jerk, share)[0]
    return Drive(recording, plane, recording.time_s, state[:, 0], state[:, 1], state[:, 2], segment)


def _doppler_velocity(recording: Recording, plane: LocalPlane) -> Floats | None:
    if recording.speed_mps is None or recording.course_deg is None:
        return None
    convergence = plane.convergence_deg(recording.longitude_deg, recording.latitude_deg)
    course = np.radians(recording.course_deg - convergence)
    # Standing still, receivers leave the course out, and the speed they give is noise, which
    # would add up to a drift in whatever direction was put in its place.
    still = (recording.speed_mps < 0.3) & ~np.isfinite(course)
    course, speed = np.where(still, 0.0, course), np.where(still, 0.0, recording.speed_mps)
    return np.asarray(speed[:, None] * np.stack([np.sin(course), np.cos(course)], axis=-1))


def _likeliest(
    time_s: Floats,
    segment: NDArray[np.intp],
    measured_m: Floats,
    velocity_mps: Floats | None,
) -> tuple[float, float]:
    """Choose the jerk level, and the share of noise, of highest marginal likelihood.

    On the part that moves most.
    """
    count = len(time_s)
    begin, end = 0, count
    if count > _LIKELIHOOD_FIXES:
        travelled = np.concatenate(
            [[0.0], np.cumsum(np.linalg.norm(np.diff(measured_m, axis=0), axis=1))]
        )
        starts = np.arange(0, count - _LIKELIHOOD_FIXES + 1, _LIKELIHOOD_FIXES // 4)
        begin = int(
            starts[np.argmax(travelled[starts + _LIKELIHOOD_FIXES - 1] - travelled[starts])]
        )
        end = begin + _LIKELIHOOD_FIXES
    part = slice(begin, end)
    velocity = None if velocity_mps is None else velocity_mps[part]
    shares = (1.0, QUIET) if velocity_mps is None else (1.0,)
    levels = [(jerk, share) for share in shares for jerk in JERK_LEVELS]
    scores = [
        _solve(time_s[part], segment[part], measured_m[part], velocity, *level)[1]
        for level in levels
    ]
    return levels[int(np.argmax(scores))]


def _solve(
    time_s: Floats,
    segment: NDArray[np.intp],
    measured_m: Floats,
    velocity_mps: Floats | None,
    jerk: float,
    share: float,
) -> tuple[Floats, float]:
    """Solve the least-squares problem, reweighting stray positions.

    Parameters
    ----------
    time_s, segment, measured_m, velocity_mps
        The recording, on the plane.
    jerk
        Density of white jerk, m^2/s^5.
    share
        Factor on the noise of positions.

    Returns
    -------
    state
        Shape (n, 4, 2): position, velocity, acceleration, wander of each axis.
    log_likelihood
        Of the data under this jerk level and share of noise, up to a constant.
    """
    from scipy.linalg import cho_solve_banded, cholesky_banded

    count = len(time_s)
    prior = _Prior.of(time_s, segment, jerk, share)
    doppler, velocity = np.zeros(count), np.zeros((count, 2))
    if velocity_mps is not None:
        known = np.all(np.isfinite(velocity_mps), axis=1)
        doppler = np.where(known, DOPPLER_MPS**-2, 0.0)
        velocity = np.where(known[:, None], velocity_mps, 0.0)
    weight = np.ones(count)
    # The wander leaves the place of the whole drive to 1 part in 10^12 of what ties one fix to the
    # next.  Rounding shifts a solution by a share of its own size: so what is solved for is the
    # small distance from the measured positions, and then what that left over.
    state = np.zeros((count, _STATES, 2))
    state[:, 0] = measured_m
    log_likelihood = -np.inf
    for _ in range(_REWEIGHTINGS):
        trust = weight * (share * WHITE_M) ** -2
        diagonal, below = prior.blocks()
        for i, j in ((0, 0), (0, 3), (3, 0), (3, 3)):
            diagonal[:, i, j] += trust
        diagonal[:, 1, 1] += doppler
        factor = cholesky_banded(_banded(diagonal, below), lower=True, check_finite=False)
        for _ in range(_REFINEMENTS):
            pull, _ = prior.pull(state)
            away = trust[:, None] * (measured_m - state[:, 0] - state[:, 3])
            pull[:, 0] += away
            pull[:, 3] += away
            pull[:, 1] += doppler[:, None] * (velocity - state[:, 1])
            flat = pull.reshape(count * _STATES, 2)
            step = cho_solve_banded((factor, True), flat, check_finite=False)
            state += step.reshape(count, _STATES, 2)
        away = np.sum((measured_m - state[:, 0] - state[:, 3]) ** 2, axis=1)
        squares = prior.pull(state)[1] + float(np.sum(trust * away))
        squares += float(np.sum(doppler[:, None] * (velocity - state[:, 1]) ** 2))
        steps = np.count_nonzero(np.diff(segment) == 0)
        log_likelihood = -0.5 * squares - 2 * float(np.log(factor[0]).sum())
        log_likelihood -= 3.0 * steps * float(np.log(jerk)) + 4.0 * count * float(np.log(share))
        log_likelihood += float(np.log(weight).sum())
        weight = 1.0 / (1.0 + away / OUTLIER_M**2)
    return state, log_likelihood


@dataclass(frozen=True, eq=False)
class _Prior:
    """What the motion and wander models say of one axis, before any measurement.

    Parameters
    ----------
    still
        Information that velocity and acceleration are zero, shape (2,).
    forward
        Motion over each step without jerk, shape (n - 1, 3, 3).
    information
        Inverse covariance of what jerk adds, shape (n - 1, 3, 3).
    fade, renewed
        Share of the wander that is left after each step, and the information on the rest.
    first
        Information that the wander of the first fix is zero.
    """

    still: Floats
    forward: Floats
    information: Floats
    fade: Floats
    renewed: Floats
    first: float

    @classmethod
    def of(cls, time_s: Floats, segment: NDArray[np.intp], jerk: float, share: float) -> _Prior:
        step = np.diff(time_s)
        forward = np.zeros((len(step), 3, 3))
        forward[:, 0, 0] = forward[:, 1, 1] = forward[:, 2, 2] = 1.0
        forward[:, 0, 1] = forward[:, 1, 2] = step
        forward[:, 0, 2] = 0.5 * step**2
        shortest = (_LEAST_WANDERING_M**2 * _JERK_INFORMATION[0, 0] / jerk) ** 0.2
        span = np.maximum(step, shortest)
        scale = np.stack([span**-2.5, span**-1.5, span**-0.5], axis=-1)
        information = scale[:, :, None] * _JERK_INFORMATION * scale[:, None, :] / jerk
        information[np.diff(segment) != 0] = 0.0
        wander_m = share * WANDER_M
        return cls(
            # A vehicle's speed and acceleration are bounded; this keeps a lone fix solvable.
            still=np.array([1e-6, 1e-4 / max(len(time_s), 1)]),
            forward=forward,
            information=information,
            fade=np.exp(-step / WANDER_TIME_S),
            renewed=1.0 / (wander_m**2 * -np.expm1(-2.0 * step / WANDER_TIME_S)),
            first=wander_m**-2,
        )

    def blocks(self) -> tuple[Floats, Floats]:
        """Lay out the information matrix: blocks on and below the diagonal."""
        count = len(self.fade) + 1
        diagonal = np.zeros((count, _STATES, _STATES))
        below = np.zeros((count - 1, _STATES, _STATES))
        diagonal[:, 1, 1] += self.still[0]
        diagonal[:, 2, 2] += self.still[1]
        pulled = self.information @ self.forward
        diagonal[:-1, :3, :3] += self.forward.transpose(0, 2, 1) @ pulled
        diagonal[1:, :3, :3] += self.information
        below[:, :3, :3] -= pulled
        diagonal[0, 3, 3] += self.first
        diagonal[:-1, 3, 3] += self.fade**2 * self.renewed
        diagonal[1:, 3, 3] += self.renewed
        below[:, 3, 3] -= self.fade * self.renewed
        return diagonal, below

    def pull(self, state: Floats) -> tuple[Floats, float]:
        """Return how the models pull at a state, shape (n, 4, 2), and its weighted squares.

        The pull is minus the information matrix times the state, worked out from what each step
        leaves unexplained, which is small, rather than from the matrix, whose terms are large.
        """
        # Fixes run along the last axis: so the sums below go over contiguous memory.
        x = np.ascontiguousarray(state.transpose(1, 2, 0))
        pull = np.zeros_like(x)
        before, after = x[:, :, :-1], x[:, :, 1:]
        step = self.forward[:, 0, 1].copy()
        information = np.ascontiguousarray(self.information.transpose(1, 2, 0))
        jerked = after[:3] - before[:3]
        jerked[0] -= step * before[1] + (0.5 * step**2) * before[2]
        jerked[1] -= step * before[2]
        force = np.empty_like(jerked)
        for i in range(3):
            one, two, three = information[i]
            force[i] = one * jerked[0] + two * jerked[1] + three * jerked[2]
        pull[:3, :, 1:] -= force
        pull[:3, :, :-1] += force
        pull[1, :, :-1] += step * force[0]
        pull[2, :, :-1] += step * force[1] + (0.5 * step**2) * force[0]
        fresh = after[3] - self.fade * before[3]
        strain = self.renewed * fresh
        pull[3, :, 1:] -= strain
        pull[3, :, :-1] += self.fade * strain
        pull[3, :, 0] -= self.first * x[3, :, 0]
        still = self.still[:, None, None] * x[1:3]
        pull[1:3] -= still
        squares = float(np.sum(jerked * force) + np.sum(fresh * strain) + np.sum(still * x[1:3]))
        squares += self.first * float(np.sum(x[3, :, 0] ** 2))
        return np.ascontiguousarray(pull.transpose(2, 0, 1)), squares


def _banded(diagonal: Floats, below: Floats) -> Floats:
    """Lay block-tridiagonal symmetric blocks out in LAPACK's lower banded form."""
    count = len(diagonal)
    band = np.zeros((_BAND, count * _STATES))
    for column in range(_STATES):
        for row in range(_STATES):
            if row >= column:
                band[row - column, column::_STATES] = diagonal[:, row, column]
            band[_STATES + row - column, column : (count - 1) * _STATES : _STATES] = below[
                :, row, column
            ]
    return band
