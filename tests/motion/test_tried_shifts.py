"""What shifts would explain of a drive, against normal densities worked out densely."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from rings import POSITIONS, matern, ring
from scipy.stats import multivariate_normal

from trackkit.motion.line_shifts import SHIFT_M, risen
from trackkit.motion.tried_shifts import (
    _COURSE_M,
    TRIED_RAMP_S,
    Trial,
    _paired_best,
    explained_at_most,
    explaining,
    tried,
)


@pytest.fixture(scope="module")
def side():
    return ring(1.7, POSITIONS, 5)[0]


@pytest.fixture(scope="module")
def rest(side):
    return side.offset_m + 0.7 * np.sin(side.way_m / 50.0)


def covariance(side):
    """Of what is seen sideways: error, deviation and noise, and what a shift's course leaves."""
    lag = np.abs(side.time_s[:, None] - side.time_s)
    error = POSITIONS.wander_m**2 * np.exp(-lag / POSITIONS.wander_time_s)
    apart = side.way_m[:, None] - side.way_m
    seen = (side.left @ side.left.T) * error
    seen += POSITIONS.deviation_m**2 * matern(apart, POSITIONS.deviation_over_m)
    return seen + np.diag(side.sigma_m**2 + _COURSE_M**2)


def rise(side, rest, shares):
    """Rise of the logarithm of the density by shifts whose size is averaged out."""
    own = covariance(side)
    moved = np.concatenate([share[:, None] * side.left for share in shares], axis=1)
    none = np.zeros(len(rest))
    with_shifts = multivariate_normal(none, own + SHIFT_M**2 * moved @ moved.T)
    return with_shifts.logpdf(rest) - multivariate_normal(none, own).logpdf(rest)


def share_of(side, begin_s, end_s):
    return risen(side.time_s - begin_s, TRIED_RAMP_S) - risen(side.time_s - end_s, TRIED_RAMP_S)


@pytest.mark.parametrize(
    "spans", [[(4, 30)], [(10, 14)], [(3, 12), (20, 40)], [(0, 8), (5, 30), (31, 44)]]
)
def test_shifts_together_raise_the_likelihood_as_normal_densities_do(side, rest, spans):
    trial = tried(side, rest, POSITIONS, None)
    time = trial.time_s

    gain, _ = trial.together(spans)

    shares = [share_of(side, time[first], time[last]) for first, last in spans]
    assert gain == pytest.approx(rise(side, rest, shares), abs=1e-5)


def test_a_shift_is_tried_at_every_second_or_so(side, rest):
    trial = tried(side, rest, POSITIONS, None)

    np.testing.assert_array_equal(trial.time_s, side.time_s[trial.node])
    assert trial.node[0] == 0
    # Nodes are 0.8 s apart: the first one of each second.
    second = np.floor(trial.time_s)
    assert second.tolist() == sorted(set(np.floor(side.time_s).tolist()))


def test_each_pair_is_worth_what_it_is_worth_by_itself(side, rest):
    trial = tried(side, rest, POSITIONS, None)
    apart = np.triu(np.ones((len(trial.node),) * 2, dtype=bool), 3)

    gain, shift = trial.pairs(apart)

    assert np.isneginf(gain[~apart]).all()
    for pair in [(0, 3), (4, 30), (20, 41)]:
        alone, size = trial.together([pair])
        assert gain[pair] == pytest.approx(alone)
        assert shift[pair] == pytest.approx(size[0])


def test_what_one_shift_has_explained_another_adds_to(side, rest):
    trial = tried(side, rest, POSITIONS, None)
    apart = np.triu(np.ones((len(trial.node),) * 2, dtype=bool), 2)

    gain, _ = trial.explained(6, 20).pairs(apart)

    first, _ = trial.together([(6, 20)])
    for pair in [(0, 3), (8, 30), (25, 41)]:
        both, _ = trial.together([(6, 20), pair])
        assert gain[pair] == pytest.approx(both - first)


def test_what_is_promised_of_a_node_is_the_best_of_all_that_may_follow(side, rest):
    own = np.linalg.inv(covariance(side))
    best = np.full(len(rest), -np.inf)
    for first, last in combinations(range(len(rest)), 2):
        if 2.0 <= side.time_s[last] - side.time_s[first] <= 20.0:
            moved = np.zeros((len(rest), 2))
            moved[first:last] = side.left[first:last]
            told = moved.T @ own @ moved + np.eye(2) / SHIFT_M**2
            pull = moved.T @ own @ rest
            gain = 0.5 * pull @ np.linalg.solve(told, pull)
            gain -= 0.5 * np.log(np.linalg.det(told) * SHIFT_M**4)
            best[first] = max(best[first], gain)

    promised = explained_at_most(side, rest, POSITIONS, None, (2.0, 20.0))

    told = np.isfinite(best)
    assert promised[told] == pytest.approx(best[told], abs=1e-6)
    assert np.isneginf(promised[~told]).all()


