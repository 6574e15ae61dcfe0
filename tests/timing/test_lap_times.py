"""Crossings, laps and sectors: what happened is told, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from drives import (
    block_circuit,
    corner_speed,
    drive,
    gate_ends,
    hairpin_circuit,
    hill_course,
    on_earth,
    track_of,
)
from hypothesis import given
from hypothesis import strategies as st

from trackkit.building.build import build_track
from trackkit.errors import PlaceError
from trackkit.gates.placement import with_gate
from trackkit.motion.drive import smooth
from trackkit.motion.noise import Levels
from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.best_times import continuous_best, theoretical_best
from trackkit.timing.crossings import Crossing, cross, interval_sigma, sum_sigma
from trackkit.timing.lap_times import time_laps
from trackkit.timing.laps import laps_between
from trackkit.track.model import Gate, timed_gates
from trackkit.track.places import Place

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0), ("two", "sector", 800.0)]
ORDER = ["finish", "one", "two"]
KINDS = ["positions", "doppler"]


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


def recording_of(position_m, time_s, *, velocity_mps=None, name="invented"):
    longitude, latitude = on_earth(position_m)
    speed = course = None
    if velocity_mps is not None:
        speed = np.hypot(*np.asarray(velocity_mps).T)
        course = np.degrees(np.arctan2(*np.asarray(velocity_mps).T)) % 360.0
    return Recording(name, np.asarray(time_s, dtype=float), longitude, latitude,
                     speed_mps=speed, course_deg=course)  # fmt: skip


def along_the_finish_straight(x_m, time_s, *, y_m=-130.0, doppler=False):
    """Driving along the first long side, y = -130 m, where the finish is at x = 0."""
    x = np.asarray(x_m, dtype=float)
    position = np.column_stack([x, np.broadcast_to(y_m, x.shape)])
    velocity = None
    if doppler:
        velocity = np.column_stack([np.gradient(x, time_s), np.zeros(len(x))])
    return recording_of(position, time_s, velocity_mps=velocity)


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


@pytest.mark.parametrize("doppler", [False, True], ids=KINDS)
def test_noise_free_practice_recordings_are_timed_to_a_millisecond(block, doppler):
    practice = simulate_drive(block, laps=4, rate_hz=10, noise=0.0, doppler=doppler, seed=3)

    report = time_laps(block, practice.recording)

    truth = practice.truth["crossings"]
    assert [c.gate for c in report.crossings] == [c["gate"] for c in truth]
    assert [c.time_s for c in report.crossings] == pytest.approx(
        [c["time_s"] for c in truth], abs=1e-3
    )
    timed = [lap for lap in report.laps if lap.complete]
    assert [lap.number for lap in timed] == [lap["number"] for lap in practice.truth["laps"]]
    for lap, true in zip(timed, practice.truth["laps"], strict=True):
        assert lap.time_s == pytest.approx(true["time_s"], abs=1e-3)
        assert [s.time_s for s in lap.sectors] == pytest.approx(true["sectors_s"], abs=1e-3)


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
    outing = drive(road, begin_m=1200.0, laps=3.3, cruise=corner_speed(road, 30.0),
                   acceleration_mps2=2.5)  # fmt: skip

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


def test_the_gate_counts_again_once_the_vehicle_has_been_away(block):
    time = np.arange(0.0, 60.0, 0.1)
    x = np.interp(time, [0.0, 10.0, 30.0, 50.0, 60.0], [-100.0, 100.0, -100.0, 100.0, 100.0])

    assert len(crossings(block, along_the_finish_straight(x, time))) == 2


def test_no_crossing_is_read_out_of_a_long_gap(block):
    time = np.concatenate([np.arange(0.0, 5.0, 0.1), np.arange(16.0, 20.0, 0.1)])

    assert crossings(block, along_the_finish_straight(10.0 * time - 100.0, time)) == []


def test_no_crossing_is_read_out_of_a_break_between_segments(block):
    time = np.arange(0.0, 15.0, 0.1)
    recording = along_the_finish_straight(17.3 * time - 123.4, time)
    broken = replace(recording, segment=(time > 7.13).astype(np.intp))

    assert crossings(block, broken) == []


def test_a_recording_from_elsewhere_has_no_laps(block):
    time = np.arange(0.0, 15.0, 0.1)
    recording = along_the_finish_straight(17.3 * time - 123.4, time)
    elsewhere = replace(recording, latitude_deg=recording.latitude_deg + 0.2)

    report = time_laps(block, elsewhere)

    assert report.laps == ()
    assert report.best_lap_s is report.theoretical_best_s is report.continuous_best_s is None


def test_a_single_fix_has_no_laps(block):
    report = time_laps(block, recording_of(np.array([[0.0, -130.0]]), [0.0]))

    assert report.laps == ()


# Laps out of a drive


@pytest.fixture(scope="module")
def session(block):
    """Out of the paddock on the last straight, 3.x laps, and back in."""
    outing = drive(
        block_circuit(), begin_m=1300.0, laps=3.4, cruise=25.0, paddock=True, parked_s=10.0
    )
    return outing, time_laps(block, outing.recording(5, doppler=True))


def test_out_lap_flying_laps_and_in_lap_are_told_apart(session):
    _, report = session

    assert [lap.kind for lap in report.laps] == ["out", "flying", "flying", "flying", "in"]
    assert [lap.number for lap in report.laps] == [0, 1, 2, 3, 4]
    assert [lap.complete for lap in report.laps] == [False, True, True, True, False]
    assert all(lap.missed == () for lap in report.laps)


def test_laps_and_sectors_are_those_driven(session):
    outing, report = session
    passes = [outing.passes(chainage) for _, _, chainage in GATES]

    for index, lap in enumerate(report.counted):
        marks = [*(p[index] for p in passes), passes[0][index + 1]]
        assert lap.start_s == pytest.approx(marks[0], abs=0.005)
        assert lap.time_s == pytest.approx(marks[-1] - marks[0], abs=0.005)
        assert [s.time_s for s in lap.sectors] == pytest.approx(np.diff(marks), abs=0.005)
        assert [s.split_s for s in lap.sectors] == pytest.approx(
            np.array(marks[1:]) - marks[0], abs=0.005
        )


def test_the_best_times_are_over_complete_flying_laps(session):
    _, report = session

    assert report.best_lap_s == min(lap.time_s for lap in report.counted)
    assert report.best_lap_s == pytest.approx(block_circuit().length_m / 25.0, abs=0.01)


def test_a_gate_that_was_driven_round_is_missed_and_its_sectors_have_no_times(block):
    # Gate "one" is narrowed so that it lies beside the line driven.
    left, _ = gate_ends(block_circuit(), 347.0, 30.0)
    _, right = gate_ends(block_circuit(), 347.0, -20.0)
    beside = block.with_gates(
        replace(g, left=left, right=right) if g.id == "one" else g for g in block.gates
    )
    outing = drive(block_circuit(), begin_m=1300.0, laps=1.2, cruise=25.0)

    (lap,) = [x for x in time_laps(beside, outing.recording(10)).laps if x.number == 1
              and x.time_s is not None]  # fmt: skip

    assert lap.missed == ("one",)
    assert not lap.complete
    assert [s.time_s is None for s in lap.sectors] == [True, True, False]
    assert lap.time_s == pytest.approx(block_circuit().length_m / 25.0, abs=0.005)


def test_a_lap_through_the_pit_lane_is_marked_and_does_not_count(block):
    with_pit, _, _ = with_gate(block, "pit-entry", Place(chainage_m=1300.0))
    outing = drive(block_circuit(), begin_m=1350.0, laps=2.4, cruise=25.0)

    report = time_laps(with_pit, outing.recording(10))

    assert [lap.kind for lap in report.laps] == ["out", "pit", "pit", "in"]
    assert report.best_lap_s is None


def test_a_track_without_a_finish_gate_cannot_be_timed(block):
    without = replace(block, gates=())

    with pytest.raises(PlaceError, match="has no finish gate"):
        time_laps(without, drive(block_circuit(), laps=0.2).recording(5))


# Laps out of crossings


def crossed(*pairs):
    return [Crossing(gate, float(time), 20.0) for gate, time in pairs]


def laps(*pairs, closed=True, order=ORDER):
    return laps_between(crossed(*pairs), order, closed=closed)


def test_nothing_crossed_is_no_lap():
    assert laps() == []


def test_three_gates_make_three_sectors():
    _, lap, _ = laps(("finish", 10), ("one", 25), ("two", 45), ("finish", 60))

    assert (lap.number, lap.kind, lap.complete) == (1, "flying", True)
    assert (lap.start_s, lap.time_s) == (10.0, 50.0)
    assert [s.time_s for s in lap.sectors] == [15.0, 20.0, 15.0]
    assert [s.split_s for s in lap.sectors] == [15.0, 35.0, 50.0]


def test_what_comes_before_the_first_finish_is_the_out_lap_from_the_first_fix():
    out, *_ = laps(("two", 5), ("finish", 10), ("one", 25), ("two", 45), ("finish", 60))

    assert (out.number, out.kind, out.start_s, out.time_s) == (0, "out", 0.0, None)
    assert out.missed == ()


def test_an_out_lap_that_misses_a_gate_after_its_first_says_so():
    out, *_ = laps(("one", 5), ("finish", 30), ("one", 45), ("two", 60), ("finish", 80))

    assert out.missed == ("two",)


def test_what_comes_after_the_last_finish_is_the_in_lap_without_a_time():
    *_, last = laps(("finish", 10), ("one", 25), ("two", 45), ("finish", 60), ("one", 76))

    assert (last.kind, last.number, last.time_s, last.complete) == ("in", 2, None, False)
    assert last.sectors[0].time_s == 16.0
    assert last.missed == ()


def test_a_missed_sector_gate_is_reported_and_its_times_are_not_invented():
    _, lap, _ = laps(("finish", 10), ("two", 45), ("finish", 60))

    assert lap.missed == ("one",)
    assert not lap.complete
    assert lap.time_s == 50.0
    assert [s.time_s for s in lap.sectors] == [None, None, 15.0]
    assert [s.split_s for s in lap.sectors] == [None, 35.0, 50.0]


def test_a_missed_finish_splits_the_lap_and_neither_half_has_a_time():
    found = laps(
        ("finish", 10), ("one", 25), ("two", 45), ("one", 76), ("two", 95), ("finish", 110),
        ("one", 125), ("two", 145), ("finish", 160),
    )  # fmt: skip

    before, after, whole = found[1:4]
    assert (before.time_s, before.complete, before.missed) == (None, False, ("finish",))
    assert (after.time_s, after.start_s, after.complete) == (None, None, False)
    assert after.missed == ("finish",)
    assert (before.sectors[0].time_s, before.sectors[1].time_s) == (15.0, 20.0)
    assert (after.sectors[1].time_s, after.sectors[2].time_s) == (19.0, 15.0)
    assert (whole.time_s, whole.complete) == (50.0, True)
    assert [lap.number for lap in found] == [0, 1, 2, 3, 4]


def test_a_finish_missed_with_every_sector_gate_makes_a_lap_twice_as_long_that_is_not_complete():
    _, lap, _ = laps(("finish", 10), ("one", 25), ("finish", 110))

    assert lap.missed == ("two",)
    assert not lap.complete


def test_a_lap_through_the_pit_lane_is_a_pit_lap():
    found = laps(
        ("finish", 10), ("one", 25), ("two", 45), ("pit", 50), ("finish", 80), ("one", 95),
        ("two", 115), ("finish", 130),
    )  # fmt: skip

    assert [lap.kind for lap in found] == ["out", "pit", "flying", "in"]


def test_a_stop_in_the_pit_lane_across_the_finish_gate_makes_two_pit_laps():
    # In before the finish line, past it inside the finish gate, out after it.
    found = laps_between(
        crossed(
            ("finish", 10), ("one", 25), ("two", 45), ("pit in", 50), ("finish", 60),
            ("pit out", 90), ("one", 100), ("two", 120), ("finish", 135), ("one", 150),
            ("two", 170), ("finish", 185),
        ),
        ORDER, closed=True, pit_exits=["pit out"],
    )  # fmt: skip

    assert [lap.kind for lap in found] == ["out", "pit", "pit", "flying", "in"]
    assert [lap.time_s for lap in found[1:4]] == [50.0, 75.0, 50.0]


def test_a_pit_lane_that_passes_beside_the_finish_gate_misses_it_and_makes_two_pit_laps():
    found = laps_between(
        crossed(
            ("finish", 10), ("one", 25), ("two", 45), ("pit in", 50), ("pit out", 90),
            ("one", 100), ("two", 120), ("finish", 135), ("one", 150), ("two", 170),
            ("finish", 185),
        ),
        ORDER, closed=True, pit_exits=["pit out"],
    )  # fmt: skip

    assert [(lap.kind, lap.time_s) for lap in found[1:4]] == [
        ("pit", None), ("pit", None), ("flying", 50.0),
    ]  # fmt: skip
    assert found[1].missed == found[2].missed == ("finish",)


def test_a_pit_exit_that_was_not_seen_marks_no_lap_after_the_one_it_would_have_been_in():
    found = laps_between(
        crossed(
            ("finish", 10), ("pit in", 50), ("finish", 60), ("one", 100), ("finish", 135),
            ("one", 150), ("finish", 185),
        ),
        ["finish", "one"], closed=True, pit_exits=["pit out"],
    )  # fmt: skip

    assert [lap.kind for lap in found] == ["out", "pit", "pit", "flying", "in"]


def test_a_speed_gate_tells_a_speed_and_makes_no_sector_and_no_pit_lap():
    found = laps_between(
        crossed(
            ("finish", 10), ("one", 25), ("trap", 33), ("two", 45), ("finish", 60), ("one", 75),
            ("two", 95), ("finish", 110),
        ),
        ORDER, closed=True, speed_places={"trap": 1.5},
    )  # fmt: skip

    assert [lap.kind for lap in found] == ["out", "flying", "flying", "in"]
    assert [[c.time_s for c in lap.speed_gates] for lap in found] == [[], [33.0], [], []]
    assert len(found[1].sectors) == 3
    assert found[2].complete


def test_a_speed_gate_passed_after_a_missed_finish_belongs_to_the_lap_it_was_passed_on():
    found = laps_between(
        crossed(
            ("finish", 10), ("trap", 15), ("one", 25), ("two", 45), ("trap", 65), ("one", 76),
            ("two", 95), ("finish", 110),
        ),
        ORDER, closed=True, speed_places={"trap": 0.5},
    )  # fmt: skip

    assert [[c.time_s for c in lap.speed_gates] for lap in found[1:3]] == [[15.0], [65.0]]


def test_speed_gates_are_timed_on_the_road(block):
    trap, gate, _ = with_gate(block, "speed", Place(chainage_m=1200.0))
    outing = drive(block_circuit(), begin_m=1300.0, laps=2.2, cruise=lambda s: 20.0 + s % 3.0)

    report = time_laps(trap, outing.recording(10, doppler=True))

    passed = [c for lap in report.laps for c in lap.speed_gates]
    assert [c.gate for c in passed] == [gate.id] * 2
    assert [c.time_s for c in passed] == pytest.approx(outing.passes(1200.0), abs=0.005)
    assert [c.speed_mps for c in passed] == pytest.approx(
        [float(outing.way(c.time_s)[1]) for c in passed], abs=0.5
    )


def test_without_sector_gates_a_lap_is_one_sector():
    _, lap, _ = laps(("finish", 10), ("finish", 60), order=["finish"])

    assert [s.time_s for s in lap.sectors] == [50.0]
    assert lap.complete


def test_a_point_to_point_course_has_runs_and_nothing_between_them():
    runs = laps(
        ("start", 10), ("one", 30), ("finish", 60), ("start", 200), ("one", 219), ("finish", 247),
        closed=False, order=["start", "one", "finish"],
    )  # fmt: skip

    assert [run.time_s for run in runs] == [50.0, 47.0]
    assert [run.kind for run in runs] == ["flying", "flying"]
    assert [run.number for run in runs] == [1, 2]
    assert [[s.time_s for s in run.sectors] for run in runs] == [[20.0, 30.0], [19.0, 28.0]]


def test_a_run_that_is_broken_off_has_no_time():
    runs = laps(
        ("start", 10), ("one", 30), ("start", 200), ("one", 219), ("finish", 247),
        closed=False, order=["start", "one", "finish"],
    )  # fmt: skip

    assert [run.time_s for run in runs] == [None, 47.0]
    assert not runs[0].complete
    assert runs[0].missed == ("finish",)


def test_an_open_course_is_timed_from_start_to_finish():
    road = hill_course()
    gates = [("start", "start", 50.0), ("mid", "sector", 600.0), ("finish", "finish", 1200.0)]
    track = track_of(road, gates=gates, spacing_m=2.0)
    outing = drive(road, cruise=18.0, from_rest=True)

    report = time_laps(track, outing.recording(10, doppler=True))

    (run,) = report.laps
    (start,), (middle,), (end,) = (outing.passes(c) for _, _, c in gates)
    assert [g.id for g in timed_gates(track)] == ["start", "mid", "finish"]
    assert run.complete
    assert run.time_s == pytest.approx(end - start, abs=0.002)
    assert [s.time_s for s in run.sectors] == pytest.approx(
        [middle - start, end - middle], abs=2e-3
    )
    assert report.best_lap_s == run.time_s


# Best times


def best_of(table):
    """Best lap, theoretical and continuous best of laps given as sector times."""
    pairs, now = [("finish", 0.0)], 0.0
    order = ["finish", *(f"s{n}" for n in range(1, len(table[0])))]
    for lap in table:
        for gate, sector in zip([*order[1:], "finish"], lap, strict=True):
            now += sector
            pairs.append((gate, now))
    found = laps(*pairs, order=order)
    counted = [lap for lap in found if lap.complete]
    return counted, theoretical_best(counted), continuous_best(found)


def test_theoretical_best_is_the_sum_of_the_best_sectors_and_continuous_best_one_run():
    # By hand: laps of 60 and 55 s; best sectors 10 + 20 + 20; from the first sector gate of the
    # first lap to that of the second, 20 + 20 + 10 = 50 s in one go.
    counted, theoretical, continuous = best_of([[20, 20, 20], [10, 20, 25]])

    assert [lap.time_s for lap in counted] == [60.0, 55.0]
    assert theoretical == 50.0
    assert continuous == 50.0


def test_continuous_best_may_be_the_best_lap_itself():
    # By hand: runs of 60, 62, 57 and 55 s; best sectors 10 + 15 + 28.
    _, theoretical, continuous = best_of([[10, 20, 30], [12, 15, 28]])

    assert (theoretical, continuous) == (53.0, 55.0)


SECTORS = st.integers(1, 5).flatmap(
    lambda n: st.lists(
        st.lists(st.floats(1.0, 120.0), min_size=n, max_size=n), min_size=1, max_size=8
    )
)


@given(SECTORS)
def test_a_lap_is_the_sum_of_its_sectors(table):
    counted, _, _ = best_of(table)

    assert len(counted) == len(table)
    for lap, sectors in zip(counted, table, strict=True):
        assert lap.time_s == pytest.approx(sum(sectors), abs=1e-9)
        assert sum(s.time_s for s in lap.sectors) == pytest.approx(lap.time_s, abs=1e-9)
        assert lap.sectors[-1].split_s == lap.time_s


@given(SECTORS)
def test_theoretical_best_is_at_most_continuous_best_is_at_most_the_best_lap(table):
    # Common practice, no source.
    counted, theoretical, continuous = best_of(table)

    assert theoretical <= continuous + 1e-9
    assert continuous <= min(lap.time_s for lap in counted) + 1e-9


@given(SECTORS)
def test_where_the_best_sectors_follow_one_another_theoretical_equals_continuous(table):
    # Each sector of the last lap is made the fastest of its kind.
    table = [*table, [0.5 + 0.01 * n for n in range(len(table[0]))]]

    counted, theoretical, continuous = best_of(table)

    assert theoretical == pytest.approx(continuous, abs=1e-9)
    assert continuous == pytest.approx(counted[-1].time_s, abs=1e-9)


@given(SECTORS, st.data())
def test_best_sectors_that_follow_one_another_across_a_finish_line_are_one_run_too(table, data):
    count = len(table[0])
    begun = data.draw(st.integers(0, count - 1))
    quick = [0.5 + 0.01 * n for n in range(count)]
    table = [*table, [60.0] * begun + quick[begun:], quick[:begun] + [60.0] * (count - begun)]

    _, theoretical, continuous = best_of(table)

    assert theoretical == pytest.approx(continuous, abs=1e-9)
    assert theoretical == pytest.approx(sum(quick), abs=1e-9)


def test_the_continuous_best_of_a_point_to_point_course_is_its_best_run():
    # The end of one run and the beginning of the next are not driven in one go.
    runs = laps(
        ("start", 10), ("one", 60), ("finish", 70), ("start", 200), ("one", 210), ("finish", 260),
        closed=False, order=["start", "one", "finish"],
    )  # fmt: skip

    assert continuous_best(runs) == 60.0
    assert theoretical_best(runs) == 20.0


@given(st.lists(st.sampled_from([*ORDER, "pit"]), max_size=30))
def test_whatever_is_crossed_no_time_is_invented(gates):
    times = [10.0 + 7.0 * n for n in range(len(gates))]
    found = laps(*zip(gates, times, strict=True))

    known = set(times)
    for lap in found:
        if lap.time_s is not None:
            assert lap.start_s in known
            assert any(abs(lap.start_s + lap.time_s - t) < 1e-9 for t in known)
        if lap.complete:
            assert lap.missed == ()
            assert None not in [s.time_s for s in lap.sectors]
        elif lap.kind == "flying":
            assert lap.missed
    assert sum(lap.time_s is not None for lap in found) <= max(gates.count("finish") - 1, 0)


def test_a_pit_lap_between_breaks_the_run_of_the_continuous_best():
    found = laps(
        ("finish", 0), ("one", 20), ("two", 40), ("finish", 60), ("pit", 61), ("one", 62),
        ("two", 64), ("finish", 66), ("one", 86), ("two", 106), ("finish", 126),
    )  # fmt: skip

    assert continuous_best(found) == 60.0


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


def test_the_uncertainty_of_a_sector_knows_that_its_gates_are_crossed_in_other_directions(block):
    # A wander that hardly changes in a lap makes each crossing late by its share along the gate's
    # normal over the speed; finish is crossed eastward and "two" westward, both at 25 m/s.  Truth
    # is known: nearly all sectors must lie within three sigma (normal: 99.7 %).
    z = []
    for seed in range(4):
        outing = drive(block_circuit(), begin_m=1300.0, laps=6.2, cruise=25.0)
        report = time_laps(block, outing.recording(5, doppler=True, noise=1.0, seed=seed))
        passes = [outing.passes(chainage) for _, _, chainage in GATES]
        for index, lap in enumerate(report.counted):
            true = np.diff([*(p[index] for p in passes), passes[0][index + 1]])
            z += [(s.time_s - t) / s.sigma_s for s, t in zip(lap.sectors, true, strict=True)]

    assert np.mean(np.abs(z) < 3) > 0.95
    assert np.mean(np.abs(z) < 1) > 0.4


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


def test_best_times_carry_an_uncertainty(session):
    _, report = session

    assert report.best_lap is min(report.counted, key=lambda lap: lap.time_s)
    assert 0 < report.continuous_best_sigma_s < 0.2
    assert 0 < report.theoretical_best_sigma_s < 0.2


# A kart circuit


def test_a_kart_circuit_with_a_lap_near_50_s_has_three_sectors_of_like_length():
    # Common practice, no source: three sectors on a kart circuit whose lap takes about 50 s.
    road = hairpin_circuit()
    outing = drive(road, begin_m=600.0, laps=3.4, cruise=corner_speed(road, 25.0),
                   acceleration_mps2=4.0)  # fmt: skip
    recording = outing.recording(10, doppler=True)
    track = build_track([recording], "Invented Kart Circuit", sectors=3).track

    report = time_laps(track, recording)

    assert [gate.kind for gate in track.gates] == ["finish", "sector", "sector"]
    for lap in report.counted:
        assert 40.0 < lap.time_s < 65.0
        assert len(lap.sectors) == 3
        assert min(s.time_s for s in lap.sectors) > 0.15 * lap.time_s
    assert len(report.counted) in (2, 3)


def test_gates_are_timed_wherever_their_ids_come_from():
    left, right = gate_ends(block_circuit(), 0.0)
    track = track_of(block_circuit(), spacing_m=2.0).with_gates(
        [Gate("gate-k3f9", "finish", "Ziel", left, right)]
    )
    outing = drive(block_circuit(), begin_m=1300.0, laps=1.2, cruise=25.0)

    report = time_laps(track, outing.recording(10))

    assert [c.gate for c in report.crossings] == ["gate-k3f9"] * 2
