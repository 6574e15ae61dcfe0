"""What is told of each crossing, on the block circuit, against the drive itself."""

from __future__ import annotations

import numpy as np
import pytest
from driven_block import block as driven_block
from driven_block import recording
from drives import block_circuit, drive, track_of
from timed_block import along_the_finish_straight

from trackkit.timing.column_names import AT_CROSSING
from trackkit.timing.crossing_columns import (
    GateCrossing,
    crossing_columns,
    gate_crossings,
    lap_of_crossing,
)
from trackkit.timing.crossings import interval_sigma, with_speed_sigmas
from trackkit.timing.lap_times import time_laps


@pytest.fixture(scope="module")
def report():
    return time_laps(driven_block(), recording())


@pytest.fixture(scope="module")
def placed(report):
    return gate_crossings(report)


@pytest.fixture(scope="module")
def columns(report, placed):
    return crossing_columns(driven_block(), report, placed)


def test_each_crossing_is_listed_once_in_order_of_time(report, placed):
    assert [each.crossing for each in placed] == list(report.crossings)


def test_a_crossing_is_of_the_lap_that_it_ends_or_else_of_the_one_that_it_is_in(report, placed):
    of_crossing = {id(each.crossing): each.lap for each in placed}
    for lap in report.counted:
        assert all(of_crossing[id(crossing)] is lap for crossing in lap.passed[1:])
    first = report.counted[0]
    assert of_crossing[id(first.passed[0])] is report.laps[0]


def test_before_the_first_lap_begins_a_crossing_is_of_none(report, placed):
    only = [GateCrossing(placed[0].crossing, None)]

    assert lap_of_crossing(report, only[0]) == (1, 0, None)
    elapsed = crossing_columns(driven_block(), report, only)
    assert np.isnan(elapsed["elapsed_s"][0])
    assert np.isnan(elapsed["elapsed_sigma_s"][0])


def test_a_crossing_tells_session_number_and_kind_of_its_lap(report, placed):
    lap = report.counted[1]
    (ends,) = (each for each in placed if each.crossing is lap.passed[-1])

    assert lap_of_crossing(report, ends) == (lap.session, lap.number, "flying")


def test_speed_gates_and_pit_visits_are_of_the_lap_they_are_in():
    gates = [("finish", "finish", 0.0), ("fast", "speed", 600.0)]
    gates += [("in", "pit-entry", 1000.0), ("out", "pit-exit", 1200.0)]
    track = track_of(block_circuit(), gates=gates, spacing_m=2.0)
    outing = drive(block_circuit(), begin_m=1300.0, laps=2.3, cruise=25.0)
    report = time_laps(track, outing.recording(5, doppler=True))

    for each in gate_crossings(report):
        if each.crossing.gate != "finish":
            begun_s, time_s = each.lap.start_s, each.crossing.time_s
            assert begun_s is None or begun_s < time_s


def test_times_and_speeds_are_those_of_the_crossings(columns, placed):
    assert list(columns) == list(AT_CROSSING)
    crossings = [each.crossing for each in placed]
    assert columns["time_s"].tolist() == [crossing.time_s for crossing in crossings]
    assert columns["speed_mps"] == pytest.approx([c.speed_mps for c in crossings], rel=1e-9)


def test_time_elapsed_is_since_the_lap_began_and_known_as_the_time_between(report, placed, columns):
    for row, each in enumerate(placed):
        begun = None if each.lap is None else each.lap.passed[0]
        if begun is None:
            assert np.isnan(columns["elapsed_s"][row])
        elif begun is each.crossing:
            assert columns["elapsed_s"][row] == columns["elapsed_sigma_s"][row] == 0.0
        else:
            assert columns["elapsed_s"][row] == each.crossing.time_s - begun.time_s
            assert columns["elapsed_sigma_s"][row] == pytest.approx(
                interval_sigma(report.drive, begun, each.crossing), rel=1e-4
            )


