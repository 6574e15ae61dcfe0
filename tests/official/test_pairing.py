"""Official laps paired with the recorded ones they are of."""

from __future__ import annotations

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.official.pairing import align, pair_official
from trackkit.official.times import OfficialLap, OfficialTimes
from trackkit.timing.laps import Lap, SectorTime


def session(seed, count=20, *, sigma=0.005, missing=0.15, bias=0.0, odd=()):
    """True laps; the same with laps missing at random on either side; which pairs are right."""
    random = np.random.default_rng(seed)
    true = 51.0 + 0.4 * random.standard_normal(count).cumsum() / 3 + random.exponential(0.4, count)
    official_kept = np.flatnonzero(random.random(count) > missing)
    recorded_kept = np.flatnonzero(random.random(count) > missing)
    official = np.round(true[official_kept], 3)
    error = sigma * random.standard_normal(count) + bias
    for lap, by in odd:
        error[lap] += by
    recorded = (true + error)[recorded_kept]
    right = [
        (int(np.flatnonzero(official_kept == lap)[0]), int(np.flatnonzero(recorded_kept == lap)[0]))
        for lap in np.intersect1d(official_kept, recorded_kept)
    ]
    return official, recorded, right, (official_kept, recorded_kept)


@pytest.mark.parametrize(
    ("sigma", "wrong_at_most", "unnoticed_at_most"), [(0.003, 0.03, 0.001), (0.025, 0.08, 0.02)]
)
def test_laps_missing_at_random_on_both_sides_are_found_out(
    sigma, wrong_at_most, unnoticed_at_most
):
    # The truth is known.  Laps may be alike by chance, or missing on one side next to one missing
    # on the other; such a pair is to be an outlier or in doubt.
    wrong = unnoticed = total = 0
    for seed in range(60):
        official, recorded, right, _ = session(seed, sigma=sigma)
        matched, probability = align(official, recorded, np.full(len(recorded), sigma))
        wrong += len(set(matched) ^ set(right))
        total += len(right)
        for i, j in set(matched) - set(right):
            outlier = abs(recorded[j] - official[i]) > 3.5 * sigma
            unnoticed += not outlier and probability[i, j] >= 0.9

    assert total > 800
    assert wrong <= wrong_at_most * total
    assert unnoticed <= unnoticed_at_most * total


def test_where_laps_are_missing_on_one_side_only_hardly_a_pair_is_wrong():
    wrong = total = 0
    for seed in range(200, 240):
        official, recorded, _, (kept, _) = session(seed, missing=0.0)
        lost = np.random.default_rng(seed).choice(len(recorded), 6, replace=False)
        left = np.setdiff1d(np.arange(len(recorded)), lost)
        matched, _ = align(official, recorded[left], np.full(len(left), 0.005))
        wrong += len(set(matched) ^ {(int(lap), n) for n, lap in enumerate(left)})
        total += len(left)
        assert len(kept) == len(official)

    assert wrong <= 0.02 * total


def test_the_probability_of_a_pair_is_what_it_says():
    # Of the pairs said to be 90 % and more probable, no more than a tenth may be wrong.
    sure = []
    for seed in range(100, 160):
        official, recorded, right, _ = session(seed, count=12, sigma=0.05, missing=0.1)
        matched, probability = align(official, recorded, np.full(len(recorded), 0.05))
        sure += [match in right for match in matched if probability[match] > 0.9]

    assert len(sure) > 100
    assert np.mean(sure) > 0.9


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(20.0, 200.0), max_size=9),
    st.lists(st.floats(20.0, 200.0), max_size=9),
    st.floats(0.001, 0.5),
)
def test_whatever_the_times_no_lap_is_paired_twice_or_out_of_order(official, recorded, sigma):
    matched, probability = align(
        np.array(official), np.array(recorded), np.full(len(recorded), sigma)
    )

    assert all(a < c and b < d for (a, b), (c, d) in pairwise(matched))
    assert np.all(probability >= 0)
    assert np.all(probability <= 1 + 1e-9)
    assert np.all(probability.sum(axis=0) <= 1 + 1e-9)
    assert np.all(probability.sum(axis=1) <= 1 + 1e-9)


def every_pairing(count, other):
    """All sets of pairs in order, by hand: an independent word on the dynamic programme."""
    if not count or not other:
        return [[]]
    found = list(every_pairing(count - 1, other))
    for j in range(other):
        found += [[*before, (count - 1, j)] for before in every_pairing(count - 1, j)]
    return found


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 4), st.integers(1, 4))
def test_probabilities_are_those_of_counting_every_pairing(seed, count, other):
    from trackkit.official.pairing import _best, _sums

    worth = np.random.default_rng(seed).normal(-2.0, 3.0, (count, other))
    gap = -1.7

    scores = [
        (sum(worth[p] for p in pairs) + gap * (count + other - 2 * len(pairs)), pairs)
        for pairs in every_pairing(count, other)
    ]

    every, _ = _sums(worth, gap, np.logaddexp)
    assert every[-1, -1] == pytest.approx(np.logaddexp.reduce([score for score, _ in scores]))
    assert _best(worth, gap) == max(scores)[1]


def test_a_constant_difference_is_found_and_does_not_spoil_the_pairing():
    official, recorded, right, _ = session(3, bias=0.7)

    matched, _ = align(official, recorded, np.full(len(recorded), 0.005))

    assert matched == right


