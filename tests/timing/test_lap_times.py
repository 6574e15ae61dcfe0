"""Drives timed: laps and sectors as they were driven, and how well they are known."""

from dataclasses import replace

import driven_block
import numpy as np
import pytest
from drives import (
    block_circuit,
    corner_speed,
    drive,
    gate_ends,
    hairpin_circuit,
    hill_course,
    track_of,
)
from timed_block import GATES, KINDS, along_the_finish_straight, recording_of

from trackkit.building.build import build_track
from trackkit.errors import PlaceError
from trackkit.gates.edit import move_gate
from trackkit.gates.placement import with_gate
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import (
    TimedRecording,
    _same_plane,
    held_together,
    time_laps,
    timed_over,
)
from trackkit.timing.rules import LapRules
from trackkit.track.crossed import timed_gates
from trackkit.track.places import Place


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

    (lap,) = [
        x
        for x in time_laps(beside, outing.recording(10)).laps
        if x.number == 1 and x.time_s is not None
    ]

    assert lap.missed == ("one",)
    assert not lap.complete
    assert [s.time_s is None for s in lap.sectors] == [True, True, False]
    assert lap.time_s == pytest.approx(block_circuit().length_m / 25.0, abs=0.005)


def test_a_lap_through_the_pit_lane_is_marked_and_does_not_count(block):
    with_pit, _, _ = with_gate(block, "pit-entry", Place(chainage_m=1300.0, anyway=True))
    outing = drive(block_circuit(), begin_m=1350.0, laps=2.4, cruise=25.0)

    report = time_laps(with_pit, outing.recording(10))

    assert [lap.kind for lap in report.laps] == ["out", "pit", "pit", "in"]
    assert report.best_lap_s is None


def test_a_track_without_a_finish_gate_cannot_be_timed(block):
    without = replace(block, gates=())

    with pytest.raises(PlaceError, match="has no finish gate"):
        time_laps(without, drive(block_circuit(), laps=0.2).recording(5))


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


# Uncertainties


@pytest.mark.slow
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


def test_best_times_carry_an_uncertainty(session):
    _, report = session

    assert report.best_lap is min(report.counted, key=lambda lap: lap.time_s)
    assert 0 < report.continuous_best_sigma_s < 0.2
    assert 0 < report.theoretical_best_sigma_s < 0.2


def test_a_kart_circuit_with_a_lap_near_50_s_has_three_sectors_of_like_length():
    # Common practice, no source: three sectors on a kart circuit whose lap takes about 50 s.
    road = hairpin_circuit()
    outing = drive(
        road, begin_m=600.0, laps=3.4, cruise=corner_speed(road, 25.0), acceleration_mps2=4.0
    )
    recording = outing.recording(10, doppler=True)
    track = build_track([recording], "Invented Kart Circuit", sectors=3).track

    report = time_laps(track, recording)

    assert [gate.kind for gate in track.gates] == ["finish", "sector", "sector"]
    for lap in report.counted:
        assert 40.0 < lap.time_s < 65.0
        assert len(lap.sectors) == 3
        assert min(s.time_s for s in lap.sectors) > 0.15 * lap.time_s
    assert len(report.counted) in (2, 3)


def test_planes_a_centimetre_apart_are_one_and_planes_a_metre_apart_are_two(block):
    plane = block.plane
    for metres, alike in ((0.001, True), (1.0, False), (-1.0, False)):
        degrees = metres / 111_195.0
        north = replace(plane, latitude_deg=plane.latitude_deg + degrees)
        east = replace(plane, longitude_deg=plane.longitude_deg + degrees)

        assert _same_plane(plane, north) == _same_plane(plane, east) == alike


# Timed again over gates that move


@pytest.fixture
def timed():
    """Timed over the block, on which the laps tell of each other."""
    recording = TimedRecording.smoothed(driven_block.recording(), driven_block.block().plane)
    return recording, recording.report(driven_block.block())


def moved_to(chainage_m):
    return move_gate(driven_block.block(), "gate-a", Place(chainage_m=chainage_m)).track


@pytest.mark.slow
def test_while_a_gate_is_dragged_times_follow_it_and_uncertainties_are_those_of_before(timed):
    recording, before = timed
    drive_ = recording.drive

    dragged = recording.report(moved_to(400.0), dragging=True)

    assert recording.drive is drive_
    for lap, was in zip(dragged.counted, before.counted, strict=True):
        assert lap.sectors[0].time_s > was.sectors[0].time_s + 1.0
        assert [sector.sigma_s for sector in lap.sectors] == [s.sigma_s for s in was.sectors]
        assert (lap.time_s, lap.sigma_s) == (was.time_s, was.sigma_s)
    assert dragged.theoretical_best_s != before.theoretical_best_s
    assert dragged.theoretical_best_sigma_s is None
    assert before.theoretical_best_sigma_s is not None


@pytest.mark.slow
def test_where_a_dragged_gate_is_let_go_all_is_as_if_timed_anew(timed):
    recording, _ = timed
    for chainage_m in (380.0, 400.0):
        recording.report(moved_to(chainage_m), dragging=True)

    left = recording.report(moved_to(400.0))

    anew = TimedRecording.smoothed(driven_block.recording(), moved_to(400.0).plane)
    expected = anew.report(moved_to(400.0))
    for lap, other in zip(left.laps, expected.laps, strict=True):
        assert lap.time_s == other.time_s
        assert [s.sigma_s for s in lap.sectors] == pytest.approx([s.sigma_s for s in other.sectors])
    assert left.theoretical_best_sigma_s == pytest.approx(expected.theoretical_best_sigma_s)


@pytest.mark.slow
def test_the_same_track_and_rules_are_timed_once(timed):
    recording, report = timed
    track = driven_block.block()

    assert recording.report(track) is report
    assert recording.report(track, rules=LapRules(within=1.5)) is not report
    again = recording.again_over(replace(track, notes="a copy"))
    assert again is recording
    assert recording.wander_laps == 4


@pytest.mark.slow
def test_a_report_held_together_is_as_sure_of_its_times(timed):
    _, report = timed

    held = held_together(report)

    terms = [(report.crossings[0], -1.0), (report.crossings[5], 1.0)]
    assert held.sigma_of(terms) == pytest.approx(report.sigma_of(terms), rel=1e-4)
    assert held.laps == report.laps
    # In memory that grows as the square of their number, not of very many.
    many = replace(report, crossings=report.crossings * 200)
    assert held_together(many) is many


def test_a_track_without_gates_is_smoothed_and_not_timed():
    bare = driven_block.block().with_gates([])

    timed = timed_over(bare, driven_block.recording())

    assert timed.drive is timed.by_itself
    assert timed.wander_laps == 0
