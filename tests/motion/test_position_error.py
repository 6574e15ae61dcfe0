"""How far a smoothed position is from the truth, against closed forms."""

import numpy as np
import pytest
from ellipse import PLANE, TEN_HERTZ, received
from scipy.integrate import quad

from trackkit.motion.noise import Levels
from trackkit.motion.position_error import Receiver, between_fixes, position_error
from trackkit.motion.smooth import smooth


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


@pytest.mark.parametrize("doppler", [True, False])
def test_what_is_gone_at_once_is_the_spectrum_beyond_what_the_knots_hold(doppler):
    """The spectrum 1 / (w^6 / jerk + w^2 / doppler + 1 / white), integrated by scipy.

    It is that of fixes without end, which a hundred a second come near to.
    """
    levels = Levels(jerk=50.0, white_m=0.3)
    error = position_error(Receiver(levels, 0.01, doppler=doppler, session_s=480.0))

    def spectrum(frequency):
        tied = frequency**6 / levels.jerk + 1.0 / (0.01 * levels.white_m**2)
        return 1.0 / (tied + (frequency**2 / (0.01 * levels.doppler_mps**2) if doppler else 0.0))

    # 240 knots two seconds apart hold frequencies up to pi / 2 s; both signs count.
    expected = quad(spectrum, np.pi / 2.0, np.inf)[0] / np.pi
    assert error.fast_m2 == pytest.approx(expected, rel=0.01)
    assert error.sigma_m**2 == pytest.approx(error.covariance(0.0), rel=1e-12)
    assert error.covariance(1e-9) == pytest.approx(error.covariance(0.0) - error.fast_m2)


def test_covariance_is_the_same_forwards_and_backwards_in_time():
    error = position_error(Receiver())

    assert error.covariance(-30.0) == error.covariance(30.0)
    assert error.covariance(30.0) < error.covariance(0.0)


def test_correlated_doppler_noise_lets_positions_walk_farther():
    # Fixes so poor that velocities alone tie the positions of a session to each other.
    white, filtered = (
        position_error(
            Receiver(
                Levels(wander_m=300.0, slow_doppler_mps=slow_mps, slow_doppler_time_s=1.5),
                session_s=12.0,
            )
        )
        for slow_mps in (0.0, 0.05)
    )

    def walked_m2(error):
        return 2.0 * (error.covariance(1e-9) - error.covariance(5.0))

    # In a time t, white noise of velocities walks sigma^2 dt t, and noise of the time constant T
    # 2 sigma^2 T t (Papoulis; from memory).
    assert walked_m2(white) == pytest.approx(0.05**2 * 0.1 * 5.0, rel=0.2)
    assert walked_m2(filtered) == pytest.approx(0.05**2 * 3.1 * 5.0, rel=0.2)


def test_a_drive_tells_its_receiver():
    time = TEN_HERTZ[:30]
    receiver = Receiver.of(smooth(received(time, 1), PLANE, Levels(wander_m=2.0)))

    assert (receiver.levels.wander_m, receiver.doppler) == (2.0, True)
    assert receiver.interval_s == pytest.approx(0.1)
    # A session of three seconds says no more than one of ten.
    assert receiver.session_s == 10.0


@pytest.mark.slow
@pytest.mark.parametrize("doppler", [True, False], ids=["with Doppler", "positions alone"])
@pytest.mark.parametrize("interval_s", [0.2, 1.0])
def test_places_between_sparse_fixes_are_as_uncertain_as_least_squares_has_them(
    interval_s, doppler
):
    # Independently: 120 fixes in one least-squares problem, with three places between
    # each two of them; no wander, so that only what is fast is left but for what knots hold.
    jerk, white_m, doppler_mps, between = 20.0, 0.15, 0.05, 4
    count = 120 * between
    t = interval_s / between
    move = np.array([[1.0, t, t * t / 2], [0.0, 1.0, t], [0.0, 0.0, 1.0]])
    power = np.array([[20.0, 8.0, 6.0], [8.0, 3.0, 2.0], [6.0, 2.0, 1.0]])
    grown = jerk * t ** np.array([[5, 4, 3], [4, 3, 2], [3, 2, 1]]) / power
    weight = np.linalg.inv(grown)
    information = np.zeros((3 * count, 3 * count))
    seen = np.diag([1.0 / white_m**2, 1.0 / doppler_mps**2 if doppler else 0.0, 0.0])
    for n in range(count):
        here, there = slice(3 * n, 3 * n + 3), slice(3 * n + 3, 3 * n + 6)
        if n % between == 0:
            information[here, here] += seen
        if n + 1 < count:
            information[here, here] += move.T @ weight @ move
            information[here, there] -= move.T @ weight
            information[there, here] -= weight @ move
            information[there, there] += weight
    least_squares = np.diagonal(np.linalg.inv(information))[::3]
    middle = count // 2 - count // 2 % between
    step = least_squares[middle : middle + between + 1]
    wanted = 0.5 * np.mean(step[1:] + step[:-1])  # by the trapezoid's rule

    speed_m2s2 = doppler_mps**2 if doppler else None
    found = between_fixes(interval_s, jerk, white_m**2, speed_m2s2)

    assert found == pytest.approx(wanted, rel=0.03)