def recorded_laps(times, sigma=0.005, sectors=None):
    """A report with laps of these times, numbered from 1."""
    laps = [
        Lap(
            n,
            "flying",
            True,
            100.0 * n,
            float(time),
            (),
            tuple(
                SectorTime(s, None, sigma_s=sigma) for s in (sectors[n - 1] if sectors else [time])
            ),
            sigma_s=sigma,
        )
        for n, time in enumerate(times, start=1)
    ]
    return SimpleNamespace(laps=[Lap(0, "out", False, 0.0, None, (), ()), *laps])


def official_times(times, sectors=None, resolution=0.001):
    laps = [
        OfficialLap(n, float(time), tuple(sectors[n - 1]) if sectors else (), n + 1)
        for n, time in enumerate(times, start=1)
    ]
    return OfficialTimes("official.csv", tuple(laps), resolution)


def test_bias_and_spread_are_the_mean_and_standard_deviation_of_the_differences():
    # By hand: 0.01, 0.03, 0.02, 0.02 have the mean 0.02 and the standard deviation 0.00816.
    official = official_times([51.0, 52.0, 50.5, 51.4])
    report = recorded_laps([51.01, 52.03, 50.52, 51.42], sigma=0.02)

    pairing = pair_official(official, report)

    assert [(p.official.number, p.lap.number) for p in pairing.pairs] == [
        (n, n) for n in range(1, 5)
    ]
    assert pairing.agreement.bias_s == pytest.approx(0.02)
    assert pairing.agreement.spread_s == pytest.approx(np.sqrt(2e-4 / 3))
    assert pairing.agreement.bias_sigma_s == pytest.approx(np.sqrt(2e-4 / 3) / 2)
    assert pairing.agreement.expected_s == pytest.approx(0.02, abs=1e-5)
    assert pairing.agreement.outliers == ()


def test_an_outlier_is_paired_and_told_and_does_not_move_bias_and_spread():
    official, recorded, _, _ = session(11, count=15, missing=0.0, odd=[(6, 0.08)])

    pairing = pair_official(official_times(official), recorded_laps(recorded))

    assert len(pairing.pairs) == 15
    assert [p.lap.number for p in pairing.pairs if p.outlier] == [7]
    assert abs(pairing.agreement.bias_s) < 0.004
    assert pairing.agreement.spread_s == pytest.approx(0.005, rel=0.5)
    assert pairing.agreement.count == 14


@pytest.mark.parametrize(("count", "outliers"), [(3, []), (4, [2])])
def test_three_laps_do_not_show_which_of_them_is_the_odd_one(count, outliers):
    times = np.array([51.0, 52.3, 50.4, 51.6])[:count]
    away = np.array([0.0, 0.01, 0.08, -0.005])[:count]

    pairing = pair_official(official_times(times), recorded_laps(times + away))

    assert len(pairing.pairs) == count
    assert [n for n, p in enumerate(pairing.pairs) if p.outlier] == outliers


def test_what_is_left_over_on_either_side_is_told():
    pairing = pair_official(
        official_times([51.0, 52.0, 50.5, 53.1]), recorded_laps([51.004, 50.498, 53.103, 65.0])
    )

    assert [lap.number for lap in pairing.official_alone] == [2]
    assert [lap.number for lap in pairing.laps_alone] == [4]


def test_a_pit_lap_of_the_recording_is_paired_with_nothing_like_it():
    pairing = pair_official(
        official_times([51.0, 52.0, 50.5]), recorded_laps([51.003, 185.0, 52.001, 50.499])
    )

    assert [lap.number for lap in pairing.laps_alone] == [2]
    assert len(pairing.pairs) == 3


def test_times_of_somebody_else_are_paired_with_nothing():
    pairing = pair_official(official_times([71.0, 73.2, 70.9]), recorded_laps([51.0, 52.7, 50.5]))

    assert pairing.pairs == ()
    assert pairing.agreement is None


def test_a_lap_that_may_be_either_of_two_like_ones_is_in_doubt():
    pairing = pair_official(official_times([51.0, 51.001, 53.0]), recorded_laps([51.0, 53.001]))

    first = pairing.pairs[0]
    assert first.probability < 0.9
    assert pairing.pairs[1].probability > 0.9


def test_rounding_of_the_official_times_counts_as_uncertainty():
    # A rounded value is uniformly spread over its last decimal: d / sqrt(12) (JCGM 100, 4.3.7; from
    # memory).
    pairing = pair_official(
        official_times([51.0], resolution=0.1), recorded_laps([51.03], sigma=0.004)
    )

    (one,) = pairing.pairs
    assert one.sigma_s == pytest.approx(np.hypot(0.004, 0.1 / np.sqrt(12)))


def test_sectors_are_compared_where_there_are_as_many():
    sectors = [[20.0, 31.0], [20.5, 31.5], [19.5, 31.0]]
    ours = [[20.03, 30.97], [20.53, 31.47], [19.53, 30.97]]
    official = official_times([51.0, 52.0, 50.5], sectors)

    pairing = pair_official(official, recorded_laps([51.0, 52.0, 50.5], sectors=ours))

    assert [one.bias_s for one in pairing.sectors] == pytest.approx([0.03, -0.03])
    other = pair_official(official, recorded_laps([51.0, 52.0, 50.5]))
    assert other.sectors == ()
    assert len(other.pairs) == 3


def test_the_row_for_json_tells_everything():
    row = pair_official(official_times([51.0, 52.0]), recorded_laps([51.004, 52.0])).as_row()

    assert row["pairs"][0]["official_lap"] == row["pairs"][0]["lap"] == 1
    assert row["pairs"][0]["difference_s"] == pytest.approx(0.004)
    assert {"bias_s", "spread_s", "outliers", "official_alone", "laps_alone"} <= row.keys()
