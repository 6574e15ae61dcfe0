"""Paths, distances and chances that false crossings are reckoned from, by small cases."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal, norm

from trackkit.gates.false_crossings import (
    _counted,
    _dense,
    _distance_to_gate,
    creeping_probability,
    parked_probability,
)


def test_distance_to_a_gate_is_to_its_nearest_point():
    position = np.array([[3.0, 4.0], [-3.0, 4.0], [13.0, -4.0], [5.0, 2.0]])

    away = _distance_to_gate(position, np.array([0.0, 0.0]), np.array([10.0, 0.0]))

    assert away == pytest.approx([4.0, 5.0, 5.0, 2.0])


def test_a_line_is_made_dense_from_end_to_end():
    line = _dense(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 20.0]]))

    step = np.linalg.norm(np.diff(line, axis=0), axis=1)
    assert line[0].tolist() == [0.0, 0.0]
    assert line[-1] == pytest.approx([3.0, 20.0])
    # A metre or less from one to the next, as passages are reckoned over.
    assert step.max() <= 1.0 + 1e-9
    assert np.linalg.norm(line - [3.0, 4.0], axis=1).min() < 0.5


def counted(ahead, along, *, width=10.0, sigma=2.0):
    return _counted(
        np.atleast_2d(np.array(ahead, float)), np.array(along, float), width, sigma, ndtr
    )


def test_a_path_across_the_gate_counts_by_how_surely_it_is_between_the_ends():
    # Three metres from the left end: missed 3 m to one side and 7 m to the other.
    expected = ndtr(7.0 / 2.0) - ndtr(-3.0 / 2.0)

    assert counted([-1.0, 1.0], [3.0, 3.0]) == pytest.approx([expected])
    # Half way through the step it is where it crosses.
    assert counted([-1.0, 1.0], [2.0, 4.0]) == pytest.approx([expected])
    assert counted([-1.0, 3.0], [2.0, 6.0]) == pytest.approx([expected])


def test_from_in_front_or_beside_it_does_not_count():
    assert counted([1.0, -1.0], [3.0, 3.0]).tolist() == [0.0]
    assert counted([1.0, 2.0], [3.0, 3.0]).tolist() == [0.0]
    assert counted([-1.0, 1.0], [60.0, 60.0]) == pytest.approx([0.0], abs=1e-12)
    # Reached is crossed; begun on it is not.
    assert counted([-1.0, 0.0], [3.0, 3.0])[0] > 0.9
    assert counted([0.0, 1.0], [3.0, 3.0])[0] == 0.0


def test_twice_across_at_one_place_is_as_likely_as_once():
    once = counted([-1.0, 1.0], [3.0, 3.0])

    twice = counted([-1.0, 1.0, -1.0, 1.0], [3.0, 3.0, 3.0, 3.0])

    assert twice == pytest.approx(once)


@pytest.mark.parametrize(
    ("here", "there", "intervals"),
    [
        # By the shift along the gate, in sigmas of 2 m: from 0.5 to 5.5, and from -5.5 to -0.5.
        (-1.0, 11.0, [(0.5, 5.5), (-5.5, -0.5)]),
        # From -1.5 to 3.5 and from -3 to 2: together from -3 to 3.5.
        (3.0, 6.0, [(-3.0, 3.5)]),
        (6.0, 3.0, [(-3.0, 3.5)]),
    ],
)
def test_twice_across_counts_for_every_shift_that_meets_the_gate_at_either_place(
    here, there, intervals
):
    found = counted([-1, 1, -1, 1], [here, here, there, there])

    assert found == pytest.approx([sum(ndtr(high) - ndtr(low) for low, high in intervals)])


def test_shifts_are_judged_one_by_one():
    ahead = np.array([[-1.0, 1.0, -1.0, 1.0], [-1.0, 1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0]])

    found = _counted(ahead, np.full(4, 3.0), 10.0, 2.0, ndtr)

    once = ndtr(3.5) - ndtr(-1.5)
    assert found == pytest.approx([once, once, 0.0])


@pytest.mark.parametrize("behind_m", [0.5, 2.0])
def test_twice_as_far_away_by_a_wander_twice_as_large_is_as_likely(behind_m):
    near = parked_probability(behind_m, 30.0, wander_m=1.0)
    far = parked_probability(2.0 * behind_m, 30.0, wander_m=2.0)

    assert near == pytest.approx(far)
    assert 0.0 < near < 1.0
    assert parked_probability(2.0 * behind_m, 30.0, wander_m=1.0) < near


def test_a_probability_of_standing_is_that_of_each_fix_by_itself_at_first():
    # One step: the wander is behind before and in front after, a bivariate normal orthant.
    kept = np.exp(-1.0 / 120.0)
    for behind_m in (-0.5, 0.0, 0.4, 1.5):
        level = behind_m / 1.0
        both = multivariate_normal(np.zeros(2), [[1.0, kept], [kept, 1.0]])
        behind_then_front = norm.cdf(level) - both.cdf([level, level])

        found = creeping_probability(np.full(2, behind_m), wander_m=1.0, wander_time_s=120.0)

        assert found == pytest.approx(behind_then_front, rel=0.01)


def test_who_moves_on_towards_the_line_is_counted_from_where_the_first_fix_lay():
    # From 2 m behind to 1 m in front: nearly all go over, by school probability.
    kept = np.exp(-1.0 / 120.0)
    both = multivariate_normal(np.zeros(2), [[1.0, kept], [kept, 1.0]])
    expected = norm.cdf(2.0) - both.cdf([2.0, -1.0])

    found = creeping_probability(np.array([2.0, -1.0]), wander_m=1.0, wander_time_s=120.0)

    assert found == pytest.approx(expected, rel=0.01)
