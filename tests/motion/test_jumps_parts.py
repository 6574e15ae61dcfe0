"""Steps between fixes as positions show them, taken out one by one."""

from __future__ import annotations

import numpy as np
import pytest

from trackkit.motion.jumps import LONGEST_JUMP_S, _kernel, _largest, _steps, jumping_positions
from trackkit.motion.noise import Measured


def measured(position, *, interval_s=0.2, joined=None):
    position = np.asarray(position, float)
    count = len(position)
    return Measured(
        np.arange(count) * interval_s,
        position,
        np.full((count, 2), np.nan),
        np.ones(count - 1, bool) if joined is None else joined,
        np.ones(count),
    )


def cubic(count=60):
    at = np.arange(count) - 20.0
    return np.stack([0.001 * at**3 - at, 0.02 * at**2 + 3.0], axis=1)


@pytest.mark.parametrize("beside", [3, 4, 12])
def test_the_weights_see_a_step_in_full_and_no_cubic(beside):
    weight = _kernel(beside)
    time = np.arange(2 * beside) - beside + 0.5

    assert weight @ (time > 0) == pytest.approx(1.0)
    for power in range(4):
        assert weight @ time**power == pytest.approx(0.0, abs=1e-9)
    # Turned round in time a step is of the other sign.
    assert weight[::-1] == pytest.approx(-weight)


def test_a_step_shows_in_full_where_it_is():
    position = cubic()
    position[30:] += [3.0, -4.0]

    step = _steps(measured(position), 0.2, 4)

    assert step[29] == pytest.approx([3.0, -4.0])
    assert np.hypot(*step.T).argmax() == 29
    # Where there are not four fixes on either side, none shows.
    assert np.all(step[:3] == 0.0)
    assert np.all(step[-3:] == 0.0)
    assert step[3] == pytest.approx(np.zeros(2), abs=1e-9)


def test_across_a_break_or_a_gap_no_step_shows():
    position = cubic()
    position[30:] += [3.0, -4.0]
    joined = np.ones(59, bool)
    joined[29] = False
    broken = measured(position, joined=joined)
    plain = measured(position)
    late = plain.time_s + 0.2 * (np.arange(60) >= 30)
    gap = Measured(late, plain.position_m, plain.velocity_mps, plain.joined, plain.scale)

    for data in (broken, gap):
        step = _steps(data, 0.2, 4)
        # Within three fixes of it the cubic would span it.
        assert np.all(step[26:33] == 0.0)
    # An interval one and a half times as long is no gap.
    slightly = Measured(
        plain.time_s + 0.09 * (np.arange(60) >= 30),
        plain.position_m,
        plain.velocity_mps,
        plain.joined,
        plain.scale,
    )
    assert np.hypot(*_steps(slightly, 0.2, 4)[29]) == pytest.approx(5.0)


def test_what_a_step_adds_around_it_is_no_step_itself():
    position = cubic()
    position[20:] += [8.0, 0.0]
    position[40:] += [0.0, -6.0]
    step = _steps(measured(position), 0.2, 4)

    place, move = _largest(step, 1.5, 4)

    assert place.tolist() == [19, 39]
    assert move == pytest.approx(np.array([[8.0, 0.0], [0.0, -6.0]]), abs=1e-6)


def test_two_steps_near_each_other_are_told_apart():
    position = cubic()
    position[20:] += [8.0, 0.0]
    position[23:] -= [5.0, 0.0]
    step = _steps(measured(position), 0.2, 4)

    place, move = _largest(step, 0.5, 4)

    total = np.zeros((59, 2))
    total[place] = move
    assert total[19] == pytest.approx([8.0, 0.0], abs=1.0)
    assert total[22] == pytest.approx([-5.0, 0.0], abs=1.0)


def test_without_large_steps_there_is_none():
    place, move = _largest(np.full((40, 2), 0.1), 1.5, 4)

    assert len(place) == 0
    assert move.shape == (0, 2)


def noisy(count=300, seed=1):
    return np.random.default_rng(seed).normal(0.0, 0.05, (count, 2)) + np.stack(
        [3.0 * np.arange(count), np.zeros(count)], axis=1
    )


@pytest.mark.parametrize(("lasting", "jumps"), [(20, True), (58, True), (62, False)])
def test_a_stretch_that_stays_aside_for_long_is_where_the_vehicle_is(lasting, jumps):
    # Five fixes a second: 60 fixes are twelve seconds.
    assert LONGEST_JUMP_S == 60 * 0.2
    position = noisy()
    position[100 : 100 + lasting] += [4.0, 2.0]

    found = jumping_positions(measured(position))

    assert np.flatnonzero(found).tolist() == (list(range(100, 100 + lasting)) if jumps else [])


@pytest.mark.parametrize(("back_share", "jumps"), [(1.0, True), (0.9, True), (0.5, False)])
def test_only_what_comes_back_by_about_as_much_has_jumped(back_share, jumps):
    position = noisy()
    position[100:] += [10.0, 0.0]
    position[120:] -= [10.0 * back_share, 0.0]

    assert jumping_positions(measured(position)).any() == jumps


def test_small_steps_are_noise():
    position = noisy()
    position[100:120] += [1.3, 0.0]
    assert not jumping_positions(measured(position)).any()
    position[100:120] += [0.6, 0.0]
    assert jumping_positions(measured(position)).sum() == 20


def test_where_fixes_are_few_or_rare_or_have_velocities_none_is_looked_for():
    position = noisy()
    position[100:120] += [9.0, 0.0]
    data = measured(position)
    velocity = data.velocity_mps.copy()
    velocity[0] = 0.0
    with_velocity = Measured(data.time_s, position, velocity, data.joined, data.scale)

    assert jumping_positions(data).sum() == 20
    assert not jumping_positions(with_velocity).any()
    assert not jumping_positions(measured(position, interval_s=1.6)).any()
    assert jumping_positions(measured(position[:140], interval_s=0.5)).any()
    assert not jumping_positions(measured(position[100:115])).any()
    assert jumping_positions(measured(position[:1])).tolist() == [False]
