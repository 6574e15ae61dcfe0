"""How far a smoothed position is from the truth, and for how long it stays so."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.motion.gauss_markov import covariance
from trackkit.motion.noise import USUAL, Levels

ASSUMED_INTERVAL_S = 0.1
ASSUMED_SESSION_S = 900.0
LONGEST_SESSION_S = 7200.0
"""Sessions longer than this count as this long: what more time adds is left out."""
_KNOTS = 240
_FAST = 400


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
    information matrix is averaged over the session by lag.  Fast: the error spectrum of a
    smoother, 1 / (w^6 / jerk + w^2 / doppler + 1 / white), beyond what the knots can hold
    (stationary Wiener smoothing; Brown & Hwang, Introduction to Random Signals and Applied Kalman
    Filtering; from memory).

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
    walk = (
        interval * levels.doppler_mps**2
        + 2.0 * levels.slow_doppler_time_s * levels.slow_doppler_mps**2
    )
    information = np.linalg.inv(wander)
    if receiver.doppler:
        tie = np.eye(count)[1:] - np.eye(count)[:-1]
        information = information + tie.T @ tie / (walk * step)
    error = np.linalg.inv(information)
    by_lag = np.array([np.diagonal(error, steps).mean() for steps in range(count)], dtype=float)

    white = interval * levels.white_m**2
    frequency = np.geomspace(np.pi / step, 1e3 * np.pi / interval, _FAST)
    tied = frequency**6 / levels.jerk + 1.0 / white
    if receiver.doppler:
        tied = tied + frequency**2 / walk
    height = 0.5 * (1.0 / tied[1:] + 1.0 / tied[:-1])
    fast = float(height @ np.diff(frequency) / np.pi)
    return PositionError(np.asarray(time, dtype=np.float64), by_lag, fast)