def test_places_lie_on_the_line_of_their_gates(columns, placed):
    track = driven_block()
    place = track.plane.to_plane(columns["longitude_deg"], columns["latitude_deg"])
    for at, each in zip(place, placed, strict=True):
        left, right = track.gate_ends(track.gate(each.crossing.gate))
        ends = np.linalg.norm(at - left), np.linalg.norm(at - right)
        assert sum(ends) == pytest.approx(np.linalg.norm(right - left), abs=1e-3)


def test_chainage_and_offset_are_those_of_the_place(columns, placed):
    track = driven_block()
    place = track.plane.to_plane(columns["longitude_deg"], columns["latitude_deg"])
    heading = np.array(
        [-np.subtract(*track.gate_ends(track.gate(each.crossing.gate))) for each in placed]
    )
    heading = np.stack([-heading[:, 1], heading[:, 0]], axis=1)
    heading /= np.linalg.norm(heading, axis=1, keepdims=True)

    where, offset = track.curve.project(place, heading)

    apart = track.curve.separation(columns["chainage_m"] % track.curve.length_m, where)
    assert apart == pytest.approx(0.0, abs=1e-3)
    assert columns["offset_m"] == pytest.approx(offset, abs=1e-3)


@pytest.mark.parametrize("aside_m", [-3.0, 4.0])
def test_a_vehicle_beside_the_line_is_as_far_to_its_left(aside_m):
    track = track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)
    time = np.arange(0.0, 20.0, 0.1)
    straight = along_the_finish_straight(
        -150.0 + 20.0 * time, time, y_m=-130.0 + aside_m, doppler=True
    )
    report = time_laps(track, straight)

    columns = crossing_columns(track, report, gate_crossings(report))

    # East along the straight, left is north; at a steady pace on a straight nothing accelerates.
    assert columns["offset_m"] == pytest.approx([aside_m], abs=0.01)
    assert columns["chainage_m"] == pytest.approx([0.0], abs=0.01)
    assert columns["longitudinal_mps2"] == pytest.approx([0.0], abs=0.05)
    assert columns["lateral_mps2"] == pytest.approx([0.0], abs=0.05)


def test_accelerations_are_those_of_the_drive_along_its_way_and_to_the_left(report, columns):
    _, _, motion = report.drive.motion_at(columns["time_s"])
    for row, (_, velocity, acceleration) in enumerate(motion):
        onward = velocity / np.linalg.norm(velocity)
        assert columns["longitudinal_mps2"][row] == pytest.approx(acceleration @ onward)
        left = np.array([-onward[1], onward[0]])
        assert columns["lateral_mps2"][row] == pytest.approx(acceleration @ left)


def test_speeds_of_a_drive_alone_are_known_as_at_speed_gates():
    outing = drive(block_circuit(), begin_m=1300.0, laps=1.2, cruise=25.0)
    report = time_laps(driven_block(), outing.recording(5, doppler=True, noise=1.0, seed=2))
    assert report.drive.line is None

    columns = crossing_columns(driven_block(), report, gate_crossings(report))

    alone = with_speed_sigmas(report.drive, report.crossings)
    assert columns["speed_sigma_mps"] == pytest.approx([c.speed_sigma_mps for c in alone], rel=1e-6)


def test_an_offset_is_known_as_a_place_that_stays_on_the_gate(report, placed, columns):
    # A vehicle farther along its way passes the gate earlier, and then is farther back again:
    # what is left of it is how far it moves along the gate, seen square to the line.
    track, drive_ = driven_block(), report.drive
    for row in range(0, len(placed), 3):
        crossing = placed[row].crossing
        left, right = track.gate_ends(track.gate(crossing.gate))
        across = (right - left) / np.linalg.norm(right - left)
        _, _, motion = drive_.motion_at(np.array([crossing.time_s]))
        slope = across - (motion[0, 1] @ across) * np.array(crossing.delay)
        sigma = np.sqrt(
            drive_.variance(np.array([crossing.fix]), np.array([crossing.share]), slope[None])
        )
        # The gates lie square to the line.
        assert columns["offset_sigma_m"][row] == pytest.approx(sigma, rel=1e-3)


def test_of_no_crossings_every_column_is_empty(report):
    columns = crossing_columns(driven_block(), report, [])

    assert {name: len(values) for name, values in columns.items()} == dict.fromkeys(AT_CROSSING, 0)
