"""The other direction's track: nothing moves on the ground, and what is timed is the same."""

from dataclasses import replace

import numpy as np
import pytest
from checkout import TRACKS
from drives import (
    block_circuit,
    corner_speed,
    drive,
    figure_of_eight,
    gate_ends,
    hill_course,
    on_earth,
    track_of,
)

from trackkit.checks.check import check_track
from trackkit.timing.lap_times import time_laps
from trackkit.track.features import Crossover, Gate, PitLane
from trackkit.track.file import read_track
from trackkit.track.reverse import reverse_track

GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


def test_gates_keep_their_ids_and_swap_their_ends(block):
    turned, _ = reverse_track(block)

    assert [gate.id for gate in turned.gates] == ["finish", "gate-b", "gate-a"]
    for gate in block.gates:
        assert turned.gate(gate.id).left == gate.right
        assert turned.gate(gate.id).right == gate.left


def test_chainages_count_the_other_way(block):
    turned, _ = reverse_track(block)

    length = block_circuit().length_m
    assert turned.gate("finish").chainage_m == 0.0
    assert turned.gate("gate-a").chainage_m == pytest.approx(length - 347.0, abs=0.02)
    assert turned.gate("gate-b").chainage_m == pytest.approx(length - 800.0, abs=0.02)


def test_the_direction_turns_and_left_handers_become_right_handers(block):
    turned, _ = reverse_track(block)

    assert (block.direction, turned.direction) == ("anticlockwise", "clockwise")
    assert {corner.turn for corner in turned.corners} == {"right"}
    assert len(turned.corners) == 4


def test_the_reversed_track_has_nothing_to_be_said_about_its_geometry(block):
    turned, _ = reverse_track(block)

    assert [f for f in check_track(turned) if f.severity == "error"] == []


def test_a_drive_run_backwards_in_time_takes_the_same_times_over_the_reversed_track(block):
    road = block_circuit()
    outing = drive(road, begin_m=1200.0, laps=3.4, cruise=corner_speed(road, 25.0))
    forward = outing.recording(10, doppler=False, noise=0.0, seed=1)
    backward = replace(
        forward,
        time_s=forward.time_s[-1] - forward.time_s[::-1],
        longitude_deg=forward.longitude_deg[::-1].copy(),
        latitude_deg=forward.latitude_deg[::-1].copy(),
        elevation_m=None,
        accuracy_m=None,
        segment=None,
    )

    ahead = time_laps(block, forward)
    back = time_laps(reverse_track(block)[0], backward)

    there = [lap for lap in ahead.laps if lap.counts]
    again = [lap for lap in back.laps if lap.counts]
    assert len(there) == len(again) == 2 or len(there) == len(again) == 3
    for lap, other in zip(there, again[::-1], strict=True):
        assert other.time_s == pytest.approx(lap.time_s, abs=1e-4)
        for sector, turned in zip(lap.sectors, other.sectors[::-1], strict=True):
            assert turned.time_s == pytest.approx(sector.time_s, abs=1e-4)


def test_pit_entry_and_pit_exit_change_places_and_the_lane_runs_the_other_way(block):
    road = block_circuit()
    gates = []
    for gate_id, kind, where in (("gate-in", "pit-entry", 1300.0), ("gate-out", "pit-exit", 80.0)):
        left, right = gate_ends(road, where, 4.0)
        name = kind.replace("-", " ").capitalize()
        gates.append(Gate(gate_id, kind, name, left, right, chainage_m=where))
    longitude, latitude = on_earth(np.array([[-100.0, -150.0], [0.0, -150.0], [90.0, -150.0]]))
    lane = PitLane("lane", longitude, latitude)
    turned, _ = reverse_track(replace(block.with_gates([*block.gates, *gates]), pit_lanes=(lane,)))

    assert (turned.gate("gate-in").kind, turned.gate("gate-in").name) == ("pit-exit", "Pit exit")
    assert turned.gate("gate-out").kind == "pit-entry"
    assert turned.pit_lanes[0].longitude_deg.tolist() == longitude[::-1].tolist()


def test_the_width_profile_and_the_bridge_are_counted_the_other_way():
    road = figure_of_eight()
    track = track_of(road, gates=[("finish", "finish", 50.0)], direction=None, spacing_m=2.0)
    track = replace(
        track,
        centreline=replace(track.centreline, width_profile=((0.0, 4.0, 5.0), (100.0, 6.0, 7.0))),
        crossovers=(Crossover(over_m=0.0, under_m=0.5 * road.length_m),),
    )
    turned, _ = reverse_track(track)

    length = track.curve.length_m
    assert turned.centreline.width_profile == ((length - 100.0, 7.0, 6.0), (length, 5.0, 4.0))
    assert turned.crossovers[0].under_m == pytest.approx(0.5 * length, abs=0.01)
    assert [f.rule for f in check_track(turned) if f.severity == "error"] == []


def test_start_and_finish_of_an_open_course_change_places():
    gates = [("start", "start", 20.0), ("mid", "sector", 600.0), ("finish", "finish", 1200.0)]
    track = track_of(hill_course(), gates=gates, spacing_m=2.0)
    turned, _ = reverse_track(track)

    assert [(g.id, g.kind) for g in turned.gates] == [
        ("start", "start"),
        ("mid", "sector"),
        ("finish", "finish"),
    ]
    assert turned.gate("start").left == track.gate("finish").right
    assert turned.gate("start").name == "Start"
    assert turned.gate("start").chainage_m == pytest.approx(track.curve.length_m - 1200.0, abs=0.02)


@pytest.mark.parametrize(
    "name", ["morrowfen", "orrinback-hill", "twistlemoor", "saltpenny-atoll-clockwise"]
)
def test_reversing_twice_gives_the_first_again(name):
    track = read_track(TRACKS / f"{name}.geojson")
    again, _ = reverse_track(reverse_track(track)[0])

    assert (again.id, again.layout, again.direction) == (track.id, track.layout, track.direction)
    assert again.centreline.longitude_deg.tolist() == track.centreline.longitude_deg.tolist()
    for gate, other in zip(track.gates, again.gates, strict=True):
        assert (other.id, other.kind, other.name) == (gate.id, gate.kind, gate.name)
        assert (other.left, other.right) == (gate.left, gate.right)
        assert other.chainage_m == pytest.approx(gate.chainage_m, abs=0.01)


def test_the_layout_says_which_way():
    track = read_track(TRACKS / "saltpenny-atoll-clockwise.geojson")
    plain = read_track(TRACKS / "morrowfen.geojson")

    assert reverse_track(track)[0].id == "saltpenny-atoll-anticlockwise"
    assert reverse_track(plain)[0].layout == "reversed"


def test_findings_accepted_for_one_direction_are_not_taken_over(block):
    entry = {"rule": "gate-not-square", "feature": "gate-b", "reason": "kerb", "date": "2024-01-01"}
    turned, said = reverse_track(replace(block, accepted=(entry,)))

    assert turned.accepted == ()
    assert any("not taken over" in text for text in said)
