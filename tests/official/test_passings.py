"""When a drive went by places near a gate, and how its errors go together there."""

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, drive, stadium, track_of
from scipy.interpolate import CubicHermiteSpline

from trackkit.official.passings import (
    SEARCHED_M,
    STEP_M,
    WANDER_CAUTION,
    Passings,
    covariance_along,
    passings,
)
from trackkit.timing.lap_times import time_laps

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0)]


@pytest.fixture(scope="module")
def driven():
    """At an even 25 m/s, without noise, from 1,200 m on: the finish is passed every 55.5 s."""
    track = track_of(block_circuit(), gates=GATES, spacing_m=2.0)
    outing = drive(block_circuit(), begin_m=1200.0, laps=2.3, cruise=25.0)
    return track, time_laps(track, outing.recording(5, doppler=True))


def of_finish(report):
    return [crossing for crossing in report.crossings if crossing.gate == "finish"]


def test_between_two_places_times_are_the_cubic_through_times_and_paces():
    place = np.linspace(-2.0, 2.0, 9)
    time = np.array([[0.0, 0.1, 0.22, 0.3, 0.41, 0.5, 0.62, 0.7, 0.8]])
    pace = np.array([[0.2, 0.21, 0.19, 0.2, 0.2, 0.18, 0.22, 0.2, 0.2]])
    line = Passings(place, time, pace, (), np.array([1.0, 0.0]))
    spline = CubicHermiteSpline(place, time[0], pace[0])

    for ahead in (-2.0, -1.7, -0.5, 0.0, 0.3, 1.99):
        found_time, found_pace = line.at(ahead)
        assert found_time[0] == pytest.approx(float(spline(ahead)), abs=1e-9)
        assert found_pace[0] == pytest.approx(float(spline(ahead, 1)), abs=1e-9)


def test_a_place_beyond_those_looked_at_is_held_at_their_end():
    place = np.array([-1.0, 0.0, 1.0])
    line = Passings(place, np.array([[0.0, 1.0, 2.0]]), np.ones((1, 3)), (), np.zeros(2))

    assert [float(line.at(ahead)[0][0]) for ahead in (-9.0, 9.0)] == pytest.approx(
        [0.0, 2.0], abs=1e-3
    )


def test_at_an_even_speed_places_are_passed_at_even_times(driven):
    track, report = driven
    crossings = of_finish(report)

    line = passings(track, report.drive, 0.0, crossings)

    assert len(crossings) == 3
    assert line.place_m[[0, -1]].tolist() == [-SEARCHED_M, SEARCHED_M]
    assert np.diff(line.place_m) == pytest.approx(STEP_M)
    for crossing, times in zip(crossings, line.time_s, strict=True):
        assert times == pytest.approx(crossing.time_s + line.place_m / 25.0, abs=2e-3)
    assert line.pace_spm == pytest.approx(1.0 / 25.0, rel=2e-3)
    assert line.direction == pytest.approx([1.0, 0.0], abs=1e-6)


def test_in_a_bend_places_are_passed_when_the_vehicle_is_beside_them(driven):
    # Bends of 30 m radius end 100 m before the sector gate, and begin 100 m after it.
    track, report = driven
    crossings = [crossing for crossing in report.crossings if crossing.gate == "one"]

    line = passings(track, report.drive, 347.0, crossings)

    for crossing, times in zip(crossings, line.time_s, strict=True):
        assert times == pytest.approx(crossing.time_s + line.place_m / 25.0, abs=0.02)


def test_on_a_short_circuit_a_third_of_the_lap_is_looked_at_either_way(driven):
    _, report = driven

    oval = track_of(stadium(), gates=[("finish", "finish", 20.0)], spacing_m=2.0)
    line = passings(oval, report.drive, 20.0, [])

    assert line.place_m[-1] == pytest.approx(stadium().length_m / 3.0, abs=0.1)
    assert line.time_s.shape == (0, len(line.place_m))


def test_a_passing_that_was_not_recorded_all_along_has_no_times(driven):
    track, report = driven
    recording = report.recording
    second = of_finish(report)[1].time_s
    # Four seconds are missing 60 m after the second passing of the finish.
    gone = (recording.time_s > second + 2.4) & (recording.time_s < second + 6.4)
    names = ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    columns = {name: getattr(recording, name)[~gone] for name in names}
    columns["segment"] = columns["segment"] + (columns["time_s"] > second + 5.0)
    broken = time_laps(track, replace(recording, **columns))

    line = passings(track, broken.drive, 0.0, of_finish(broken))

    assert np.isfinite(line.time_s).all(axis=1).tolist() == [True, False, True]


def test_errors_along_the_track_are_those_of_the_drive_with_a_little_more_wander(driven):
    track, report = driven
    lines = [
        passings(track, report.drive, gate.chainage_m, some)
        for gate in track.gates
        for some in [[c for c in report.crossings if c.gate == gate.id]]
    ]

    found = covariance_along(report.drive, lines)

    every = [crossing for line in lines for crossing in line.crossing]
    ahead = [line.direction for line in lines for _ in line.crossing]
    levels = report.drive.levels
    wary = report.drive.with_levels(replace(levels, wander_m=WANDER_CAUTION * levels.wander_m))
    # The finish is driven eastwards, the sector gate northwards: what is between them is 0.
    for i, j in ((0, 0), (0, 1), (1, 2)):
        fix = np.array([every[i].fix, every[j].fix])
        share = np.array([every[i].share, every[j].share])
        expected = ahead[i] @ wary.covariance(fix, share)[0, :, 1] @ ahead[j]
        if i != j:
            assert found[i, j] == pytest.approx(expected, rel=1e-6)
    assert found == pytest.approx(found.T)
    assert found[0, -1] == pytest.approx(0.0, abs=0.05 * found[0, 0])


def test_where_laps_told_how_far_the_drive_is_off_passings_err_by_what_is_left():
    track = track_of(block_circuit(), gates=GATES, spacing_m=2.0)
    outing = drive(block_circuit(), begin_m=1200.0, laps=8.3, cruise=lambda s: 22.0 + s % 5.0)
    report = time_laps(track, outing.recording(5, noise=1.0, seed=3))
    assert report.drive.line is not None
    line = passings(track, report.drive, 0.0, of_finish(report))

    joint = covariance_along(report.drive, [line])
    alone = covariance_along(report.drive.alone(), [line])

    # How far passings differ from each other is what lap times tell the line by.
    between = np.eye(len(joint))[1:] - np.eye(len(joint))[:-1]
    left, before = (np.diagonal(between @ some @ between.T) for some in (joint, alone))
    assert np.all(left < 0.5 * before)
    for row, crossing in enumerate(line.crossing):
        known = report.drive.variance(
            np.array([crossing.fix]), np.array([crossing.share]), line.direction[None]
        )
        assert known <= joint[row, row] <= 1.01 * WANDER_CAUTION**2 * known
    assert np.linalg.eigvalsh(joint).min() > 0.0
