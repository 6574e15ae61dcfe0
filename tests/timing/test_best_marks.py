"""A best lap is one only where it can be told from the next."""

from dataclasses import replace

import pytest
import two_sessions

from trackkit.timing.best_marks import best_laps, best_of_sector
from trackkit.timing.sessions import Reference, lap_difference, sector_differences


def behind_by(lap, index, delay_s):
    """The lap with its end, or that of a sector, crossed later."""
    passed, sectors = list(lap.passed), list(lap.sectors)
    end = passed[index + 1]
    passed[index + 1] = replace(end, time_s=end.time_s + delay_s)
    sectors[index] = replace(sectors[index], time_s=sectors[index].time_s + delay_s)
    whole_s = passed[-1].time_s - passed[0].time_s
    return replace(lap, passed=tuple(passed), sectors=tuple(sectors), time_s=whole_s)


def of_laps(session, *laps):
    return replace(session, report=replace(session.report, laps=laps))


@pytest.fixture(scope="module")
def anna():
    return two_sessions.sessions()[0]


@pytest.mark.parametrize(("sigmas", "alone"), [(0.9, False), (1.1, True)])
def test_two_laps_are_equal_up_to_one_sigma_of_their_difference(anna, sigmas, alone):
    first, second, *_ = anna.report.counted
    between = lap_difference(anna, second, Reference(anna, first))
    second = behind_by(second, 2, sigmas * between.sigma_s - between.time_s)

    best = best_laps(of_laps(anna, second, first))

    assert [lap.number for lap in best] == [first.number, second.number][: 1 if alone else 2]


@pytest.mark.parametrize(("sigmas", "alone"), [(0.9, False), (1.1, True)])
def test_sectors_are_equal_by_what_their_difference_is_known_to(anna, sigmas, alone):
    """The errors of one drive are correlated: the difference is known better than either time."""
    first, second, *_ = anna.report.counted
    between = sector_differences(anna, second, Reference(anna, first))[1]
    second = behind_by(second, 1, sigmas * between.sigma_s - between.time_s)

    best = best_of_sector(of_laps(anna, second, first), 1)

    assert between.sigma_s < second.sectors[1].sigma_s
    assert [lap.number for lap in best] == [first.number, second.number][: 1 if alone else 2]


def test_what_does_not_count_is_no_best_and_a_lap_alone_is(anna):
    first, second, *_ = anna.report.counted
    aside = replace(behind_by(second, 2, -5.0), set_aside=True)

    assert best_laps(of_laps(anna, first, aside)) == (first,)
    assert best_laps(of_laps(anna, aside)) == ()
    assert best_of_sector(of_laps(anna, aside), 0) == ()
