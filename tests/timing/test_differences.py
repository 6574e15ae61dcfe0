"""By how much later one lap reached each place than another, and how well that is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from driven_block import block, recording

from trackkit.timing.crossings import Crossing, interval_sigma, sum_sigma
from trackkit.timing.differences import later, later_sigma, time_difference
from trackkit.timing.lap_times import time_laps
from trackkit.timing.passings import passings
from trackkit.timing.traces import BAND_STEP_M, STEP_M


@pytest.fixture(scope="module")
def report():
    return time_laps(block(), recording())


@pytest.fixture(scope="module")
def difference(report):
    first, second = report.counted[:2]
    return time_difference(block(), report, first, report, second)


def test_a_place_is_told_every_metre_of_a_lap(difference):
    count = int(block().length_m) + 1

    assert difference.chainage_m == pytest.approx(STEP_M * np.arange(count))
    assert len(difference.time_s) == len(difference.sigma_s) == count
    assert np.isfinite(difference.sigma_s).all()


def test_the_difference_begins_at_nothing_and_ends_as_that_of_the_lap_times(report, difference):
    first, second = report.counted[:2]

    assert difference.time_s[0] == pytest.approx(0.0, abs=1e-3)
    assert difference.time_s[-1] == pytest.approx(first.time_s - second.time_s, abs=2e-3)


def test_the_band_is_that_of_the_times_to_each_place_as_a_whole(report, difference):
    first, second = report.counted[:2]
    used = np.arange(0, len(difference.chainage_m), round(BAND_STEP_M / STEP_M))
    for row in used[::27]:
        place = difference.chainage_m[row : row + 1]
        ends = [passings(block(), report.drive, lap, place)[0] for lap in (first, second)]
        terms = [(ends[0], 1.0), (first.passed[0], -1.0)]
        terms += [(ends[1], -1.0), (second.passed[0], 1.0)]
        assert difference.sigma_s[row] == pytest.approx(sum_sigma(report.drive, terms), rel=1e-4)
    # At the very end as well, and straight between.
    assert difference.sigma_s[5] == pytest.approx(np.mean(difference.sigma_s[[0, 10]]), rel=1e-6)
    assert difference.sigma_s[0] < difference.sigma_s[40]


def test_a_lap_is_no_later_than_itself(report):
    lap = report.counted[0]

    same = time_difference(block(), report, lap, report, lap)

    assert not same.time_s.any()
    assert same.sigma_s == pytest.approx(0.0, abs=1e-9)


def test_two_recordings_err_by_themselves(report):
    first, second = report.counted[:2]
    ends = (first.passed[0], first.passed[1]), (second.passed[0], second.passed[1])

    fixes = [crossing.fix for pair in ends for crossing in pair]
    own, alone = (each.fix_covariance(fixes) for each in (report.drive, report.drive.alone()))
    apart = later_sigma(own, ends[0], alone, ends[1])

    expected = interval_sigma(own, *ends[0]), interval_sigma(alone, *ends[1])
    assert apart == pytest.approx(math.hypot(*expected))


@pytest.mark.slow
def test_laps_of_two_recordings_have_a_band_of_two(report):
    first, second = report.counted[:2]
    other = replace(report)

    both = time_difference(block(), report, first, other, second)
    one = time_difference(block(), report, first, report, second)
    np.testing.assert_array_equal(both.time_s, one.time_s)
    assert not np.allclose(both.sigma_s, one.sigma_s, rtol=1e-3)


def test_later_is_longer_and_nothing_is_told_without_all_four():
    passed = [Crossing("x", time_s, 20.0) for time_s in (10.0, 25.0, 100.0, 112.0)]

    assert later(*passed) == pytest.approx(15.0 - 12.0)
    for missing in range(4):
        some = [None if place == missing else each for place, each in enumerate(passed)]
        assert math.isnan(later(*some))
        assert math.isnan(later_sigma(None, tuple(some[:2]), None, tuple(some[2:])))
