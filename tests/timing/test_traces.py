"""Traces: time, speed and acceleration against chainage, by school mechanics."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, corner_speed, drive, hill_course, track_of

from trackkit.timing.lap_times import time_laps
from trackkit.timing.sessions import Session
from trackkit.timing.traces import COLUMNS, trace_lap, trace_lines, traces_csv

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0)]


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


@pytest.fixture(scope="module")
def steady(block):
    """Two laps at 25 m/s round bends of 30 m radius, without noise."""
    outing = drive(block_circuit(), begin_m=1300.0, laps=2.2, cruise=25.0)
    return time_laps(block, outing.recording(10, doppler=True))


def traced(track, report, number=1):
    (lap,) = (lap for lap in report.laps if lap.number == number)
    return trace_lap(track, report.drive, lap)


def test_at_constant_speed_time_is_chainage_over_speed(block, steady):
    trace = traced(block, steady)

    # Round a bend the smoothed drive may leave the line by a little.
    assert trace.chainage_m.tolist() == list(range(int(block_circuit().length_m) + 1))
    assert trace.elapsed_s == pytest.approx(trace.chainage_m / 25.0, abs=0.01)
    assert trace.speed_mps == pytest.approx(25.0, abs=0.3)


def test_a_bend_taken_at_constant_speed_pulls_by_speed_squared_over_radius_to_its_side(
    block, steady
):
    # v^2 / R = 625 / 30 m/s^2 (school mechanics); the bends are left-handers.
    trace = traced(block, steady)
    in_bend = (trace.chainage_m > 212) & (trace.chainage_m < 235)
    on_straight = (trace.chainage_m > 60) & (trace.chainage_m < 140)

    assert trace.lateral_mps2[in_bend] == pytest.approx(625.0 / 30.0, rel=0.1)
    assert trace.lateral_mps2[on_straight] == pytest.approx(0.0, abs=0.3)


def test_braking_is_negative_and_accelerating_positive_along_the_way():
    road = block_circuit()
    track = track_of(road, gates=GATES, spacing_m=2.0)
    outing = drive(
        road, begin_m=1300.0, laps=1.3, cruise=corner_speed(road, 30.0), acceleration_mps2=2.5
    )
    report = time_laps(track, outing.recording(25, doppler=True))

    trace = traced(track, report)

    # v^2 changes by 2 a s: out of the bends at sqrt(8 * 30) = 15.5 m/s.
    gaining = (trace.chainage_m > 500) & (trace.chainage_m < 580)
    braking = (trace.chainage_m > 820) & (trace.chainage_m < 880)
    assert trace.longitudinal_mps2[gaining] == pytest.approx(2.5, abs=0.2)
    assert trace.longitudinal_mps2[braking] == pytest.approx(-2.5, abs=0.2)
    expected = np.sqrt(240.0 + 2 * 2.5 * (trace.chainage_m[gaining] - 494.25))
    assert trace.speed_mps[gaining] == pytest.approx(expected, abs=0.3)


def test_elapsed_time_at_a_gate_is_the_split_there(block):
    outing = drive(block_circuit(), begin_m=1300.0, laps=1.3, cruise=25.0)
    report = time_laps(block, outing.recording(5, doppler=True, noise=1.0, seed=4))
    (lap,) = report.counted

    trace = trace_lap(block, report.drive, lap)

    at_gate = np.interp(347.0, trace.chainage_m, trace.elapsed_s)
    assert at_gate == pytest.approx(lap.sectors[0].split_s, abs=1e-3)
    end = np.interp(1388.0, trace.chainage_m, trace.elapsed_s)
    assert end == pytest.approx(lap.time_s - 0.5 / 25.0, abs=5e-3)


def test_a_vehicle_that_stops_and_drives_on_has_one_time_at_each_place(block):
    outing = drive(block_circuit(), begin_m=1300.0, reach_m=1600.0, stop_at_m=600.0, stop_s=20.0)
    report = time_laps(block, outing.recording(10, doppler=True, noise=1.0, seed=1))

    trace = traced(block, report)

    assert np.all(np.diff(trace.elapsed_s) > -0.05)
    stopped_m = 1300.0 + 600.0 - block_circuit().length_m
    before, after = np.interp(
        [stopped_m - 10.0, stopped_m + 10.0], trace.chainage_m, trace.elapsed_s
    )
    assert 20.0 < after - before < 30.0


def test_nothing_is_told_of_a_gap_in_the_recording(block):
    outing = drive(block_circuit(), begin_m=1300.0, laps=1.3, cruise=25.0)
    whole = outing.recording(10, doppler=True)
    (began,) = outing.passes(0.0)[:1]
    kept = (whole.time_s < began + 12.0) | (whole.time_s > began + 27.0)
    cut = replace(
        whole,
        **{
            name: getattr(whole, name)[kept]
            for name in (
                "time_s",
                "longitude_deg",
                "latitude_deg",
                "speed_mps",
                "course_deg",
                "segment",
            )
        },
    )

    trace = traced(block, time_laps(block, cut))

    lost = (trace.chainage_m > 12 * 25 + 5) & (trace.chainage_m < 27 * 25 - 5)
    assert np.all(np.isnan(trace.elapsed_s[lost]))
    assert np.all(np.isnan(trace.speed_mps[lost]))
    told = (trace.chainage_m < 12 * 25 - 5) | (trace.chainage_m > 27 * 25 + 5)
    assert np.all(np.isfinite(trace.elapsed_s[told]))


def test_a_run_of_a_course_is_traced_from_start_gate_to_finish_gate():
    road = hill_course()
    gates = [("start", "start", 50.0), ("finish", "finish", 1200.0)]
    track = track_of(road, gates=gates, spacing_m=2.0)
    outing = drive(road, cruise=18.0, from_rest=True)
    report = time_laps(track, outing.recording(10, doppler=True))

    trace = traced(track, report)

    assert trace.chainage_m[0] == 50.0
    assert trace.chainage_m[-1] in (1199.0, 1200.0)
    assert np.interp(700.0, trace.chainage_m, trace.elapsed_s) == pytest.approx(
        outing.time_at(outing.joined_m + 700.0) - outing.passes(50.0)[0], abs=0.01
    )


def test_a_lap_without_beginning_or_end_has_no_trace(block, steady):
    assert trace_lap(block, steady.drive, steady.laps[0]) is None
    assert trace_lap(block, steady.drive, steady.laps[-1]) is None


def test_the_csv_has_a_row_a_metre_of_every_lap_with_a_time(block, steady):
    label = 'Hernan, "=1+1"'

    text = traces_csv([trace_lines(block, Session("a.csv", label, steady))])

    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS
    timed = [lap.number for lap in steady.laps if lap.time_s is not None]
    assert len(rows) == len(timed) * (int(block_circuit().length_m) + 1)
    assert {int(row["lap"]) for row in rows} == set(timed)
    assert {row["label"] for row in rows} == {label}
    assert float(rows[100]["speed_mps"]) == pytest.approx(25.0, abs=0.1)


def test_a_label_like_a_formula_is_not_run_by_a_spreadsheet(block, steady):
    text = traces_csv([trace_lines(block, Session("a.csv", "=1+1", steady))])

    assert next(csv.DictReader(io.StringIO(text)))["label"] == "'=1+1"
