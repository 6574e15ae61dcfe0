"""First-order Gauss-Markov processes, which a receiver's slow errors are taken to be.

Such a process is stationary, and what two of its values share falls off exponentially with the
time between them (Brown & Hwang, Introduction to Random Signals and Applied Kalman Filtering; from
memory).  All functions are about a process of unit variance: one of sigma s has s times the values
and s squared times the variances.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats

_INSTANTS = np.linspace(0.0, 1.0, 9)
_SHORT = 1e-6


def transition(step_s: ArrayLike, time_constant_s: float) -> tuple[Floats, Floats]:
    """How a value goes over into a later one; exact whatever the step.

    Parameters
    ----------
    step_s
        Time from one to the other, seconds, any shape.
    time_constant_s
        Of the process, seconds, above 0.

    Returns
    -------
    kept, fresh
        The factor on the earlier value, and the variance of what is added to it, which makes the
        variance whole again; both shaped like `step_s`.
    """
    step = np.asarray(step_s, dtype=float)
    kept = np.asarray(np.exp(-step / time_constant_s))
    return kept, np.asarray(-np.expm1(-2.0 * step / time_constant_s))


def covariance(lag_s: ArrayLike, time_constant_s: float) -> Floats:
    """Covariance of two values a time apart, shaped like `lag_s`.

    Parameters
    ----------
    lag_s
        Time between them, seconds, of either sign.
    time_constant_s
        Of the process, seconds, above 0.
    """
    return np.asarray(np.exp(-np.abs(np.asarray(lag_s, dtype=float)) / time_constant_s))


def variance_of_mean(duration_s: ArrayLike, time_constant_s: float) -> Floats:
    """Variance of the mean over a duration, shaped like `duration_s`.

    That is 2 (r - r^2 (1 - exp(-1 / r))) with r the time constant over the duration (Papoulis,
    Probability, Random Variables and Stochastic Processes; from memory).

    Parameters
    ----------
    duration_s
        Seconds; 0 for a single value.
    time_constant_s
        Of the process, seconds; 0 for white noise, whose mean over any time has no variance.
    """
    duration = np.asarray(duration_s, dtype=float)
    if time_constant_s <= 0:
        return np.where(duration > 0, 0.0, 1.0)
    ratio = time_constant_s / np.maximum(duration, _SHORT * time_constant_s)
    mean = 2.0 * (ratio + ratio**2 * np.expm1(-1.0 / ratio))
    # Of a single value, or nearly one, the two terms cancel.
    return np.where(duration > _SHORT * time_constant_s, mean, 1.0)


def covariance_of_neighbouring_means(duration_s: ArrayLike, time_constant_s: float) -> Floats:
    """Covariance of two means over equal durations, one following the other at once.

    Parameters
    ----------
    duration_s
        Of each, seconds, above 0, any shape.
    time_constant_s
        Of the process, seconds, above 0.

    Returns
    -------
    ndarray
        Shaped like `duration_s`.
    """
    ratio = time_constant_s / np.asarray(duration_s, dtype=float)
    return np.asarray((ratio * np.expm1(-1.0 / ratio)) ** 2)


def covariance_of_means(interval_s: ArrayLike, time_constant_s: float) -> Floats:
    """Covariance of the means over several intervals.

    Each mean is that of nine evenly spaced instants, the two ends among them; over up to five time
    constants its variance is at most 5 % less than that of the mean over all instants.

    Parameters
    ----------
    interval_s
        Beginning and end of each, seconds, shape (k, 2).
    time_constant_s
        Of the process, seconds, above 0.

    Returns
    -------
    ndarray
        Shape (k, k).
    """
    interval = np.asarray(interval_s, dtype=float)
    time = interval[:, :1] + _INSTANTS * (interval[:, 1:] - interval[:, :1])
    total = np.zeros((len(interval), len(interval)))
    # Instant by instant: the lags of all at once would take 81 times the memory.
    for earlier in time.T:
        for later in time.T:
            total += covariance(earlier[:, None] - later, time_constant_s)
    return total / len(_INSTANTS) ** 2


def variance_of_best_mean(duration_s: ArrayLike, time_constant_s: float) -> Floats:
    """Variance of the best linear estimate of what a process varies about, by how long it is seen.

    Parameters
    ----------
    duration_s
        For which it is seen, seconds, 0 or more, any shape.
    time_constant_s
        Of the process, seconds, above 0.

    Returns
    -------
    ndarray
        2 T / (D + 2 T) with T the time constant and D the duration, shaped like `duration_s`:
        less than that of the plain mean, since the first and the last value count for more.
    """
    twice = 2.0 * time_constant_s
    return np.asarray(twice / (np.asarray(duration_s, dtype=float) + twice))


def sample_path(
    time_s: ArrayLike, time_constant_s: float, generator: np.random.Generator
) -> Floats:
    """Draw a path of the process on two axes, which share nothing.

    Parameters
    ----------
    time_s
        At which values are wanted, seconds, shape (n,), rising, n at least 1.
    time_constant_s
        Of the process, seconds, above 0.
    generator
        Source of chance: one standard normal number a value, all of one instant together.

    Returns
    -------
    ndarray
        Shape (n, 2).
    """
    time = np.asarray(time_s, dtype=float)
    kept, fresh = transition(np.diff(time), time_constant_s)
    path = generator.standard_normal((len(time), 2))
    path[1:] *= np.sqrt(fresh)[:, None]
    columns = []
    # Plain numbers are summed far faster one by one than the elements of an array.
    for column in path.T.tolist():
        for i, share in enumerate(kept.tolist()):
            column[i + 1] += share * column[i]
        columns.append(column)
    return np.array(columns, dtype=float).T
