"""The information of a noise model: matrix, pull and squares are of one and the same quadratic."""

from __future__ import annotations

import numpy as np
import pytest

from trackkit.motion.information import DOPPLER, LEAST_LEEWAY_M, Model
from trackkit.motion.noise import Levels, Measured

TIME_S = np.array([0.0, 0.5, 1.5, 2.0, 4.0, 4.25])
PLAIN = Levels(jerk=2.0, white_m=0.3, wander_m=1.5, wander_time_s=30.0, doppler_mps=0.1)
CORRELATED = Levels(
    jerk=2.0,
    white_m=0.3,
    wander_m=1.5,
    wander_time_s=30.0,
    doppler_mps=0.1,
    slow_doppler_mps=0.2,
    slow_doppler_time_s=3.0,
)
TRUST = np.array([1.0, 0.5, 1.0, 0.2, 1.0, 1.0])


def measured(*, velocities=True, directions=False):
    generator = np.random.default_rng(2)
    velocity = generator.normal(0.0, 5.0, (6, 2))
    angle = generator.uniform(0.0, 2 * np.pi, 6)
    direction = np.stack([np.cos(angle), np.sin(angle)], axis=1) if directions else None
    if direction is not None:
        velocity = 7.0 * direction
    velocity[2] = np.nan
    if not velocities:
        velocity[:] = np.nan
    joined = np.array([True, True, False, True, True])
    scale = np.array([1.0, 2.0, 1.0, 1.0, 0.5, 1.0])
    return Measured(TIME_S, generator.normal(0.0, 20.0, (6, 2)), velocity, joined, scale, direction)


CASES = [
    (levels, velocities, directions)
    for levels in (PLAIN, CORRELATED)
    for velocities, directions in ((True, False), (True, True), (False, False))
]


@pytest.mark.parametrize(("levels", "velocities", "directions"), CASES)
def test_the_pull_is_half_the_slope_of_the_squares_downhill(levels, velocities, directions):
    model = Model.of(measured(velocities=velocities, directions=directions), levels, TRUST)
    state = np.random.default_rng(3).normal(0.0, 3.0, (levels.states, 2, 6))

    pull, _ = model.pull(state)

    # The squares are a quadratic: a difference over two steps gives their slope exactly.
    for place in np.ndindex(state.shape):
        step = np.zeros_like(state)
        step[place] = 1.0
        slope = (model.pull(state + step)[1] - model.pull(state - step)[1]) / 2.0
        assert -0.5 * slope == pytest.approx(pull[place], rel=1e-6, abs=1e-3)


def dense(rows, size):
    """A symmetric matrix of LAPACK's lower banded form."""
    whole = np.zeros((size, size))
    for below, row in enumerate(rows):
        for column in range(size - below):
            whole[column + below, column] = whole[column, column + below] = row[column]
    return whole


# Speeds along a direction tie both axes together: by itself none is solved then.
@pytest.mark.parametrize(
    ("levels", "velocities", "directions", "axes"),
    [(*case, axes) for case in CASES for axes in (1, 2) if axes == 2 or not case[2]],
)
def test_the_matrix_is_how_the_pull_changes_with_the_state(levels, velocities, directions, axes):
    model = Model.of(measured(velocities=velocities, directions=directions), levels, TRUST)
    states = levels.states
    size = 6 * states * axes
    at_rest = model.pull(np.zeros((states, 2, 6)))[0]

    matrix = dense(model.matrix(axes), size)

    for column in range(size):
        fix, within = divmod(column, states * axes)
        axis, unknown = divmod(within, states)
        state = np.zeros((states, 2, 6))
        state[unknown, axis, fix] = 1.0
        change = at_rest - model.pull(state)[0]
        # By fix, then by axis, then by unknown.
        expected = np.transpose(change[:, :axes], (2, 1, 0)).ravel()
        assert matrix[:, column] == pytest.approx(expected, rel=1e-9, abs=1e-6)


