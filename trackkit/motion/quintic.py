"""The motion between two fixes: the quintic through position, velocity and acceleration at both.

With white jerk it is the most probable motion between two known states.  Position is a polynomial
of the share u of the time gone by, whose coefficients are weighted sums of the six values.
"""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats

_POSITION = np.array(
    [
        [1.0, 0.0, 0.0, -10.0, 15.0, -6.0],
        [0.0, 1.0, 0.0, -6.0, 8.0, -3.0],
        [0.0, 0.0, 0.5, -1.5, 1.5, -0.5],
        [0.0, 0.0, 0.0, 10.0, -15.0, 6.0],
        [0.0, 0.0, 0.0, -4.0, 7.0, -3.0],
        [0.0, 0.0, 0.0, 0.5, -1.0, 0.5],
    ]
)
"""Powers of u, 0 to 5, in the weights of position, velocity and acceleration before and after;
velocities count times the span, accelerations times its square."""
_VELOCITY = _POSITION[:, 1:] * np.arange(1.0, 6.0)
_ACCELERATION = _VELOCITY[:, 1:] * np.arange(1.0, 5.0)


def quintic(share: Floats, span_s: Floats) -> tuple[Floats, Floats]:
    """Weights of two states in the position and velocity between them.

    Parameters
    ----------
    share
        Of the span, 0 to 1, shape (k,).
    span_s
        Seconds, shape (k,).

    Returns
    -------
    position, velocity
        Shape (k, 6): weights of position, velocity and acceleration before and after.
    """
    power = np.vander(share, 6, increasing=True)
    units = _units(span_s)
    position = (power @ _POSITION.T) * units
    velocity = (power[:, :5] @ _VELOCITY.T) * units / span_s[:, None]
    return position, velocity


def motion_weights(share: Floats, span_s: Floats) -> Floats:
    """Weights of two states in the position, velocity and acceleration between them.

    Parameters
    ----------
    share
        Of the span, 0 to 1, shape (k,).
    span_s
        Seconds, shape (k,).

    Returns
    -------
    ndarray
        Shape (k, 3, 6): of position, velocity and acceleration, the weights of the same before and
        after.
    """
    position, velocity = quintic(share, span_s)
    power = np.vander(share, 4, increasing=True)
    acceleration = (power @ _ACCELERATION.T) * _units(span_s) / span_s[:, None] ** 2
    return np.stack([position, velocity, acceleration], axis=1)


def jerk_covariance(jerk: float, share: Floats, span_s: Floats) -> Floats:
    """Covariance of the motion on one axis that white jerk adds between two known states.

    Between the two it is a bridge: what the jerk does up to there, less what the state at the end
    tells of it (the conditional covariance of jointly normal numbers).

    Parameters
    ----------
    jerk
        Its density, m^2/s^5.
    share
        Of the time between the two, 0 to 1, shape (k,).
    span_s
        That time, seconds, shape (k,).

    Returns
    -------
    ndarray
        Of position, velocity and acceleration, shape (k, 3, 3).
    """
    grown, at_end = _grown(share), _grown(np.ones(1))[0]
    left = 1.0 - share
    onward = np.zeros((len(share), 3, 3))
    onward[:, [0, 1, 2], [0, 1, 2]] = 1.0
    onward[:, 0, 1] = onward[:, 1, 2] = left
    onward[:, 0, 2] = 0.5 * left**2
    shared = grown @ onward.transpose(0, 2, 1)
    bridge = grown - shared @ np.linalg.inv(at_end) @ shared.transpose(0, 2, 1)
    unit = span_s[:, None] ** np.array([2.0, 1.0, 0.0])
    return np.asarray(jerk * span_s[:, None, None] * unit[:, :, None] * unit[:, None] * bridge)


def _grown(time: Floats) -> Floats:
    """Covariance of position, velocity and acceleration after some time of white jerk."""
    covariance = np.empty((len(time), 3, 3))
    factor = np.array([[1 / 20, 1 / 8, 1 / 6], [1 / 8, 1 / 3, 1 / 2], [1 / 6, 1 / 2, 1.0]])
    power = np.array([[5, 4, 3], [4, 3, 2], [3, 2, 1]])
    covariance[:] = factor * time[:, None, None] ** power
    return covariance


def coefficients(states: Floats, span_s: Floats) -> Floats:
    """Coefficients of the position between two states, on one axis, by powers of the share.

    Parameters
    ----------
    states
        Position, velocity and acceleration before and after, shape (k, 6).
    span_s
        Seconds, shape (k,).

    Returns
    -------
    ndarray
        Shape (k, 6), of the powers 0 to 5.
    """
    return np.asarray((states * _units(span_s)) @ _POSITION)


def jerk_variance(jerk: float, share: Floats, span_s: Floats) -> Floats:
    """Variance of the position on one axis that white jerk adds between two states, m^2.

    Parameters
    ----------
    jerk
        Its density, m^2/s^5.
    share
        Of the span, 0 to 1, shape (k,).
    span_s
        Seconds, shape (k,).

    Returns
    -------
    ndarray
        Shape (k,).
    """
    return np.asarray(jerk * span_s**5 * (share * (1.0 - share)) ** 5 / 20.0)


def _units(span_s: Floats) -> Floats:
    return np.tile(np.vander(span_s, 3, increasing=True), 2)
