"""A best lap is one only where it can be told from the next."""

from dataclasses import replace

import numpy as np
import pytest
import two_sessions

from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.best_marks import best_laps, best_of_sector, fastest_at
from trackkit.timing.lap_times import time_laps
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


@pytest.mark.parametrize(("sigmas", "alone"), [(0.9, False), (1.1, True)])
def test_the_fastest_at_a_speed_gate_leads_by_more_than_the_speeds_are_known_to(
    anna, sigmas, alone
):
    first, second, *_ = anna.report.counted
    (fast,), (slow,) = first.speed_gates, second.speed_gates
    apart = np.hypot(fast.speed_sigma_mps, slow.speed_sigma_mps)
    slow = replace(slow, speed_mps=fast.speed_mps - sigmas * apart)
    session = of_laps(anna, replace(second, speed_gates=(slow,)), first)

    front = fastest_at(session, fast.gate)

    assert [lap.number for lap, _ in front] == [first.number, second.number][: 1 if alone else 2]
    assert fastest_at(session, "finish") == ()


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_speeds_at_a_speed_gate_err_by_their_sigma(rate_hz):
    """The drive is simulated, and without noise at 50 Hz its speeds are as good as true."""
    track, over = two_sessions.block(), []
    for seed in range(40, 42):
        drives = [
            simulate_drive(track, laps=4, rate_hz=rate, seed=seed, noise=noise).recording
            for rate, noise in ((rate_hz, 1.0), (50.0, 0.0))
        ]
        passed, true = (
            [c for lap in time_laps(track, drive).laps for c in lap.speed_gates] for drive in drives
        )
        over += [
            (mine.speed_mps - its.speed_mps) / mine.speed_sigma_mps
            for mine, its in zip(passed, true, strict=True)
        ]
    assert 0.5 < np.sqrt(np.mean(np.square(over))) < 1.5
