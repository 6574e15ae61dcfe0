"""How far a smoothed position is from the truth, against closed forms."""

import numpy as np
import pytest

from trackkit.motion.noise import Levels
from trackkit.motion.position_error import Receiver, position_error


def test_without_doppler_a_position_is_as_wrong_as_the_receiver_wanders():
    error = position_error(Receiver(Levels(wander_m=1.3), 0.1, doppler=False))

    assert error.sigma_m == pytest.approx(1.3, rel=0.01)
    # First-order Gauss-Markov: the covariance falls as exp(-lag / time constant).
    assert error.covariance(60.0) == pytest.approx(1.3**2 * np.exp(-0.5), rel=0.01)


def test_with_doppler_a_long_session_reaches_the_stationary_wiener_smoother():
    """The error spectrum 1 / (w^2 / q + (1 + w^2 tau^2) / (2 sigma^2 tau)) integrates by hand."""
    levels = Levels(doppler_mps=0.5)  # so noisy that it is forgotten within minutes
    error = position_error(Receiver(levels, 0.1, session_s=7_000.0))

    q = 0.1 * levels.doppler_mps**2
    tau, sigma = levels.wander_time_s, levels.wander_m
    flat, steep = 1 / (2 * sigma**2 * tau), 1 / q + tau / (2 * sigma**2)
    assert error.sigma_m**2 == pytest.approx(0.5 / np.sqrt(flat * steep), rel=0.06)


def test_a_short_session_knows_its_place_no_better_than_the_wander():
    error = position_error(Receiver(session_s=30.0))

    # Best linear estimate of a constant in a Gauss-Markov process: 2 / (2 + T / tau) of its
    # variance (Grenander; from memory).
    assert error.sigma_m**2 == pytest.approx(2 / (2 + 30.0 / 120.0), rel=0.02)


def test_two_positions_close_in_time_err_alike():
    error = position_error(Receiver())

    apart = np.array([1.0, 10.0, 50.0, 200.0])
    spread = error.covariance(0.0) - error.covariance(apart)
    assert np.all(np.diff(spread) > 0)
    # Doppler noise of 0.05 m/s at 10 Hz walks sqrt(0.1 * 10) * 0.05 = 0.05 m in 10 s.
    assert np.sqrt(2 * spread[1]) == pytest.approx(0.05, rel=0.15)
