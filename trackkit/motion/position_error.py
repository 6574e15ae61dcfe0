"""How far a smoothed position is from the truth, and for how long it stays so."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.gauss_markov import covariance
from trackkit.motion.noise import USUAL, Levels

if TYPE_CHECKING:
    from trackkit.motion.drive import Drive

ASSUMED_INTERVAL_S = 0.1
ASSUMED_SESSION_S = 900.0
LONGEST_SESSION_S = 7200.0
"""Sessions longer than this count as this long: what more time adds is left out."""
_KNOTS = 240
_SLOW = 200
_DOUBLINGS = 20
_PLACES = 8


@dataclass(frozen=True)
class Receiver:
    """What is known or assumed of a receiver and of how long it recorded.

    The defaults are the usual receiver at 10 Hz with Doppler velocities, in a session of a quarter
    of an hour.
    """

    levels: Levels = USUAL
    interval_s: float = ASSUMED_INTERVAL_S
    doppler: bool = True
    session_s: float = ASSUMED_SESSION_S

    @classmethod
    def of(cls, drive: Drive) -> Receiver:
        """Take a receiver to be what a smoothed drive was found to be made by."""
        return cls(
            drive.levels,
            drive.recording.interval_s,
            drive.has_doppler,
            max(drive.recording.duration_s, 10.0),
        )


@dataclass(frozen=True, eq=False)
class PositionError:
    """Covariance of the error of a smoothed position, on one axis, by the time between two.

    Parameters
    ----------
    lag_s
        Rising from 0, shape (k,).
    covariance_m2
        Shape (k,): of two positions so far apart in time.
    fast_m2
        Variance of what is gone again before the first lag.
    """

    lag_s: Floats
    covariance_m2: Floats
    fast_m2: float

    @property
    def sigma_m(self) -> float:
        """One sigma of one position, metres."""
        return float(np.sqrt(self.covariance_m2[0] + self.fast_m2))

    def covariance(self, lag_s: Floats | float) -> Floats:
        """Covariance of two positions, m^2, by the time between them; 0 s gives the variance."""
        lag = np.abs(np.asarray(lag_s, dtype=float))
        slow = np.interp(lag, self.lag_s, self.covariance_m2)
        return np.asarray(slow + np.where(lag == 0, self.fast_m2, 0.0))


@lru_cache(maxsize=32)
def position_error(receiver: Receiver) -> PositionError:
    """Work out how well the smoother knows positions under its own noise model.

    Slowly: positions at evenly spaced knots, tied to each other by integrated Doppler velocities
    (a random walk), and to the ground by fixes with the receiver's wander; the inverse of their
    information matrix is averaged over the session by lag.  Fast: what a smoother of fixes leaves
    (`between_fixes`), less what of it is so slow that the knots hold it, by the error spectrum
    1 / (w^6 / jerk + w^2 / doppler + 1 / white) (stationary Wiener smoothing; Brown & Hwang,
    Introduction to Random Signals and Applied Kalman Filtering; from memory).

    Parameters
    ----------
    receiver
        Its noise levels, rate and session.  What was worked out for one is kept, as all gates and
        all tracks without recordings ask for the usual one.
    """
    levels, interval = receiver.levels, receiver.interval_s
    session = min(receiver.session_s, LONGEST_SESSION_S)
    count = int(np.clip(session / interval, 8, _KNOTS))
    step = session / count
    time = step * np.arange(count)
    lag = time[:, None] - time[None, :]
    wander = levels.wander_m**2 * covariance(lag, levels.wander_time_s)
    wander += max(1e-9, 1e-6 * levels.wander_m**2) * np.eye(count)
    noise = _walked_by_noise(levels, interval)
    speed = noise / interval if receiver.doppler else None
    walk = walked_m2ps(levels, interval)
    information = np.linalg.inv(wander)
    if receiver.doppler:
        tie = np.eye(count)[1:] - np.eye(count)[:-1]
        information = information + tie.T @ tie / (walk * step)
    error = np.linalg.inv(information)
    by_lag = np.array([np.diagonal(error, steps).mean() for steps in range(count)], dtype=float)

    white = interval * levels.white_m**2
    frequency = np.linspace(0.0, np.pi / step, _SLOW)
    tied = frequency**6 / levels.jerk + 1.0 / white
    if receiver.doppler:
        tied = tied + frequency**2 / walk
    height = 0.5 * (1.0 / tied[1:] + 1.0 / tied[:-1])
    held = float(height @ np.diff(frequency) / np.pi)
    fast = max(between_fixes(interval, levels.jerk, levels.white_m**2, speed) - held, 0.0)
    return PositionError(np.asarray(time, dtype=np.float64), by_lag, fast)


def walked_m2ps(levels: Levels, interval_s: float) -> float:
    """Variance that errors of velocities, added up, grow by each second, on one axis, m^2/s.

    What speeds do between two fixes adds to their noise: what they sum up to is that of their
    spectrum, jerk / w^4, folded onto frequency 0, 2 zeta(4) (interval / 2 pi)^4 of it.

    Parameters
    ----------
    levels, interval_s
        Of the receiver, and the seconds from fix to fix.
    """
    return _walked_by_noise(levels, interval_s) + levels.jerk * interval_s**4 / 720.0


def _walked_by_noise(levels: Levels, interval_s: float) -> float:
    slow = levels.slow_doppler_time_s * levels.slow_doppler_mps**2
    return interval_s * levels.doppler_mps**2 + 2.0 * slow


def between_fixes(
    interval_s: float, jerk: float, position_m2: float, speed_m2s2: float | None
) -> float:
    """Variance that a smoother leaves of a position, averaged from one fix to the next, m^2.

    Truth moves with white jerk; fixes have white errors and no wander.  Where fixes are sparse,
    most of it is what the vehicle may have done between two of them.  A place there is known from
    the fixes before it and, independently, from those after it, which say as much seen backward in
    time (a two-filter smoother; Fraser & Potter, 1969; from memory).  What all fixes before one say
    of it solves a Riccati equation, here by doubling (Chu, Fan, Lin & Wang, 2004; from memory).

    Parameters
    ----------
    interval_s
        Between fixes, seconds.
    jerk
        Spectral density of white jerk, m^2/s^5.
    position_m2, speed_m2s2
        Variances of the fixes' positions and speeds; None without speeds.
    """
    # Time counts in intervals: place, change of place and change of that have like sizes.
    grown = jerk * interval_s**5
    seen = np.diag(
        [
            1.0 / position_m2,
            0.0 if speed_m2s2 is None else 1.0 / (speed_m2s2 * interval_s**2),
            0.0,
        ]
    )
    step, covariance = _ahead(1.0)[0].T, grown * _ahead(1.0)[1]
    weight = seen
    for _ in range(_DOUBLINGS):
        middle = np.linalg.inv(np.eye(3) + weight @ covariance)
        weight, covariance, step = (
            weight + step @ middle @ weight @ step.T,
            covariance + step.T @ covariance @ middle @ step,
            step @ middle @ step,
        )
    fixed = np.linalg.solve(np.eye(3) + covariance @ seen, covariance)
    backward = np.diag([1.0, -1.0, 1.0])
    left = []
    for share in (np.arange(_PLACES) + 0.5) / _PLACES:
        (ahead, more), (back, most) = _ahead(share), _ahead(1.0 - share)
        before = ahead @ fixed @ ahead.T + grown * more
        after = backward @ (back @ fixed @ back.T + grown * most) @ backward
        left.append((before - before @ np.linalg.solve(before + after, before))[0, 0])
    return float(np.mean(left))


def _ahead(share: float) -> tuple[Floats, Floats]:
    """How place, speed and acceleration go on for a share of a step, and what white jerk adds."""
    u = share
    move = np.array([[1.0, u, 0.5 * u * u], [0.0, 1.0, u], [0.0, 0.0, 1.0]])
    added = np.array(
        [
            [u**5 / 20.0, u**4 / 8.0, u**3 / 6.0],
            [u**4 / 8.0, u**3 / 3.0, u**2 / 2.0],
            [u**3 / 6.0, u**2 / 2.0, u],
        ]
    )
    return move, added
