"""The Cramer-Rao bound of a model of all laps together whose levels are given.

The model is linear about the true drive, with Gaussian unknowns:

- how late the vehicle is, T, at each place of each lap: dT/ds = (p + c) / v, where c is a relative
  slowness that all laps of the recording share (0.2 at each place, 1/e correlated over 40 m) and p
  one that varies from lap to lap (0.012, a Matern process of order 7/2 over 150 m);
- how far left of the track file's line it is, r + d: r shared by all laps (1 m, over 90 m, and
  the file's line itself off by what it is off), d varying from lap to lap (Matern 7/2 with the
  session's own level and reach);
- the receiver's wander east and north, first-order Gauss-Markov.

Velocities do not tell a shift of everything, which is T = -e ahead / v and r = e left of a vector
e.  Knots cannot follow that exactly, and would tell it: so e is an unknown of its own, and T and r
are told from where it leaves them.

A position is measured as e, -v T ahead, r + d to the left, plus wander and white noise; a velocity,
if any, as the derivative of the first two plus white noise. All fixes of the recording count. The
bound is the covariance of T under all of them: a Kalman filter over the fixes in order of time,
with r and c at knots every 10 m among its states, and each T of interest kept as a state from there
on.  Of more than four fixes a second every so many count as a better fix in their middle (positions
at 10 Hz: 0.1 % more in what was tried). Brown & Hwang, Introduction to Random Signals and Applied
Kalman Filtering, for the filter; from memory. Gates and lines square to the track are taken to be
square to the drive. Two recordings are taken each for itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from joint_sessions import MATERN_POLES, MATERN_REACH, REPEATED_M, Case, Driven, Session
from scipy.linalg import expm, solve_continuous_lyapunov

_KNOT_M = 10.0
_SLOWEST_MPS = 5.0
_MOST_HZ = 4.0
_LATE_S = 1.0
_SLOWNESS, _SLOWNESS_OVER_M = 0.2, 40.0
_PACE, _PACE_OVER_M = 0.012, 150.0
_LINE_OVER_M = 90.0
_OFF_CONSTANT = 0.8
_POLES = MATERN_POLES
_LATE, _PACES, _ASIDE = 0, slice(1, 1 + _POLES), slice(1 + _POLES, 1 + 2 * _POLES)
_WANDER = slice(1 + 2 * _POLES, 3 + 2 * _POLES)
_SHIFT = slice(3 + 2 * _POLES, 5 + 2 * _POLES)
_OWN = 5 + 2 * _POLES
_SHIFT_M = 5.0
"""One sigma of a shift of everything, beforehand: far more than any that there is."""


@dataclass(frozen=True, eq=False)
class Matern:
    """A Matern process of order 7/2 and unit variance as a linear system over distance."""

    system: np.ndarray
    stationary: np.ndarray

    @classmethod
    def over(cls, reach_m: float) -> Matern:
        """Lay out the process that is as far as 1/e correlated over a distance."""
        rate = MATERN_REACH / reach_m
        system = np.diag(np.ones(_POLES - 1), 1)
        system[-1] = [-(rate ** (_POLES - k)) * weight for k, weight in enumerate((1, 4, 6, 4))]
        noise = np.zeros((_POLES, _POLES))
        noise[-1, -1] = -1.0
        stationary = solve_continuous_lyapunov(system, noise)
        return cls(system, stationary / stationary[0, 0])

    def step(self, way_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Transition over a distance, and covariance of what is new."""
        onward = expm(self.system * way_m)
        return onward, self.stationary - onward @ self.stationary @ onward.T


