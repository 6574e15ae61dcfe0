"""Errors of places along a lap: those of the drive there, and none where it did not pass."""

from dataclasses import replace

import numpy as np
import pytest

from trackkit.timing import place_errors as module
from trackkit.timing.passings import fastest_whole, passed_from_line_to_line
from trackkit.timing.place_errors import place_errors


@pytest.fixture(scope="module")
def timed(block, session):
    report = session[1]
    return report.drive, fastest_whole(report.laps)[:1]


def test_the_error_of_a_place_is_the_drives_there(block, timed):
    drive, laps = timed
    chainage_m = np.array([0.0, 300.0, 800.0, block.length_m])

    found = place_errors(block, drive, laps, chainage_m)

    for row, place in enumerate(passed_from_line_to_line(block, drive, laps[0], chainage_m)):
        at = np.array([place.fix]), np.array([place.share])
        of_axes = [float(drive.variance(*at, axis[None])) for axis in np.eye(2)]
        assert found[row, row] == pytest.approx(np.mean(of_axes), rel=1e-6)
    assert found == pytest.approx(found.T)


def test_of_a_place_that_no_lap_passed_nothing_is_known(block, timed, monkeypatch):
    drive, laps = timed
    chainage_m = np.array([0.0, 300.0, 800.0, block.length_m])
    every = place_errors(block, drive, laps, chainage_m)

    def lost(*given):
        places = passed_from_line_to_line(*given)
        return (places[0], None, *places[2:])

    monkeypatch.setattr(module, "passed_from_line_to_line", lost)
    found = place_errors(block, drive, laps, chainage_m)

    kept = np.ix_([0, 2, 3], [0, 2, 3])
    assert np.isnan(found[1]).all()
    assert np.isnan(found[:, 1]).all()
    assert found[kept] == pytest.approx(every[kept])


def test_without_a_whole_lap_there_are_none(block, timed):
    drive, laps = timed

    assert place_errors(block, drive, [], np.array([0.0, 300.0])) is None
    out = [replace(laps[0], kind="out", passed=())]
    assert all(not lap.is_whole for lap in out)
    assert place_errors(block, drive, out, np.array([0.0, 300.0])) is None
