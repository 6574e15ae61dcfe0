"""Shifts of a drive as unknowns: how they come and go, and what pace says of them."""

from __future__ import annotations

import numpy as np
import pytest
from rings import POSITIONS, ring

from trackkit.motion.line_shifts import RAMP_S, SHIFT_M, Shifts, risen


def shifts(count=2):
    random = np.random.default_rng(count)
    angle = random.uniform(0.0, 2.0 * np.pi, (count, 2))
    begin = 20.0 * np.arange(count) + 10.0
    return Shifts(
        begin,
        begin + 12.0,
        np.linspace(0.5, 5.0, count),
        np.stack([np.cos(angle), np.sin(angle)], axis=2),
        random.normal(size=(count, 2)),
        random.uniform(0.5, 2.0, (count, 2)),
    )


def test_a_shift_comes_smoothly_within_its_ramp():
    assert risen(np.array([-9.0, -0.8, 0.0, 0.8, 9.0]), 1.6) == pytest.approx([0, 0, 0.5, 1, 1])
    # Its slope is even on both sides of the middle and nothing at the ends.
    assert risen(np.array([0.3]), 1.6) == pytest.approx(1.0 - risen(np.array([-0.3]), 1.6))
    for end in (-0.8, 0.8):
        slope = np.diff(risen(np.array([end - 1e-4, end + 1e-4]), 1.6))
        assert slope == pytest.approx(0.0, abs=1e-6)


def test_each_shift_is_there_between_its_ends_and_unsure_while_it_comes_and_goes():
    both = shifts()
    time = np.array([9.0, 10.0, 16.0, 22.0, 23.7, 30.0, 36.0])

    share = both.shares(time)

    assert share.shape == (7, 3 * both.count)
    assert share[:, 0] == pytest.approx([0.0, 0.5, 1.0, 0.5, 0.0, 0.0, 0.0])
    assert share[:, 1] == pytest.approx([0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 1.0])
    # The course of coming is told by none but the one that comes.
    assert share[1, 2:] == pytest.approx([1.0, 0.0, 0.0, 0.0])
    assert share[3, 2:] == pytest.approx([0.0, 0.0, 1.0, 0.0])
    half = both.shares(np.array([10.0 + 0.5 * RAMP_S, 10.0 + RAMP_S]))[:, 2]
    assert half == pytest.approx([0.5, 0.0])


def test_what_is_moved_is_the_sum_of_all_unknowns_by_their_shares():
    both = shifts()
    unknown = np.random.default_rng(1).normal(size=(6 * both.count, 3))
    time = np.linspace(5.0, 45.0, 50)

    moved = both.moved(time, unknown)

    share = both.shares(time)
    assert moved[:, 0] == pytest.approx(share @ unknown[: 3 * both.count])
    assert moved[:, 1] == pytest.approx(share @ unknown[3 * both.count :])


def test_beforehand_shifts_are_of_the_usual_size_and_their_courses_unsure_by_theirs():
    both = shifts()

    covariance = both.covariance()

    unsure = np.maximum(0.3 * both.size_m, 0.5)
    sigma = [SHIFT_M, SHIFT_M, *unsure, *unsure]
    assert covariance == pytest.approx(np.diag(np.square([*sigma, *sigma])))


def test_pace_tells_of_a_shift_as_measurements_along_the_way_do():
    both = shifts(3)

    information, pull = both.told_by_pace()

    # A measurement of what each shift moves ahead when it comes, and of the contrary when it goes.
    expected, pulled = np.zeros((18, 18)), np.zeros(18)
    for place in range(3):
        for end, sign in ((0, 1.0), (1, -1.0)):
            row = np.zeros(18)
            row[[place, place + 9]] = sign * both.ahead[place, end]
            trust = both.gained_sigma_m[place, end] ** -2.0
            expected += trust * np.outer(row, row)
            pulled += trust * row * both.gained_m[place, end]
    assert information == pytest.approx(expected)
    assert pull == pytest.approx(pulled)


def test_while_a_shift_comes_or_goes_offsets_say_nothing():
    side = ring(2, POSITIONS, 1, step_m=2.0)[0]
    both = shifts()

    quiet = both.quiet(side)

    edges = np.concatenate([both.begin_s, both.end_s])
    near = np.abs(side.time_s[:, None] - edges).min(axis=1) < 0.5 * RAMP_S
    assert np.isinf(quiet.sigma_m).tolist() == near.tolist()
    assert near.any()
    np.testing.assert_array_equal(quiet.sigma_m[~near], side.sigma_m[~near])


def test_some_of_them_are_as_they_were():
    every = shifts(3)

    some = every.only(np.array([True, False, True]))

    assert some.count == 2
    for name in Shifts.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(some, name), getattr(every, name)[[0, 2]])
