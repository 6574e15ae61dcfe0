"""The banded solution against the textbook smoother, written down again and by pykalman."""

import numpy as np
import pytest
from ellipse import DOPPLER_MPS, WANDER_M, WANDER_TIME_S, WHITE_M, laps
from pykalman import KalmanFilter

from trackkit.motion.noise import Levels, Measured
from trackkit.motion.smoother import solve
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