def test_the_information_on_a_step_is_the_inverse_of_what_white_jerk_adds_over_it():
    model = Model.of(measured(), PLAIN, TRUST)
    for number, h in enumerate(np.diff(TIME_S)):
        pp, pv, pa, vv, va, aa = model.jerk_information[:, number]
        information = np.array([[pp, pv, pa], [pv, vv, va], [pa, va, aa]])
        # Brown & Hwang (from memory), times the density.
        covariance = 2.0 * np.array(
            [
                [h**5 / 20, h**4 / 8, h**3 / 6],
                [h**4 / 8, h**3 / 3, h**2 / 2],
                [h**3 / 6, h**2 / 2, h],
            ]
        )
        if number == 2:
            assert not information.any(), "a drive is broken off there"
        else:
            assert information @ covariance == pytest.approx(np.eye(3), abs=1e-9)


def test_fixes_milliseconds_apart_are_tied_no_closer_than_the_leeway():
    # Given both ends' speeds and accelerations, the place is known to jerk h^5 / 720.
    near = measured()
    near = Measured(
        np.array([0.0, 1e-6, 1.0, 2.0, 3.0, 4.0]),
        near.position_m,
        near.velocity_mps,
        np.ones(5, bool),
        near.scale,
    )
    information = Model.of(near, PLAIN, TRUST).jerk_information[0, 0]

    assert information**-0.5 == pytest.approx(LEAST_LEEWAY_M, rel=1e-6)


def test_a_piece_begins_after_each_break_and_each_measurement_has_its_trust():
    model = Model.of(measured(), PLAIN, TRUST)

    assert model.fresh.tolist() == [True, False, False, True, False, False]
    # One over 0.3 m times the scale, squared; and a tenth of a metre a second.
    expected = TRUST / (0.3 * np.array([1.0, 2.0, 1.0, 1.0, 0.5, 1.0])) ** 2
    assert model.position_trust == pytest.approx(expected)
    assert model.velocity_trust == pytest.approx([100.0, 100.0, 0.0, 100.0, 100.0, 100.0])
    assert model.step_s == pytest.approx(np.diff(TIME_S))


@pytest.mark.parametrize("levels", [PLAIN, CORRELATED])
def test_slow_noise_is_a_gauss_markov_process_from_fix_to_fix(levels):
    model = Model.of(measured(), levels, TRUST)

    assert len(model.slow) == (2 if levels is CORRELATED else 1)
    for place, first, kept, information in model.slow:
        sigma, time = (0.2, 3.0) if place == DOPPLER else (1.5, 30.0)
        assert first == pytest.approx(sigma**-2)
        assert kept == pytest.approx(np.exp(-np.diff(TIME_S) / time))
        assert information == pytest.approx(1.0 / (sigma**2 * (1.0 - kept**2)))


@pytest.mark.parametrize(("levels", "axes"), [(PLAIN, 1), (CORRELATED, 1), (PLAIN, 2)])
def test_the_scale_is_the_log_determinant_of_all_covariances_on_both_axes(levels, axes):
    trust = TRUST.copy()
    trust[3] = 1e-9
    data = measured(directions=axes == 2)
    model = Model.of(data, levels, trust)

    scale = model.log_scale(axes)

    # Four steps that are joined have three degrees of freedom of jerk each.
    expected = 3 * 4 * np.log(2.0)
    for sigma, time in [(1.5, 30.0), (0.2, 3.0)][: levels.states - 3]:
        kept = np.exp(-np.diff(TIME_S) / time)
        expected += np.log(sigma**2) + np.log(sigma**2 * (1.0 - kept**2)).sum()
    # Positions: the stray one is uniform over a square of 100 m.
    white = (0.3 * data.scale) ** 2 / trust
    expected += np.log(np.delete(white, 3)).sum() + 2.0 * np.log(100.0)
    # Velocities; along directions each is one number and not two.
    expected += 5 * np.log(0.1**2) / axes
    assert scale == pytest.approx(expected)
