"""Errors of places along a lap: those of the drive there, and none where it did not pass."""

from dataclasses import replace

import numpy as np
import pytest

from trackkit.simulation.simulate import simulate_drive
from trackkit.timing import place_errors as module
from trackkit.timing.lap_times import time_laps
from trackkit.timing.passings import fastest_whole, passed_from_line_to_line
from trackkit.timing.place_errors import SHARES, place_errors


@pytest.fixture(scope="module")
def timed(block, session):
    report = session[1]
    return report.drive, fastest_whole(report.laps)[:1]


def test_the_error_of_a_place_is_the_drives_there(block, timed):
    drive, laps = timed
    chainage_m = np.array([0.0, 300.0, 800.0, block.length_m])

    found = place_errors(block, drive, laps, chainage_m)

    (passed,) = passed_from_line_to_line(block, drive, laps, chainage_m)
    for row, place in enumerate(passed):
        at = np.array([place.fix]), np.array([place.share])
        onward = np.array(place.delay) / np.hypot(*place.delay)
        along = float(drive.variance(*at, onward[None]))
        assert found.covariance_m2[row, row] == pytest.approx(along, rel=1e-6)
        assert found.passed_s[row] == pytest.approx(place.time_s - passed[0].time_s)
    assert found.covariance_m2 == pytest.approx(found.covariance_m2.T)


def test_positions_between_fixes_a_second_apart_go_together_as_the_drive_says(block):
    recording = simulate_drive(block, laps=2, rate_hz=1.0, seed=8).recording
    report = time_laps(block, recording)
    drive = report.drive
    found = place_errors(block, drive, report.laps, np.array([0.0, block.length_m])).between_m2

    fix, middle = len(recording.time_s) // 2, len(SHARES) // 2
    at = np.array([fix, fix, fix + 1, fix + 1])
    share = np.array([0.0, 0.5, 0.5, 1.0])
    known = drive.fix_covariance(at.tolist())
    expected = 0.5 * sum(
        sum(known.covariances(at, share, np.tile(axis, (4, 1)))) for axis in np.eye(2)
    )
    apart = expected[0, 3]
    half_way = expected[1, 1] - expected[0, 0]
    assert found[0, middle, middle] - found[0, 0, 0] == pytest.approx(half_way, rel=0.1)
    assert found[0, 0, middle] == pytest.approx(expected[0, 1] - apart, rel=0.1)
    assert found[1, middle, middle] == pytest.approx(expected[1, 2] - apart, rel=0.1)
    assert found[1, 0, -1] == 0.0


def test_errors_of_two_laps_go_together_as_the_drive_says(block):
    report = time_laps(block, simulate_drive(block, laps=2, rate_hz=5.0, seed=8).recording)
    chainage_m = np.array([0.0, 700.0, block.length_m])
    found = place_errors(block, report.drive, report.laps, chainage_m).across

    whole = [lap for lap in report.laps if lap.is_whole]
    first, second = (
        lap[1] for lap in passed_from_line_to_line(block, report.drive, whole, chainage_m)
    )
    at, share = np.array([first.fix, second.fix]), np.array([first.share, second.share])
    known = report.drive.fix_covariance(at.tolist())
    both = sum(sum(known.covariances(at, share, np.tile(axis, (2, 1)))) for axis in np.eye(2))
    assert found[1, 1] == pytest.approx(both[0, 1] / np.sqrt(both[0, 0] * both[1, 1]), rel=0.05)
    assert found == pytest.approx(found.T)


def test_between_fixes_a_tenth_of_a_second_apart_as_much_is_known(block, timed):
    drive, laps = timed

    assert place_errors(block, drive, laps, np.array([0.0, block.length_m])).between_m2 is None


def test_of_a_place_that_no_lap_passed_nothing_is_known(block, timed, monkeypatch):
    drive, laps = timed
    chainage_m = np.array([0.0, 300.0, 800.0, block.length_m])
    every = place_errors(block, drive, laps, chainage_m)

    def lost(*given):
        (places,) = passed_from_line_to_line(*given)
        return [(places[0], None, *places[2:])]

    monkeypatch.setattr(module, "passed_from_line_to_line", lost)
    found = place_errors(block, drive, laps, chainage_m)

    kept = np.ix_([0, 2, 3], [0, 2, 3])
    assert np.isnan(found.covariance_m2[1]).all()
    assert np.isnan(found.covariance_m2[:, 1]).all()
    assert found.covariance_m2[kept] == pytest.approx(every.covariance_m2[kept])
    assert np.isnan(found.passed_s).tolist() == [False, True, False, False]


def test_without_a_whole_lap_there_are_none(block, timed):
    drive, laps = timed

    assert place_errors(block, drive, [], np.array([0.0, 300.0])) is None
    out = [replace(laps[0], kind="out", passed=())]
    assert all(not lap.is_whole for lap in out)
    assert place_errors(block, drive, out, np.array([0.0, 300.0])) is None