def late_covariance(made: Session, driven: Driven, wanted_s: np.ndarray) -> np.ndarray:
    """Bound on the covariance of how late the vehicle is at some true times, s^2.

    Parameters
    ----------
    wanted_s
        Increasing, shape (k,).

    Returns
    -------
    ndarray
        Shape (k, k).
    """
    case, length = made.case, made.ground.curve.length_m
    knots = int(np.ceil(length / _KNOT_M))
    merged = max(1, int(case.rate_hz / _MOST_HZ))
    time, is_fix, is_wanted = _nodes(driven, wanted_s, merged)
    chainage = driven.run.chainage(time)
    velocity, force = driven.run.path(time, 1), driven.run.path(time, 2)
    speed = np.linalg.norm(velocity, axis=1)
    ahead = velocity / speed[:, None]
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    turning = np.einsum("ij,ij->i", force, left) / speed
    braking = np.einsum("ij,ij->i", force, ahead)
    pace, aside = Matern.over(_PACE_OVER_M), Matern.over(driven.line.deviation_over_m)
    spread = driven.line.deviation_m
    size = _OWN + 2 * knots + len(wanted_s)
    line, slow = slice(_OWN, _OWN + knots), slice(_OWN + knots, _OWN + 2 * knots)
    covariance = np.zeros((size, size))
    covariance[_LATE, _LATE] = _LATE_S**2
    covariance[_PACES, _PACES] = _PACE**2 * pace.stationary
    covariance[_ASIDE, _ASIDE] = spread**2 * aside.stationary
    covariance[_WANDER, _WANDER] = case.wander_m**2 * np.eye(2)
    covariance[_SHIFT, _SHIFT] = _SHIFT_M**2 * np.eye(2)
    aside_of = made.ground.curve.left(np.arange(knots) * (length / knots))
    covariance[line, line] = _line_prior(made, knots) + _SHIFT_M**2 * aside_of @ aside_of.T
    covariance[line, _SHIFT] = -(_SHIFT_M**2) * aside_of
    covariance[_SHIFT, line] = covariance[line, _SHIFT].T
    covariance[slow, slow] = _SLOWNESS**2 * _smooth(knots, length, _SLOWNESS_OVER_M)
    used = _OWN + 2 * knots
    for k in range(len(time)):
        if k:
            way, gone = float(chainage[k] - chainage[k - 1]), float(time[k] - time[k - 1])
            middle = 0.5 * (chainage[k] + chainage[k - 1]) % length
            _go_on(
                covariance[:used, :used],
                way,
                gone,
                case,
                (pace, aside),
                spread,
                _hat(middle, length, knots, slow.start),
            )
        if is_wanted[k]:
            late = covariance[_LATE, :used] - ahead[k] @ covariance[_SHIFT, :used] / speed[k]
            covariance[used, :used] = covariance[:used, used] = late
            covariance[used, used] = late[_LATE] - late[_SHIFT] @ ahead[k] / speed[k]
            used += 1
        if not is_fix[k]:
            continue
        motion = Motion(speed[k], ahead[k], left[k], turning[k], braking[k])
        hat = _hat(chainage[k] % length, length, knots, _OWN)
        place, value, noise = _observed(case, motion, hat, knots)
        _observe(covariance[:used, :used], place, value, noise / merged)
    return covariance[_OWN + 2 * knots :, _OWN + 2 * knots :]


