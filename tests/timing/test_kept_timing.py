"""A timed recording that was kept is timed again as it was, over gates that may have moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from driven_block import block, recording
from drives import block_circuit, drive

from trackkit.gates.edit import move_gate
from trackkit.motion.kept_columns import LISTS, NUMBERS, WHOLES
from trackkit.timing.kept_columns import (
    LINE,
    TIMING_LISTS,
    TIMING_NUMBERS,
    TIMING_TRUTHS,
    TIMING_WHOLES,
)
from trackkit.timing.kept_timing import report_of_row, rules_of_row, timing_row
from trackkit.timing.lap_times import TimedRecording
from trackkit.timing.rules import USUAL_RULES, LapRules
from trackkit.track.places import Place


def timed(track, drive_, rules=USUAL_RULES, antenna_ahead_m=0.0):
    recording_ = TimedRecording.smoothed(drive_, track.plane, antenna_ahead_m)
    return recording_, recording_.report(track, rules=rules)


@pytest.fixture(scope="module")
def timed_block():
    return timed(block(), recording(), antenna_ahead_m=0.7)


@pytest.fixture(scope="module")
def kept(timed_block):
    recording_, report = timed_block
    return timing_row(recording_, block(), USUAL_RULES), report


def again(row, track):
    return report_of_row(row, track, "kept", None)


def assert_alike(report, before, seconds=1e-4):
    assert len(report.laps) == len(before.laps)
    for lap, was in zip(report.laps, before.laps, strict=True):
        assert (lap.kind, lap.counts, lap.number) == (was.kind, was.counts, was.number)
        assert (lap.time_s is None) == (was.time_s is None)
        if lap.time_s is not None:
            assert lap.time_s == pytest.approx(was.time_s, abs=seconds)
            assert lap.sigma_s == pytest.approx(was.sigma_s, rel=0.02)


def test_a_kept_recording_has_the_same_laps_as_well_known(kept):
    row, before = kept

    report = again(row, block())

    assert report.name == "kept"
    assert_alike(report, before)
    assert report.best_lap_s == pytest.approx(before.best_lap_s, abs=1e-4)


def test_a_row_has_every_column_and_none_but_those(kept):
    row, _ = kept

    assert {*TIMING_NUMBERS} > {*NUMBERS}
    assert {*TIMING_WHOLES} > {*WHOLES}
    assert {*TIMING_LISTS} > {*LISTS, *LINE}
    assert set(row) == {
        *TIMING_NUMBERS,
        *TIMING_TRUTHS,
        *TIMING_LISTS,
        *TIMING_WHOLES,
        "whole_laps",
    }
    assert row["antenna_ahead_m"] == 0.7
    assert row["whole_laps"] == 4


def test_over_gates_that_have_moved_laps_are_those_of_the_recording_itself(kept):
    row, _ = kept
    track = move_gate(block(), "gate-a", Place(chainage_m=480.0)).track

    report = again(row, track)

    _, expected = timed(track, recording(), antenna_ahead_m=0.7)
    assert_alike(report, expected)
    splits = [
        [sector.time_s for lap in each.counted for sector in lap.sectors]
        for each in (report, expected)
    ]
    assert splits[0] == pytest.approx(splits[1], abs=1e-4)


def test_a_line_that_begins_elsewhere_is_the_same_line(kept):
    row, _ = kept
    line = block().centreline
    turned = {
        name: np.append(np.roll(getattr(line, name)[:-1], -40), getattr(line, name)[40])
        for name in ("longitude_deg", "latitude_deg")
    }

    assert again(row, replace(block(), centreline=replace(line, **turned))) is not None


@pytest.mark.parametrize("change", ["moved", "reversed", "wider", "better known", "a bend cut"])
def test_another_line_is_not_what_the_recording_was_timed_on(kept, change):
    row, _ = kept
    track, line = block(), block().centreline
    if change == "moved":
        # A metre, about.
        line = replace(line, latitude_deg=line.latitude_deg + 1e-5)
    if change == "reversed":
        line = replace(
            line, longitude_deg=line.longitude_deg[::-1], latitude_deg=line.latitude_deg[::-1]
        )
    if change == "wider":
        line = replace(line, width_m=14.0)
    if change == "a bend cut":
        bend = np.s_[100:124]
        line = replace(
            line,
            longitude_deg=np.delete(line.longitude_deg, bend),
            latitude_deg=np.delete(line.latitude_deg, bend),
        )
    track = replace(track, centreline=line)
    if change == "better known":
        track = replace(track, accuracy_m=0.5)

    assert again(row, track) is None


@pytest.mark.parametrize(("accuracy_m", "same"), [(1.05, True), (0.95, True), (1.2, False)])
def test_a_line_as_well_known_within_a_tenth_is_the_same(kept, accuracy_m, same):
    row, _ = kept
    track = replace(block(), accuracy_m=accuracy_m)

    assert (again(row | {"line_shift_m": 1.0}, track) is not None) == same


def test_rules_come_back(kept, timed_block):
    rules = LapRules(session_stand_s=200.0, session_gap_s=70.0, within=1.2, all_laps=True)

    assert rules_of_row(timing_row(timed_block[0], block(), rules)) == rules
    assert rules_of_row(kept[0]) == USUAL_RULES


def test_sessions_come_back_with_why_they_ended():
    outing = drive(
        block_circuit(), begin_m=1300.0, laps=3.3, cruise=25.0, stop_at_m=2300.0, stop_s=300.0
    )
    recording_, before = timed(block(), outing.recording(5, doppler=True))
    assert [session.ending for session in before.sessions] == ["stood", "recording"]

    report = again(timing_row(recording_, block(), USUAL_RULES), block())

    assert report.sessions == before.sessions


@pytest.mark.parametrize(
    ("whole", "alone", "serves"),
    [(2, False, True), (1, False, False), (9, False, True), (5, True, True), (6, True, False)],
)
def test_where_laps_would_tell_what_they_did_not_the_row_does_not_serve(kept, whole, alone, serves):
    # Laps tell of each other from two on; of the wander, where the recording does not, from six.
    row, report = kept
    assert len(report.counted) == 4

    row = row | {"whole_laps": whole, "laps_tell_wander": alone}
    assert (again(row, block()) is not None) == serves
