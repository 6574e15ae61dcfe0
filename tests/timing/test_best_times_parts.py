"""Best sectors, the fastest run and medians, of laps laid out by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing import best_times as module
from trackkit.timing.best_times import (
    best_sectors,
    continuous_best,
    fastest_run,
    laps_for_sector,
    median_sigma,
    picked_too_small,
    sector_terms,
    sum_of_sectors_sigma,
    theoretical_best,
)


def lap(*sectors, begin_s=0.0, counts=True, whole=True, clean=(), first=None):
    """A lap by its sector times; `clean` are the sectors that nothing spoilt."""
    ends = begin_s + np.cumsum([0.0, *sectors])
    passed = [SimpleNamespace(time_s=float(at)) for at in ends]
    if first is not None:
        passed[0] = first
    return SimpleNamespace(
        counts=counts,
        is_whole=whole,
        is_clean=lambda index: index in clean,
        sectors=[SimpleNamespace(time_s=float(time)) for time in sectors],
        passed=passed,
        time_s=float(sum(sectors)),
    )


def following(before, *sectors, **more):
    """A lap that begins where another one ended."""
    end = before.passed[-1]
    return lap(*sectors, begin_s=end.time_s, first=end, **more)


@pytest.fixture
def terms(monkeypatch):
    """Every crossing errs by a tenth of a second, by itself."""
    asked = []

    def independent(_, some):
        asked.append([(crossing.time_s, weight) for crossing, weight in some])
        total: dict[int, float] = {}
        for crossing, weight in some:
            total[id(crossing)] = total.get(id(crossing), 0.0) + weight
        return 0.1 * float(np.sqrt(sum(weight**2 for weight in total.values())))

    def each(drive, sums):
        return [independent(drive, some) for some in sums]

    monkeypatch.setattr(module, "sum_sigma", independent)
    monkeypatch.setattr(module, "sum_sigmas", each)
    return asked


def test_best_sectors_are_of_laps_that_count_and_clean_ones_of_those_set_aside():
    counted = lap(20.0, 30.0)
    aside = lap(18.0, 25.0, counts=False, clean=(1,))
    part = lap(10.0, 10.0, counts=False, whole=False, clean=(0, 1))

    best = best_sectors([counted, aside, part])

    assert [(index, sector.time_s) for index, sector, _ in best] == [(0, 20.0), (1, 25.0)]
    assert [of for _, _, of in best] == [counted, aside]
    assert theoretical_best([counted, aside, part]) == 45.0
    assert laps_for_sector([counted, aside, part], 1) == [counted, aside]
    assert laps_for_sector([counted, aside, part], 0) == [counted]


def test_without_a_lap_that_counts_there_is_no_best_of_anything():
    aside = lap(18.0, 25.0, counts=False, clean=(0, 1))

    assert best_sectors([aside]) == []
    assert laps_for_sector([aside], 0) == []
    assert theoretical_best([aside]) is None
    assert continuous_best([aside]) is None
    assert fastest_run([]) is None


def test_the_fastest_run_may_begin_at_any_gate_of_laps_in_a_row():
    # 30 + 31, 20 + 40: from the middle of the first to that of the second 31 + 20.
    first = lap(30.0, 31.0)
    second = following(first, 20.0, 40.0)

    begun, ended = fastest_run([first, second])

    assert (begun.time_s, ended.time_s) == (30.0, 81.0)
    assert continuous_best([first, second]) == 51.0
    # Alone either one is as long as it is.
    assert continuous_best([first]) == 61.0


def test_a_lap_that_does_not_count_or_a_break_ends_a_run():
    first = lap(30.0, 31.0)
    apart = lap(20.0, 40.0, begin_s=61.0)
    assert continuous_best([first, apart]) == 60.0

    between = following(first, 10.0, 10.0, counts=False)
    third = following(between, 20.0, 40.0)
    assert continuous_best([first, between, third]) == 60.0


def test_over_three_laps_every_run_of_a_lap_is_looked_at():
    first = lap(30.0, 30.0, 30.0)
    second = following(first, 30.0, 20.0, 30.0)
    third = following(second, 25.0, 30.0, 30.0)

    # 20 + 30 + 25 from the first gate of the second to that of the third.
    assert continuous_best([first, second, third]) == 75.0


def test_a_sectors_time_is_its_end_less_its_beginning():
    one = lap(20.0, 30.0)

    found = [(crossing.time_s, sign) for crossing, sign in sector_terms(one, 1, 2.0)]

    assert found == [(20.0, -2.0), (50.0, 2.0)]
    one.passed[1] = None
    assert [sign for _, sign in sector_terms(one, 1, 1.0)] == [1.0]


def test_where_sectors_share_a_crossing_its_error_cancels(terms):
    one = lap(20.0, 30.0)

    # Both of one lap: the beginning and the end are left.
    assert sum_of_sectors_sigma(None, best_sectors([one])) == pytest.approx(0.1 * 2**0.5)
    assert sum_of_sectors_sigma(None, []) is None
    assert len(terms) == 1


def test_the_median_is_as_well_known_as_the_lap_or_two_that_it_is_of(terms):
    laps = [lap(60.0), lap(62.0, begin_s=100.0), lap(61.0, begin_s=200.0)]

    odd, even = median_sigma(None, laps), median_sigma(None, laps[:2])

    assert odd == pytest.approx(0.1 * 2**0.5)
    assert sorted(terms[0]) == [(200.0, -1.0), (261.0, 1.0)]
    # Half of each of two.
    assert even == pytest.approx(0.1 * (4 * 0.25) ** 0.5)
    unknown = lap(60.0)
    unknown.time_s = None
    assert median_sigma(None, [unknown]) is None
    assert median_sigma(None, [*laps, unknown]) == odd


def test_a_best_sector_leads_by_errors_as_far_as_they_make_the_scatter(terms):
    times = [20.0, 20.4, 20.8, 21.2]
    laps = [lap(time, begin_s=100.0 * n) for n, time in enumerate(times)]

    too_small = picked_too_small(None, laps)

    # Differences of two laps have four crossings' errors; half of that is a lap's.
    share = 0.5 * 4 * 0.01 / np.var(times, ddof=1)
    lead = np.mean(times) - 20.0
    assert too_small == pytest.approx(lead * (1.0 - np.sqrt(1.0 - share)))


def test_all_of_the_lead_is_errors_where_times_scatter_by_no_more(terms):
    laps = [lap(20.0 + 0.01 * n, begin_s=100.0 * n) for n in range(3)]

    assert picked_too_small(None, laps) == pytest.approx(0.01)
    same = [lap(20.0, begin_s=100.0 * n) for n in range(3)]
    assert picked_too_small(None, same) == 0.0


def test_two_laps_do_not_tell_how_times_scatter(terms):
    laps = [lap(20.0), lap(21.0, begin_s=100.0)]

    assert picked_too_small(None, laps) == 0.0
    assert picked_too_small(None, [*laps, lap(22.0, counts=False)]) == 0.0
    assert terms == []