def hand_made(pull, *, pace=None):
    """Steps that know nothing of each other, each worth as much as the other."""
    count = len(pull)
    information = np.zeros((count, 2, count, 2))
    place = np.arange(count)
    information[place, 0, place, 0] = information[place, 1, place, 1] = 1.0
    by_pace, pulled = np.zeros((count, 2, 2)), np.zeros((count, 2))
    if pace is not None:
        by_pace[:], pulled[:] = np.eye(2), pace
    return Trial(place, information, np.array(pull, dtype=float), 10.0 * place, by_pace, pulled)


def test_what_pace_says_of_a_step_counts_as_what_offsets_say():
    pull = [[3.0, 0.0], [0.0, 0.0], [-3.0, 1.0]]
    pace = np.array([[1.0, 0.5], [0.0, 0.0], [-1.0, 0.0]])
    trial = hand_made(pull, pace=pace)

    gain, shift = trial.together([(0, 2)])

    # Two of offsets, two of pace, and what is believed beforehand: school algebra.
    told = 4.0 + SHIFT_M**-2
    pulled = np.array([8.0, -0.5])
    assert shift[0] == pytest.approx(pulled / told)
    assert gain == pytest.approx(0.5 * pulled @ pulled / told - np.log(told * SHIFT_M**2))
    assert trial.pairs(np.ones((3, 3), bool))[0][0, 2] == pytest.approx(gain)


def test_shifts_are_found_one_after_the_other_the_likeliest_first():
    pull = np.zeros((8, 2))
    pull[1], pull[3], pull[5], pull[7] = [9.0, 0.0], [-9.0, 0.0], [0.0, -12.0], [0.0, 12.0]
    trial = hand_made(pull)
    apart = np.triu(np.ones((8, 8), dtype=bool), 1)

    found = explaining(trial, apart, 5.0)

    assert {pair[:2] for pair in found} == {(5, 7), (1, 3)}
    sizes = {pair[:2]: pair[2] for pair in found}
    told = 2.0 + SHIFT_M**-2
    assert sizes[1, 3] == pytest.approx([18.0 / told, 0.0])
    assert sizes[5, 7] == pytest.approx([0.0, -24.0 / told])
    assert explaining(trial, apart, 1000.0) == []


def test_nodes_are_paired_anew_where_that_is_likelier():
    # Each comes and goes as the other does: taken across, nothing is explained.
    pull = [[9.0, 0.0], [-9.0, 0.0], [0.0, 9.0], [0.0, -9.0]]
    trial = hand_made(pull)
    apart = np.triu(np.ones((4, 4), dtype=bool), 1)

    assert set(_paired_best(trial, [(0, 2), (1, 3)], apart, 1.0)) == {(0, 1), (2, 3)}
    assert set(_paired_best(trial, [(0, 3), (1, 2)], apart, 1.0)) == {(0, 1), (2, 3)}
    # What may not be a shift is none.
    apart[0, 1] = False
    assert (0, 1) not in _paired_best(trial, [(0, 2), (1, 3)], apart, 1.0)


def test_of_two_shifts_one_is_enough_where_the_other_explains_too_little():
    pull = [[9.0, 0.0], [0.1, 0.0], [0.0, 0.1], [-9.0, 0.0]]
    trial = hand_made(pull)
    apart = np.triu(np.ones((4, 4), dtype=bool), 1)

    assert _paired_best(trial, [(0, 1), (2, 3)], apart, 4.0) == [(0, 3)]


def test_what_was_gained_beside_a_shift_that_is_explained_tells_of_no_other():
    trial = hand_made(np.zeros((6, 2)), pace=np.ones((6, 2)))
    trial = replace(trial, time_s=np.array([0.0, 2.9, 10.0, 12.9, 13.1, 30.0]))

    left = trial.explained(0, 2)

    free = np.array([False, False, False, False, True, True])
    assert left.by_pace[:, 0, 0].astype(bool).tolist() == free.tolist()
    assert left.pulled_by_pace[:, 0].astype(bool).tolist() == free.tolist()
    np.testing.assert_array_equal(left.by_pace[free], trial.by_pace[free])
