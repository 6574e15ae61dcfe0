"""Faults of a line that look like a circuit, and show only where a recording is held against it."""

from dataclasses import replace

import driven_block
import numpy as np
import pytest
from driven_block import GATES, ROAD
from drives import corner_speed, drive, gate_ends, hairpin_circuit, track_of
from good_lines import track_at

from trackkit.checks.check import check_recording, check_track
from trackkit.track.features import Gate

LINE = {"line-gap", "line-coarse", "line-scatter", "line-rounded", "kink", "crosses-itself"}


def with_gates(track, gates, road):
    return track.with_gates(
        Gate(name, kind, name.title(), *gate_ends(road, at), chainage_m=at)
        for name, kind, at in gates
    )


def of_line(findings):
    return {f.rule for f in findings if f.feature == "centreline"}


def bumped(road, *begins_m, length_m=120.0, high_m=8.0):
    """The road with smooth bumps to the left, each from a chainage on."""
    chainage = np.linspace(0.0, road.length_m, int(road.length_m / 2.0) + 1)[:-1]
    position, ahead = road.at(chainage)
    share = np.clip((chainage[:, None] - np.array(begins_m)) / length_m, 0.0, 1.0)
    aside = (high_m * np.sin(np.pi * share) ** 2).sum(axis=1)
    position = position + aside[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    return track_at(np.vstack([position, position[:1]]), closed=True)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
@pytest.mark.parametrize("doppler", [True, False])
def test_nothing_is_found_where_the_line_is_the_one_driven(rate_hz, doppler):
    outing = drive(ROAD, begin_m=1300.0, laps=3.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    recording = outing.recording(rate_hz, doppler=doppler, noise=1.0, seed=9)

    findings, _ = check_recording(driven_block.block(), recording)

    assert of_line(findings) == set()


def test_a_smooth_bump_that_nobody_drives_is_found_by_a_recording_alone():
    track = with_gates(bumped(ROAD, 560.0), GATES, ROAD)

    assert of_line(check_track(track)) & LINE == set()
    findings, _ = check_recording(track, driven_block.recording())

    (found,) = [f for f in findings if f.rule == "recording-leaves-line"]
    assert found.severity == "warning"
    # Half of the bump's height is reached at a quarter of its length.
    assert found.chainage_m == pytest.approx(560.0 + 30.0, abs=8.0)
    assert float(found.message.partition("up to ")[2].partition(" m")[0]) == pytest.approx(8, abs=1)
    assert found.remedy.do == "build revise"


@pytest.mark.parametrize(
    ("begins_m", "end"),
    [
        ((560.0,), " away"),
        ((560.0, 1060.0), ", and at 1 more place"),
        ((120.0, 560.0, 1060.0), ", and at 2 more places"),
    ],
)
def test_of_several_bumps_one_finding_tells_how_many(begins_m, end):
    track = with_gates(bumped(ROAD, *begins_m), GATES, ROAD)

    findings, _ = check_recording(track, driven_block.recording())

    (found,) = [f for f in findings if f.rule == "recording-leaves-line"]
    assert found.message.endswith(end), found.message


def test_a_hairpin_cut_by_a_well_shaped_chord_is_found_by_a_recording():
    # The legs of the hairpin are 8 m apart: a half circle joins them 100 m before its end.
    road = hairpin_circuit()
    gates = [("finish", "finish", 500.0)]
    chainage = np.linspace(0.0, road.length_m, 946)[:-1]
    position, _ = road.at(chainage)
    kept = position[(chainage < 100.0) | (chainage > 300.0 + 4.0 * np.pi)]
    middle, ahead = road.at(100.0)
    angle = np.linspace(-np.pi / 2, np.pi / 2, 16)[1:-1]
    aside = np.array([-ahead[1], ahead[0]])
    bend = (
        middle
        + 4.0 * aside
        + 4.0 * (np.cos(angle)[:, None] * ahead + np.sin(angle)[:, None] * aside)
    )
    cut = int(np.sum(chainage < 100.0))
    line = np.vstack([kept[:cut], bend, kept[cut:]])
    track = with_gates(track_at(np.vstack([line, line[:1]]), closed=True), gates, road)
    track = replace(track, gates=tuple(replace(g, chainage_m=300.0) for g in track.gates))
    outing = drive(road, begin_m=450.0, laps=3.3, cruise=corner_speed(road, 18.0, 6.0))
    recording = outing.recording(10, doppler=True, noise=1.0, seed=9)

    assert of_line(check_track(track)) & LINE == set()
    findings, _ = check_recording(track, recording)

    rules = {f.rule: f for f in findings}
    assert "945 m long" in rules["recording-length"].message
    assert rules["recording-leaves-line"].chainage_m == pytest.approx(103.0, abs=8.0)


def test_a_line_too_long_for_its_laps_is_found():
    outing = drive(ROAD, begin_m=1300.0, laps=3.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    recording = outing.recording(10, doppler=True, noise=1.0, seed=9)
    waves = np.linspace(0.0, ROAD.length_m, 695)[:-1]
    position, ahead = ROAD.at(waves)
    aside = 2.5 * np.sin(2.0 * np.pi * waves / ROAD.length_m * 35)
    position = position + aside[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    track = track_at(np.vstack([position, position[:1]]), closed=True)
    track = with_gates(track, [("finish", "finish", 0.0)], ROAD)

    findings, _ = check_recording(track, recording)

    assert track.curve.length_m > 1.03 * ROAD.length_m
    assert "recording-length" in of_line(findings)


def test_a_bend_that_nobody_could_drive_as_fast_as_recorded_is_found():
    # A bump of 3 m over 14 m has a radius of 2 * (14 / 2 pi)**2 / 3 m at its top (calculus), 3.3 m.
    track = with_gates(bumped(ROAD, 560.0, length_m=14.0, high_m=3.0), GATES, ROAD)

    findings, _ = check_recording(track, driven_block.recording())

    (found,) = [f for f in findings if f.rule == "recording-cornering"]
    assert found.chainage_m == pytest.approx(567.0, abs=8.0)


def test_speeds_that_no_vehicle_drives_are_found():
    track = track_of(ROAD, gates=GATES, spacing_m=2.0)
    outing = drive(ROAD, begin_m=1300.0, laps=3.3, cruise=30.0)
    recording = outing.recording(10, doppler=True, noise=0.5, seed=4)
    quick = replace(recording, time_s=recording.time_s / 6.0, speed_mps=recording.speed_mps * 6.0)

    findings, _ = check_recording(track, quick)

    assert "recording-too-fast" in of_line(findings)
