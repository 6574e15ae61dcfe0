"""A twentieth of the days of tests/bench/bench_days.py: no lap invented, none lost."""

import numpy as np
import pytest
from troubled_days import day, score

from trackkit.timing.lap_times import time_laps

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def scores():
    drawn = [day(seed) for seed in range(60_000, 60_010)]
    return [score(true, time_laps(true.track, true.recording)) for true in drawn]


def test_no_lap_is_invented_and_none_lost(scores):
    assert sum(each.laps for each in scores) > 50
    assert [each.lost for each in scores] == [0] * 10
    assert [each.invented for each in scores] == [0] * 10


def test_sessions_are_those_that_were_driven(scores):
    assert not any(each.sessions_wrong for each in scores)


def test_laps_count_that_nothing_is_wrong_with_and_no_others(scores):
    assert sum(each.counted_in_error for each in scores) == 0
    assert sum(each.set_aside_in_error for each in scores) == 0


@pytest.mark.parametrize("rate_hz", [10.0])
def test_the_median_lies_within_its_uncertainty(rate_hz):
    """Within two sigma of the truth 19 times of 20, so all of four within four sigma."""
    drawn = [day(seed, rate_hz=rate_hz, doppler=False) for seed in range(60_020, 60_024)]
    over = [score(true, time_laps(true.track, true.recording)) for true in drawn]

    assert np.nanmax(np.abs([each.median_over_sigma for each in over])) < 4.0
    assert np.nanmax(np.abs([each.theoretical_over_sigma for each in over])) < 4.0