def _nodes(
    driven: Driven, wanted_s: np.ndarray, merged: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times at which something happens, no more than `_KNOT_M` apart, and what."""
    fixes = driven.recording.time_s[merged // 2 :: merged]
    fixes = fixes[np.linalg.norm(driven.run.path(fixes, 1), axis=1) > _SLOWEST_MPS]
    way = driven.run.chainage(fixes)
    between = [
        np.linspace(a, b, int(np.ceil(apart / _KNOT_M)) + 1)[1:-1]
        for a, b, apart in zip(fixes[:-1], fixes[1:], np.diff(way), strict=True)
        if apart > _KNOT_M
    ]
    time = np.concatenate([fixes, wanted_s, *between])
    kind = np.repeat([0, 1, 2], [len(fixes), len(wanted_s), sum(map(len, between))])
    order = np.argsort(time, kind="stable")
    return time[order], kind[order] == 0, kind[order] == 1


def _smooth(knots: int, length_m: float, over_m: float) -> np.ndarray:
    """Correlation of a smooth periodic course at its knots."""
    apart = np.arange(knots) * (length_m / knots)
    apart = np.minimum(apart, length_m - apart)
    # Round a circle such a course is none where it reaches far: some of its spectrum is negative.
    spectrum = np.maximum(np.fft.rfft(np.exp(-((apart / over_m) ** 2))).real, 0.0)
    share = np.fft.irfft(spectrum, knots)
    share /= share[0]
    index = np.abs(np.subtract.outer(np.arange(knots), np.arange(knots)))
    return share[index] + 1e-6 * np.eye(knots)


def _line_prior(made: Session, knots: int) -> np.ndarray:
    curve, off = made.ground.curve, made.case.off_m
    left = curve.left(np.arange(knots) * (curve.length_m / knots))
    same_way = left @ left.T
    changing = _smooth(knots, curve.length_m, 0.2 * curve.length_m)
    shifted = off**2 * same_way * (_OFF_CONSTANT + (1.0 - _OFF_CONSTANT) * changing)
    return REPEATED_M**2 * _smooth(knots, curve.length_m, _LINE_OVER_M) + shifted


def _hat(
    chainage_m: float, length_m: float, knots: int, first: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """States of the two knots around a place, their weights, and the slopes of those."""
    step = length_m / knots
    before = int(chainage_m // step) % knots
    share = (chainage_m / step) % 1.0
    place = first + np.array([before, (before + 1) % knots])
    return place, np.array([1.0 - share, share]), np.array([-1.0, 1.0]) / step


def _go_on(
    covariance: np.ndarray,
    way_m: float,
    gone_s: float,
    case: Case,
    processes: tuple[Matern, Matern],
    spread_m: float,
    slowness: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    """Carry the states of the vehicle and the receiver on to the next node."""
    onward, fresh = np.eye(_OWN), np.zeros((_OWN, _OWN))
    (pace, pace_new), (aside, aside_new) = (process.step(way_m) for process in processes)
    onward[_PACES, _PACES], fresh[_PACES, _PACES] = pace, _PACE**2 * pace_new
    onward[_ASIDE, _ASIDE], fresh[_ASIDE, _ASIDE] = aside, spread_m**2 * aside_new
    # The mean of the relative slowness over the step, to the third order.
    onward[_LATE, _PACES] = gone_s * np.array([1.0, way_m / 2, way_m**2 / 6, way_m**3 / 24])
    kept = np.exp(-gone_s / case.wander_s)
    onward[_WANDER, _WANDER] *= kept
    fresh[_WANDER, _WANDER] = case.wander_m**2 * (1.0 - kept**2) * np.eye(2)
    rows = onward @ covariance[:_OWN]
    place, weight, _ = slowness
    rows[_LATE] += gone_s * weight @ covariance[place]
    mixed = rows[:, :_OWN] @ onward.T
    mixed[:, _LATE] += gone_s * rows[:, place] @ weight
    covariance[:_OWN] = rows
    covariance[:, :_OWN] = rows.T
    covariance[:_OWN, :_OWN] = 0.5 * (mixed + mixed.T) + fresh


@dataclass(frozen=True, eq=False)
class Motion:
    """The true motion at a fix: speed, directions, and acceleration to the left and ahead."""

    speed: float
    ahead: np.ndarray
    left: np.ndarray
    turning: float
    braking: float


def _observed(
    case: Case, motion: Motion, hat: tuple[np.ndarray, np.ndarray, np.ndarray], knots: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What a fix measures: the states it depends on, how, and the variance of its noise."""
    line, share, slope = hat
    speed, ahead, left, turning = motion.speed, motion.ahead, motion.left, motion.turning
    slow = line + knots
    own = [_LATE, _PACES.start, _ASIDE.start, _ASIDE.start + 1]
    own += [*range(_WANDER.start, _WANDER.stop), *range(_SHIFT.start, _SHIFT.stop)]
    place = np.concatenate([own, line, slow])
    value = np.zeros((4 if case.doppler else 2, len(place)))
    position = value[:2]
    position[:, 0] = -speed * ahead
    position[:, 2] = left
    position[:, 4:6] = np.eye(2)
    position[:, 6:8] = np.eye(2)
    position[:, 8:10] = np.outer(left, share)
    noise = np.full(len(value), case.white_m**2)
    if case.doppler:
        value[2:, 0] = -motion.braking * ahead - turning * speed * left
        value[2:, 1] = -speed * ahead
        value[2:, 2] = -turning * ahead
        value[2:, 3] = speed * left
        value[2:, 8:10] = np.outer(-turning * ahead, share) + np.outer(speed * left, slope)
        value[2:, 10:12] = np.outer(-speed * ahead, share)
        noise[2:] = case.doppler_mps**2
    return place, value, noise


def _observe(
    covariance: np.ndarray, place: np.ndarray, value: np.ndarray, noise: np.ndarray
) -> None:
    with_states = covariance[:, place] @ value.T
    own = value @ with_states[place] + np.diag(noise)
    root = np.linalg.cholesky(own)
    gained = np.linalg.solve(root, with_states.T)
    covariance -= gained.T @ gained


def bound_squares(made: Session, every: int = 0) -> dict[str, float]:
    """Sum up the bounds of a session: variances of lap times and of sector times, s^2.

    Parameters
    ----------
    every
        If more than 0: into how many parts each lap is cut, for the mean variance of the time
        difference of laps of two recordings over the lap, as "difference".
    """
    squares = {"lap": 0.0, "sector": 0.0, "difference": 0.0}
    for driven in made.driven:
        gates = np.append(driven.crossed_s[:, :-1].ravel(), driven.crossed_s[-1, -1])
        times, per_lap = gates, driven.crossed_s.shape[1] - 1
        if every:
            times = np.interp(
                np.arange(len(driven.crossed_s) * every + 1) / every,
                np.arange(len(driven.crossed_s) + 1),
                gates[::per_lap],
            )
        covariance = late_covariance(made, driven, times)
        if every:
            for lap in range(len(driven.crossed_s)):
                inside = lap * every + np.arange(every + 1)
                part = covariance[np.ix_(inside, inside)]
                elapsed = np.diag(part) - 2.0 * part[:, 0] + part[0, 0]
                squares["difference"] += float(elapsed[1:].mean())
            continue
        for first, last, name in (
            (0, per_lap, "lap"),
            *((n, n + 1, "sector") for n in range(per_lap)),
        ):
            begin = np.arange(len(driven.crossed_s)) * per_lap + first
            end = begin + last - first
            variance = covariance[begin, begin] + covariance[end, end] - 2 * covariance[begin, end]
            squares[name] += float(variance.sum())
    return squares
