"""Gates crossed: when, how often, and how well the time between two crossings is known."""

from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace

import driven_block
import numpy as np
import pytest
from drives import block_circuit, corner_speed, drive, gate_ends, track_of
from timed_block import GATES, KINDS, along_the_finish_straight

from trackkit.motion.noise import Levels
from trackkit.motion.smooth import smooth
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.crossings import (
    CrossingCovariance,
    _back,
    cross,
    interval_sigma,
    sum_sigma,
    sum_sigmas,
    with_speed_sigmas,
)
from trackkit.timing.lap_times import time_laps
from trackkit.track.features import Gate


def crossings(track, recording, gate="finish"):
    return [c for c in time_laps(track, recording).crossings if c.gate == gate]


# Crossings are exact


@pytest.mark.parametrize("doppler", [False, True], ids=KINDS)
@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
def test_a_straight_line_at_constant_speed_is_timed_exactly(block, rate_hz, doppler):
    # 123.4 m to the line at 17.3 m/s: 7.13295 s.
    time = np.arange(0.0, 15.0, 1.0 / rate_hz)
    recording = along_the_finish_straight(17.3 * time - 123.4, time, doppler=doppler)

    (crossing,) = crossings(block, recording)

    assert crossing.time_s == pytest.approx(123.4 / 17.3, abs=1e-4)
    assert crossing.speed_mps == pytest.approx(17.3, abs=1e-2)


