"""What recordings show about a track."""

from dataclasses import replace

import driven_block
import numpy as np
import pytest
from driven_block import GATES, ROAD, moved
from drives import corner_speed, drive, gate_ends, on_earth, track_of

from trackkit.checks.check import check_recording
from trackkit.checks.recording_rules import _creeping
from trackkit.gates.false_crossings import parked_probability
from trackkit.recordings.recording import Recording
from trackkit.timing.lap_times import time_laps


@pytest.fixture(scope="module")
def block():
    return driven_block.block()


@pytest.fixture(scope="module")
def recording():
    return driven_block.recording()


def rules(findings):
    return {(f.rule, f.feature) for f in findings}


def test_a_good_recording_of_a_good_track_finds_nothing(block, recording):
    findings, report = check_recording(block, recording)

    assert findings == []
    assert len([lap for lap in report.laps if lap.counts]) == 3 or len(report.laps) >= 3


def test_laps_lost_at_a_gate_are_counted(block, recording):
    # A gate of full width, but wholly to the left of where cars go.
    left, _ = gate_ends(ROAD, 347.0, 30.0)
    _, right = gate_ends(ROAD, 347.0, -4.0)
    findings, _ = check_recording(moved(block, "gate-a", left=left, right=right), recording)

    lost = [f for f in findings if f.rule == "recording-lost"]
    assert [f.feature for f in lost] == ["gate-a"]
    assert "was missed on" in lost[0].message


def test_a_recording_of_another_place_is_said_to_be(block):
    elsewhere = track_of(ROAD, gates=GATES, spacing_m=2.0, at=(162.0, 48.0))
    outing = drive(ROAD, begin_m=1300.0, laps=1.3)
    findings, _ = check_recording(elsewhere, outing.recording(5, doppler=True, noise=0.5, seed=4))

    assert ("recording-elsewhere", None) in rules(findings)


def test_a_recording_driven_the_other_way_holds_no_lap(block):
    mirrored = ROAD.mirrored()
    track = track_of(mirrored, gates=GATES, direction="clockwise", spacing_m=2.0)
    outing = drive(mirrored, begin_m=1300.0, laps=0.5, cruise=20.0)
    findings, _ = check_recording(track, outing.recording(10, doppler=True, noise=0.5, seed=4))

    assert {"recording-no-lap", "recording-elsewhere"} & {f.rule for f in findings}


def test_true_speeds_are_what_gates_are_judged_by(block):
    """A driver who crawls past the finish at walking pace makes it a slow place."""

    def cruise(chainage):
        return [3.0 if min(c % ROAD.length_m, -c % ROAD.length_m) < 60 else 25.0 for c in chainage]

    outing = drive(ROAD, begin_m=1200.0, laps=2.3, cruise=cruise)
    findings, _ = check_recording(block, outing.recording(10, doppler=True, noise=0.5, seed=4))

    assert ("finish-slow", "finish") in rules(findings)


def test_a_line_beside_the_driven_one_is_found(block, recording):
    from trackkit.track.features import Centreline

    shifted = block.centreline
    line = Centreline(shifted.longitude_deg, shifted.latitude_deg + 8.0 / 111_000.0, True)
    findings, _ = check_recording(replace(block, centreline=line), recording)

    assert ("recording-off-line", "centreline") in rules(findings)


def test_a_vehicle_parked_just_behind_the_line_is_a_risk(block):
    outing = drive(
        ROAD,
        begin_m=1300.0,
        laps=3.3,
        cruise=corner_speed(ROAD, 25.0, 6.0),
        stop_at_m=87.5,
        stop_s=90.0,
    )
    findings, _ = check_recording(block, outing.recording(10, doppler=True, noise=1.0, seed=4))

    (parked,) = [f for f in findings if f.rule == "recording-parked"]
    assert parked.feature == "finish"
    assert "stood for" in parked.message


def slow_recording(block, behind_m, ahead_mps, aside_mps, seconds=25.0):
    """A vehicle pushed about near the finish line: its truth in metres east and north."""
    time = np.arange(0.0, seconds, 0.1)
    middle, ahead = ROAD.at(0.0)
    aside = np.array([-ahead[1], ahead[0]])
    place = (
        middle
        + (ahead_mps * time - behind_m)[:, None] * ahead
        + (aside_mps * time - 5.0)[:, None] * aside
    )
    longitude, latitude = on_earth(place)
    return Recording("pushed.csv", time, longitude, latitude)


def test_a_vehicle_pushed_across_the_track_just_behind_the_line_is_a_risk(block):
    pushed = slow_recording(block, behind_m=1.2, ahead_mps=0.0, aside_mps=0.4)
    report = time_laps(block, pushed)

    (finding,) = _creeping(block, pushed, report)
    assert finding.rule == "recording-creeping"
    assert finding.feature == "finish"
    # Between what a vehicle standing there for the shortest and the longest time would risk.
    low, high = (parked_probability(1.2, seconds) for seconds in (5.0, 60.0))
    assert low < float(finding.message.rpartition(" ")[2]) < high


def test_a_vehicle_that_creeps_over_the_line_or_far_from_it_is_no_risk(block):
    over = slow_recording(block, behind_m=5.0, ahead_mps=0.5, aside_mps=0.1)
    far = slow_recording(block, behind_m=9.0, ahead_mps=0.0, aside_mps=0.4)

    for recording in (over, far):
        assert list(_creeping(block, recording, time_laps(block, recording))) == []
