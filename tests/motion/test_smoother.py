"""The banded solution against the textbook smoother, written down again and by pykalman."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import DOPPLER_MPS, WANDER_M, WANDER_TIME_S, WHITE_M, laps
from pykalman import KalmanFilter
from scipy.linalg import LinAlgError
from scipy.stats import multivariate_normal

import trackkit.motion.factor
from trackkit.motion import smoother
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.smoother import LEAST_TRUST, solve
from trackkit.motion.variance import sum_variance


def kalman_and_rauch_tung_striebel(time, position, velocity, jerk, weight):
    """The textbook smoother (docs/methods.md) on one axis, forward and back.

    Brown & Hwang, Introduction to Random Signals and Applied Kalman Filtering; from memory.  The
    states are place, velocity, acceleration and the receiver's wander.
    """
    count = len(time)
    guess = np.array([position[0], 0.0, 0.0, 0.0])
    spread = np.diag([1e8, 1e8, 1e8, WANDER_M**2])
    kept = []
    for k in range(count):
        if k:
            h = time[k] - time[k - 1]
            motion = np.eye(4)
            motion[0, 1:3], motion[1, 2] = [h, h**2 / 2], h
            motion[3, 3] = np.exp(-h / WANDER_TIME_S)
            fresh = np.zeros((4, 4))
            fresh[:3, :3] = jerk * np.array(
                [
                    [h**5 / 20, h**4 / 8, h**3 / 6],
                    [h**4 / 8, h**3 / 3, h**2 / 2],
                    [h**3 / 6, h**2 / 2, h],
                ]
            )
            fresh[3, 3] = WANDER_M**2 * (1 - np.exp(-2 * h / WANDER_TIME_S))
            guess, spread = motion @ guess, motion @ spread @ motion.T + fresh
        else:
            motion = None
        before = guess, spread
        # Speed and acceleration of a vehicle are bounded, at the first fix: 1 km/s, 100 m/s^2.
        rows = [
            (np.array([1.0, 0, 0, 1.0]), position[k], WHITE_M**2 / weight[k]),
            (np.array([0, 1.0, 0, 0]), 0.0, 1e6),
            (np.array([0, 0, 1.0, 0]), 0.0, 1e4),
        ]
        if k:
            rows = rows[:1]
        if velocity is not None:
            rows.append((np.array([0, 1.0, 0, 0]), velocity[k], DOPPLER_MPS**2))
        for row, value, variance in rows:
            gain = spread @ row / (row @ spread @ row + variance)
            guess = guess + gain * (value - row @ guess)
            # Joseph's form keeps the covariance symmetric and positive.
            left = np.eye(4) - np.outer(gain, row)
            spread = left @ spread @ left.T + variance * np.outer(gain, gain)
        kept.append((motion, before, (guess, spread)))
    smooth_states = [kept[-1][2][0]]
    for k in range(count - 1, 0, -1):
        motion, (ahead_guess, ahead_spread), _ = kept[k]
        guess, spread = kept[k - 1][2]
        back = np.linalg.solve(ahead_spread, motion @ spread).T
        smooth_states.append(guess + back @ (smooth_states[-1] - ahead_guess))
    return np.array(smooth_states[::-1])


@pytest.mark.parametrize("jerk", [0.3, 3.0, 30.0])
@pytest.mark.parametrize("doppler", [True, False])
def test_the_drive_equals_a_rauch_tung_striebel_smoother(jerk, doppler):
    random = np.random.default_rng(12)
    time = np.cumsum(random.uniform(0.3, 1.5, 60))
    truth, rate = laps(time)
    position = truth + random.normal(0, 0.5, truth.shape)
    velocity = rate + random.normal(0, DOPPLER_MPS, rate.shape) if doppler else None
    weight = random.uniform(0.2, 1.0, 60)
    unknown = np.full((60, 2), np.nan)
    measured = Measured(
        time, position, unknown if velocity is None else velocity, np.ones(59, bool), np.ones(60)
    )
    state = solve(measured, Levels(jerk=jerk), weight).state
    expected = np.stack(
        [
            kalman_and_rauch_tung_striebel(
                time, position[:, axis], velocity[:, axis] if doppler else None, jerk, weight
            )
            for axis in (0, 1)
        ],
        axis=-1,
    )
    assert state[:, 0] == pytest.approx(expected[:, 0], abs=1e-6)
    assert state[:, 1] == pytest.approx(expected[:, 1], abs=1e-6)


@pytest.mark.parametrize("doppler", [True, False])
def test_means_and_covariances_are_those_of_pykalman(doppler):
    # An independent smoother from the registries on the same model, one axis.
    random = np.random.default_rng(21)
    time = np.cumsum(random.uniform(0.2, 1.5, 40))
    truth, rate = laps(time)
    position = truth + random.normal(0, 0.5, truth.shape)
    velocity = rate + random.normal(0, DOPPLER_MPS, rate.shape)
    levels = Levels(jerk=2.0)
    moves, shocks = [], []
    for h in np.diff(time):
        move = np.eye(4)
        move[0, 1], move[0, 2], move[1, 2] = h, h**2 / 2, h
        move[3, 3] = np.exp(-h / WANDER_TIME_S)
        shock = np.zeros((4, 4))
        shock[:3, :3] = levels.jerk * np.array(
            [
                [h**5 / 20, h**4 / 8, h**3 / 6],
                [h**4 / 8, h**3 / 3, h**2 / 2],
                [h**3 / 6, h**2 / 2, h],
            ]
        )
        shock[3, 3] = WANDER_M**2 * (1 - np.exp(-2 * h / WANDER_TIME_S))
        moves.append(move)
        shocks.append(shock)
    rows = np.array([[1.0, 0, 0, 1], [0, 1.0, 0, 0]])[: 2 if doppler else 1]
    # The first fix is taken in by hand, since pykalman loses digits on a vague beginning: with
    # place unknown, place and wander are known by their sum alone; speed and acceleration are
    # bounded by 1 km/s and 100 m/s^2.
    pace_variance = 1 / (1e-6 + (DOPPLER_MPS**-2 if doppler else 0.0))
    pace = pace_variance * DOPPLER_MPS**-2 * velocity[0, 0] if doppler else 0.0
    beginning = np.diag([WANDER_M**2 + WHITE_M**2, pace_variance, 1e4, WANDER_M**2])
    beginning[0, 3] = beginning[3, 0] = -(WANDER_M**2)
    seen = np.ma.asarray(np.column_stack([position[:, 0], velocity[:, 0]])[:, : len(rows)])
    seen[0] = np.ma.masked
    filtering = KalmanFilter(
        transition_matrices=np.array(moves),
        transition_covariance=np.array(shocks),
        observation_matrices=rows,
        observation_covariance=np.diag([WHITE_M**2, DOPPLER_MPS**2])[: len(rows), : len(rows)],
        initial_state_mean=[position[0, 0], pace, 0, 0],
        initial_state_covariance=beginning,
    )
    mean, covariance = filtering.smooth(seen)
    unknown = np.full_like(velocity, np.nan)
    measured = Measured(
        time, position, velocity if doppler else unknown, np.ones(39, bool), np.ones(40)
    )
    solution = solve(measured, levels, np.ones(40))
    assert solution.state[:, :, 0] == pytest.approx(mean, abs=1e-6)
    # Where speeds are unknown at first, pykalman's covariances lose digits (it does not keep them
    # positive by Joseph's form); the dense inverse above stands for those.
    for fix in (0, 13, 39) if doppler else ():
        for state in range(4):
            unit = np.zeros((1, 4, 2))
            unit[0, state, 0] = 1.0
            variance = sum_variance(solution, np.array([fix]), unit)
            assert variance == pytest.approx(covariance[fix, state, state], rel=1e-6, abs=1e-6)


def measured_covariance(time, levels, trust):
    """Covariance of measured positions and velocities on one axis, by the noise model itself."""
    count = len(time)
    spread = np.zeros((5, 5, count, count))
    own = np.diag([1e6, 1e6, 1e4, levels.wander_m**2, levels.slow_doppler_mps**2])
    for k in range(count):
        if k:
            h = time[k] - time[k - 1]
            motion = np.eye(5)
            motion[0, 1:3], motion[1, 2] = [h, h**2 / 2], h
            motion[3, 3] = np.exp(-h / levels.wander_time_s)
            motion[4, 4] = np.exp(-h / levels.slow_doppler_time_s)
            spread[:, :, k, :k] = np.einsum("ab,bck->ack", motion, spread[:, :, k - 1, :k])
            own = motion @ own @ motion.T
            own[:3, :3] += levels.jerk * np.array(
                [
                    [h**5 / 20, h**4 / 8, h**3 / 6],
                    [h**4 / 8, h**3 / 3, h**2 / 2],
                    [h**3 / 6, h**2 / 2, h],
                ]
            )
            own[3, 3] += levels.wander_m**2 * (1 - motion[3, 3] ** 2)
            own[4, 4] += levels.slow_doppler_mps**2 * (1 - motion[4, 4] ** 2)
            spread[:, :, :k, k] = spread[:, :, k, :k].transpose(1, 0, 2)
        spread[:, :, k, k] = own
    seen = np.array([[1.0, 0, 0, 1.0, 0], [0, 1.0, 0, 0, 1.0]])
    both = np.einsum("ia,abkl,jb->ikjl", seen, spread, seen).reshape(2 * count, 2 * count)
    white = np.concatenate([levels.white_m**2 / trust, np.full(count, levels.doppler_mps**2)])
    return both + np.diag(white)


@pytest.mark.parametrize(
    "other",
    [
        Levels(jerk=8.0),
        Levels(white_m=0.4),
        Levels(wander_m=2.5),
        Levels(doppler_mps=0.2),
        Levels(slow_doppler_mps=0.1, slow_doppler_time_s=0.7),
    ],
    ids=["jerk", "white", "wander", "doppler", "slow-doppler"],
)
def test_levels_are_as_likely_as_the_normal_distribution_of_what_was_measured(other):
    """How likely levels are is known up to a constant: differences are compared."""
    time = np.cumsum(np.array([0.0, 0.5, 0.4, 0.7, 0.5, 0.3]))
    trust = np.array([1.0, 0.5, 1.0, 0.2, 1.0, 0.8])
    position, velocity = laps(time)
    random = np.random.default_rng(4)
    position = position - position.mean(axis=0) + random.normal(0.0, 0.3, position.shape)
    velocity = velocity + random.normal(0.0, 0.1, velocity.shape)
    measured = Measured(time, position, velocity, np.ones(5, bool), np.ones(6))
    # Each with correlated Doppler noise, so that the unknowns are the same.
    first = Levels(slow_doppler_mps=0.02)
    second = other if other.slow_doppler_mps else replace(other, slow_doppler_mps=0.02)

    found = [
        solve(measured, levels, trust, likelihood=True).log_likelihood for levels in (first, second)
    ]

    expected = [
        sum(
            multivariate_normal.logpdf(
                np.concatenate([position[:, axis], velocity[:, axis]]),
                cov=measured_covariance(time, levels, trust),
            )
            for axis in range(2)
        )
        for levels in (first, second)
    ]
    assert found[1] - found[0] == pytest.approx(expected[1] - expected[0], rel=1e-3, abs=0.01)


def test_a_position_that_is_not_trusted_counts_as_one_anywhere_on_a_hectare():
    time = np.arange(0.0, 3.0, 0.5)
    position, velocity = laps(time)
    position = position - position.mean(axis=0)
    measured = Measured(time, position, velocity, np.ones(5, bool), np.ones(6))
    trusted, levels = np.ones(6), Levels(slow_doppler_mps=0.02)
    trust = np.where(np.arange(6) == 3, LEAST_TRUST, 1.0)

    all_of_them, without = (
        solve(measured, levels, each, likelihood=True).log_likelihood for each in (trusted, trust)
    )

    covariance = measured_covariance(time, levels, trusted)
    kept = np.arange(12) != 3
    lost = 0.0
    for axis in range(2):
        value = np.concatenate([position[:, axis], velocity[:, axis]])
        lost += multivariate_normal.logpdf(value, cov=covariance)
        lost -= multivariate_normal.logpdf(value[kept], cov=covariance[np.ix_(kept, kept)])
    # Of a normal density the factor 2 pi is left out.
    expected = -np.log(100.0 * 100.0) - (lost + np.log(2.0 * np.pi))
    assert without - all_of_them == pytest.approx(expected, abs=0.02)


def test_only_speeds_without_a_course_tie_the_two_axes_together():
    time = np.arange(0.0, 3.0, 0.5)
    position, velocity = laps(time)
    ahead = velocity / np.linalg.norm(velocity, axis=1, keepdims=True)
    for direction, coupled in ((None, False), (ahead, True)):
        measured = Measured(time, position, velocity, np.ones(5, bool), np.ones(6), direction)

        assert solve(measured, Levels(), np.ones(6)).coupled is coupled


def short_drive():
    return Measured(
        0.1 * np.arange(5),
        np.column_stack([2.0 * np.arange(5), np.zeros(5)]),
        np.full((5, 2), np.nan),
        np.ones(4, bool),
        np.ones(5),
    )


@pytest.mark.parametrize("times", [0, 1, 2])
def test_what_float64_cannot_hold_is_solved_with_ten_times_the_leeway(times, monkeypatch):
    forward, failed = smoother._forward, []

    def failing(*given):
        if len(failed) < times:
            failed.append(given)
            raise LinAlgError
        return forward(*given)

    monkeypatch.setattr(smoother, "_forward", failing)

    solution = smoother.solve(short_drive(), Levels(), np.ones(5), likelihood=True, leeway_m=1e-5)

    assert solution.factor.leeway_m == pytest.approx(1e-5 * 10.0**times)
    assert np.isfinite(solution.log_likelihood)


def test_leeway_is_not_widened_beyond_what_a_drive_is_known_by(monkeypatch):
    tried = []

    def failing(factor, *_):
        tried.append(factor.leeway_m)
        raise LinAlgError

    monkeypatch.setattr(smoother, "_forward", failing)

    with pytest.raises(LinAlgError):
        smoother.solve(short_drive(), Levels(), np.ones(5))
    # Centimetres are what laps are timed by.
    assert 1e-3 < max(tried) < 0.1


@pytest.mark.parametrize(("pieces", "expected"), [(1, []), (3, [(1, 3), (2, 3), (3, 3)])])
def test_progress_is_told_piece_by_piece_of_a_drive_that_has_several(pieces, expected, monkeypatch):
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", -(-5 // pieces))
    steps = []
    monkeypatch.setattr(smoother, "tell", lambda what, done, of: steps.append((what, done, of)))

    smoother.solve(short_drive(), Levels(), np.ones(5))

    assert steps == [("smoothing the drive", *step) for step in expected]