@pytest.mark.parametrize("doppler", [False, True], ids=KINDS)
def test_uneven_fixes_are_timed_as_exactly(block, doppler):
    time = np.cumsum(np.tile([0.08, 0.11, 0.1, 0.35, 0.06, 1.3], 8))
    time -= time[0]
    recording = along_the_finish_straight(17.3 * time - 123.4, time, doppler=doppler)

    (crossing,) = crossings(block, recording)

    assert crossing.time_s == pytest.approx(123.4 / 17.3, abs=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("doppler", [False, True], ids=KINDS)
@pytest.mark.parametrize("rate_hz", [25, 50, 100])
def test_a_fast_receiver_is_timed_to_a_millisecond_too(block, rate_hz, doppler):
    practice = simulate_drive(block, laps=1, rate_hz=rate_hz, noise=0.0, doppler=doppler, seed=3)

    report = time_laps(block, practice.recording)

    assert [c.time_s for c in report.crossings] == pytest.approx(
        [c["time_s"] for c in practice.truth["crossings"]], abs=1e-3
    )


@pytest.mark.parametrize("rate_hz", [1, 50, 100])
def test_noise_costs_no_crossing_at_any_rate(block, rate_hz):
    # Once, information tied so tightly between fixes 10 ms apart that rounding lost the drive.
    practice = simulate_drive(block, laps=1, rate_hz=rate_hz, noise=1.0, doppler=False, seed=1)

    report = time_laps(block, practice.recording)

    assert [c.gate for c in report.crossings] == [c["gate"] for c in practice.truth["crossings"]]
    assert [c.time_s for c in report.crossings] == pytest.approx(
        [c["time_s"] for c in practice.truth["crossings"]], abs=0.5
    )


@pytest.mark.parametrize("doppler", [False, True], ids=KINDS)
def test_a_drive_of_straights_and_arcs_is_timed_to_a_millisecond(block, doppler):
    road = block_circuit()
    outing = drive(
        road, begin_m=1200.0, laps=3.3, cruise=corner_speed(road, 30.0), acceleration_mps2=2.5
    )

    report = time_laps(block, outing.recording(10, doppler=doppler))

    for gate_id, _, chainage in GATES:
        timed = [c.time_s for c in report.crossings if c.gate == gate_id]
        assert timed == pytest.approx(outing.passes(chainage), abs=1e-3)


# What counts as a crossing


def test_crossing_from_in_front_to_behind_does_not_count(block):
    time = np.arange(0.0, 15.0, 0.1)

    assert crossings(block, along_the_finish_straight(123.4 - 17.3 * time, time)) == []


@pytest.mark.parametrize(
    ("aside_m", "counts"), [(7.9, True), (-7.9, True), (0.0, True), (8.1, False), (-8.1, False)]
)
def test_crossing_counts_between_the_ends_only(block, aside_m, counts):
    # The gate's ends are 8 m to either side.
    time = np.arange(0.0, 15.0, 0.1)
    recording = along_the_finish_straight(17.3 * time - 123.4, time, y_m=-130.0 + aside_m)

    assert len(crossings(block, recording)) == counts


@pytest.mark.parametrize("doppler", [False, True], ids=KINDS)
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_standing_on_the_line_while_the_receiver_jitters_counts_once(block, doppler, seed):
    road = block_circuit()
    outing = drive(road, begin_m=road.length_m - 150.0, reach_m=300.0, stop_at_m=150.0, stop_s=60)

    recording = outing.recording(10, doppler=doppler, noise=1.0, seed=seed)

    assert len(crossings(block, recording)) == 1


def test_a_spin_across_the_line_counts_once_at_its_first_crossing(block):
    # Across at 20 m/s, back over the line, and across again, all within 30 m of the gate.
    time = np.arange(0.0, 25.0, 0.1)
    x = np.interp(time, [0.0, 5.5, 7.5, 9.5, 11.5, 25.0], [-100.0, 10.0, 10.0, -8.0, -8.0, 200.0])
    recording = along_the_finish_straight(x, time)

    (crossing,) = crossings(block, recording)

    assert crossing.time_s == pytest.approx(5.0, abs=0.05)


def test_the_gate_counts_again_once_the_vehicle_has_come_round_to_it(block):
    # Back beside the gate, beyond its end, and through it again.
    time = np.arange(0.0, 60.0, 0.1)
    x = np.interp(time, [0.0, 10.0, 30.0, 50.0, 60.0], [-100.0, 100.0, -100.0, 100.0, 100.0])
    aside = np.interp(time, [9.0, 13.0, 27.0, 31.0], [0.0, 20.0, 20.0, 0.0])

    assert len(crossings(block, along_the_finish_straight(x, time, y_m=-130.0 + aside))) == 2


@pytest.mark.parametrize("back_m", [12.0, 40.0, 90.0])
def test_rolling_back_over_the_line_gives_one_crossing(block, back_m):
    time = np.arange(0.0, 90.0, 0.1)
    x = np.interp(time, [0.0, 10.0, 35.0, 50.0, 90.0], [-100.0, 35.0, 35.0 - 35.0 - back_m, 0, 500])

    (crossing,) = crossings(block, along_the_finish_straight(x, time))

    assert crossing.time_s == pytest.approx(100.0 / 13.5, abs=0.1)


def test_no_crossing_is_read_out_of_a_long_gap(block):
    time = np.concatenate([np.arange(0.0, 5.0, 0.1), np.arange(16.0, 20.0, 0.1)])

    assert crossings(block, along_the_finish_straight(10.0 * time - 100.0, time)) == []


def test_no_crossing_is_read_out_of_a_break_between_segments(block):
    time = np.arange(0.0, 15.0, 0.1)
    recording = along_the_finish_straight(17.3 * time - 123.4, time)
    broken = replace(recording, segment=(time > 7.13).astype(np.intp))

    assert crossings(block, broken) == []


# Uncertainties


def two_gates(recording, levels, start_m, end_m):
    """One sigma of the time between two gates square to the line y = -130 m."""
    track = track_of(
        block_circuit(), gates=[("a", "finish", start_m), ("b", "sector", end_m)], spacing_m=2.0
    )
    outcome = smooth(recording, track.plane, levels)
    (first,), (second,) = (cross(track.gate(g), outcome) for g in "ab")
    return interval_sigma(outcome, first, second)


@pytest.mark.parametrize("apart_s", [1.0, 3.0, 6.0])
def test_where_only_the_wander_is_unknown_an_interval_has_the_variance_of_its_difference(apart_s):
    # u^2 = u1^2 + u2^2 - 2 r u1 u2 (JCGM 100, 5.2.2; from memory), where u1 = u2 = 1 m over the
    # speed and r = exp(-t / T) is the autocorrelation of a first-order Gauss-Markov process (Brown
    # & Hwang; from memory).  A drive that may do anything says nothing about the wander.
    time = np.arange(0.0, 12.0, 0.05)
    recording = along_the_finish_straight(20.0 * time - 60.0, time)
    levels = Levels(jerk=1e9, white_m=1e-3, wander_m=1.0, wander_time_s=40.0)

    sigma = two_gates(recording, levels, 1.0, 1.0 + 20.0 * apart_s)

    expected = np.sqrt(2.0 * (1.0 - np.exp(-apart_s / 40.0))) / 20.0
    assert sigma == pytest.approx(expected, rel=0.01)


def test_where_the_drive_is_known_to_be_smooth_an_interval_has_the_variance_of_a_fitted_parabola():
    # Ordinary least squares: the variance of c'b is s^2 c'(X'X)^-1 c (textbook), here by numpy.
    # Without jerk a drive is a parabola in time; c is the difference of its places at two times.
    time = np.arange(0.0, 12.0, 0.1)
    recording = along_the_finish_straight(20.0 * time - 60.0, time)
    levels = Levels(jerk=1e-9, white_m=0.15, wander_m=1e-4)

    sigma = two_gates(recording, levels, 5.0, 105.0)

    design = np.vander(time, 3)
    difference = np.vander([8.25], 3)[0] - np.vander([3.25], 3)[0]
    place = 0.15 * np.sqrt(difference @ np.linalg.inv(design.T @ design) @ difference)
    assert sigma == pytest.approx(place / 20.0, rel=0.01)


def test_neighbouring_laps_share_a_crossing_and_their_difference_is_less_sure_for_it(session):
    # d = (t2 - t1) - (t1 - t0) has the weights 1, -2, 1.
    _, report = session
    one, two = report.counted[:2]
    shared = one.passed[-1]
    assert shared is two.passed[0]

    together = sum_sigma(
        report.drive,
        [(two.passed[-1], 1.0), (shared, -1.0), (shared, -1.0), (one.passed[0], 1.0)],
    )

    assert together > np.hypot(one.sigma_s, two.sigma_s)


def test_the_sum_of_one_laps_sectors_is_as_sure_as_the_lap(session):
    _, report = session
    lap = report.counted[0]

    terms = [
        pair
        for before, after in zip(lap.passed[:-1], lap.passed[1:], strict=True)
        for pair in ((before, -1.0), (after, 1.0))
    ]

    assert sum_sigma(report.drive, terms) == pytest.approx(lap.sigma_s, rel=1e-9)


def test_sums_worked_out_together_are_as_sure_as_one_by_one(session):
    _, report = session
    one, two, *_ = report.counted
    sums = [
        [(one.passed[0], -1.0), (one.passed[-1], 1.0)],
        [],
        # Out of order of time, one crossing twice, and laps far apart.
        [(two.passed[-1], 1.0), (one.passed[0], -1.0), (one.passed[-1], -1.0), (one.passed[0], 1)],
        [(report.counted[-1].passed[-1], 0.5), (one.passed[1], -0.5)],
    ]
    by_itself = report.drive.with_levels(report.drive.levels)

    for each in (report.drive, by_itself):
        assert sum_sigmas(each, sums) == pytest.approx(
            [sum_sigma(each, terms) for terms in sums], rel=1e-6
        )
    assert sum_sigmas(by_itself, [[], []]) == [0.0, 0.0]


def test_gates_are_timed_wherever_their_ids_come_from():
    left, right = gate_ends(block_circuit(), 0.0)
    track = track_of(block_circuit(), spacing_m=2.0).with_gates(
        [Gate("gate-k3f9", "finish", "Ziel", left, right)]
    )
    outing = drive(block_circuit(), begin_m=1300.0, laps=1.2, cruise=25.0)

    report = time_laps(track, outing.recording(10))

    assert [c.gate for c in report.crossings] == ["gate-k3f9"] * 2


@pytest.mark.parametrize("ahead_m", [-1.5, 0.6])
def test_the_nose_is_timed_where_the_antenna_is_ahead_of_it(block, ahead_m):
    """At a steady 20 m/s the antenna is at the line its offset over 20 m/s before the nose."""
    time = np.arange(0.0, 15.0, 0.1)
    recording = along_the_finish_straight(20.0 * time - 123.4, time)

    (nose,) = time_laps(block, recording, antenna_ahead_m=ahead_m).crossings
    (antenna,) = time_laps(block, recording).crossings

    assert nose.time_s - antenna.time_s == pytest.approx(ahead_m / 20.0, abs=1e-4)


@pytest.mark.parametrize(
    ("from_y", "to_y", "between_ends"), [(8.0, -4.0, True), (2.0, 12.0, False)]
)
def test_a_way_back_crosses_the_gate_where_the_chord_of_its_two_fixes_does(
    from_y, to_y, between_ends
):
    # A gate across x = 0 from y = 5 to y = -5, and fixes 10 m apart that come back over it.
    position = np.array([[15.0, from_y], [5.0, from_y], [-5.0, to_y], [-15.0, to_y]])
    drive = SimpleNamespace(position_m=position, piece=np.zeros(4, dtype=int))

    back = _back(drive, position[:, 0], np.array([0.0, 5.0]), np.array([0.0, -1.0]), 10.0)

    assert back.tolist() == ([1] if between_ends else [])


# How well sums of times are known


@pytest.fixture(scope="module", params=["together", "alone"])
def known(request):
    report = time_laps(driven_block.block(), driven_block.recording())
    drive_ = report.drive if request.param == "together" else report.drive.alone()
    return drive_, report.crossings


def sums_of(crossings):
    """Times between neighbours, over a lap, and of nothing; one crossing comes twice."""
    pairs = [[(a, -1.0), (b, 1.0)] for a, b in pairwise(crossings[:6])]
    pairs += [[(crossings[1], -1.0), (crossings[4], 1.0), (crossings[1], 0.5)], []]
    return [*pairs, [(crossings[2], 1.0), (crossings[5], -2.0), (crossings[7], 1.0)]]


def test_sums_told_together_are_those_told_one_by_one(known):
    drive_, crossings = known
    sums = sums_of(crossings)

    together = sum_sigmas(drive_, sums)

    assert together == pytest.approx([sum_sigma(drive_, terms) for terms in sums], rel=1e-5)
    assert together[-2] == 0.0
    assert sum_sigmas(drive_, [[], []]) == [0.0, 0.0]
    assert sum_sigmas(drive_, []) == []


def test_sums_are_known_as_well_by_what_is_kept_of_all_crossings_together(known):
    drive_, crossings = known
    kept = CrossingCovariance.of(drive_, crossings)
    sums = sums_of(crossings)

    told = kept.sigmas(sums)

    assert told == pytest.approx([sum_sigma(drive_, terms) for terms in sums], rel=1e-4)
    assert sum_sigmas(kept, sums) == pytest.approx(told.tolist())
    assert sum_sigma(kept, sums[0]) == pytest.approx(told[0])
    assert interval_sigma(kept, crossings[0], crossings[1]) == pytest.approx(told[0])


def test_of_no_crossings_there_is_nothing_to_know(known):
    drive_, _ = known

    kept = CrossingCovariance.of(drive_, [])

    assert (dict(kept.place), kept.parts) == ({}, ())
    assert kept.sigmas([]).tolist() == []
    assert with_speed_sigmas(drive_, []) == []


def test_what_is_added_and_taken_off_again_is_known_exactly(known):
    drive_, crossings = known

    assert sum_sigma(drive_, [(crossings[3], 1.0), (crossings[3], -1.0)]) == 0.0
    assert sum_sigma(drive_, []) == 0.0
