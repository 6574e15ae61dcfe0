"""What is told of each place of a lap, on the block circuit, against the drive itself."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from driven_block import block, recording

from trackkit.motion.drive import LONGEST_GAP_S
from trackkit.timing.column_names import ALONG_LAP
from trackkit.timing.lap_times import time_laps
from trackkit.timing.trace_columns import _height, trace_columns
from trackkit.timing.traces import trace_lap


@pytest.fixture(scope="module", params=["together", "alone"])
def report(request):
    report = time_laps(block(), recording())
    assert report.drive.line is not None
    if request.param == "alone":
        report = replace(report, _kept=report.drive.alone())
    return report


@pytest.fixture(scope="module")
def traced(report):
    lap = report.counted[1]
    ((same, columns),) = trace_columns(block(), report.drive, [lap])
    assert same is lap
    return lap, columns


def test_every_column_has_a_row_a_metre(traced):
    _lap, columns = traced

    assert list(columns) == list(ALONG_LAP)
    assert {len(values) for values in columns.values()} == {int(block().length_m) + 1}


def test_motion_and_times_are_those_of_the_trace(report, traced):
    lap, columns = traced
    trace = trace_lap(block(), report.drive, lap)

    for name in ("chainage_m", "elapsed_s", "speed_mps", "longitudinal_mps2", "lateral_mps2"):
        np.testing.assert_array_equal(columns[name], getattr(trace, name))
    np.testing.assert_allclose(columns["time_s"], lap.passed[0].time_s + trace.elapsed_s)


def test_places_are_where_the_drive_is_then_and_offsets_to_the_left_of_the_line(report, traced):
    _, columns = traced
    position, _ = report.drive.at(columns["time_s"])
    longitude, latitude = report.drive.plane.to_geographic(position)

    np.testing.assert_allclose(columns["longitude_deg"], longitude, atol=1e-10)
    np.testing.assert_allclose(columns["latitude_deg"], latitude, atol=1e-10)
    where = columns["chainage_m"]
    away = block().plane.to_plane(longitude, latitude) - block().curve.position(where)
    left = block().curve.left(where)
    np.testing.assert_allclose(columns["offset_m"], (away * left).sum(axis=1), atol=1e-9)
    # Passed square to the line there.
    assert np.abs((away * block().curve.direction(where)).sum(axis=1)).max() < 0.01


def test_elapsed_time_is_known_as_that_between_the_lines_passed(report, traced):
    lap, columns = traced
    begun, drive = lap.passed[0], report.drive
    for row in (40, 333, 700, 1100, 1380):
        index, share, motion = drive.motion_at(columns["time_s"][row : row + 1])
        ahead = block().curve.direction(columns["chainage_m"][row])
        delay = -ahead / (motion[0, 1] @ ahead)
        # Farther along is earlier, at the beginning as well.
        variance = drive.variance(
            np.append(index, begun.fix),
            np.append(share, begun.share),
            np.array([delay, np.array(begun.delay)]),
        )
        assert columns["elapsed_sigma_s"][row] == pytest.approx(np.sqrt(variance), rel=1e-3)


def test_an_offset_is_known_as_a_place_on_the_line_square_to_the_track(report, traced):
    _, columns = traced
    drive = report.drive
    for row in (40, 333, 700, 1100, 1380):
        index, share, motion = drive.motion_at(columns["time_s"][row : row + 1])
        ahead = block().curve.direction(columns["chainage_m"][row])
        left = np.array([-ahead[1], ahead[0]])
        slope = left - (motion[0, 1] @ left) * ahead / (motion[0, 1] @ ahead)
        sigma = np.sqrt(drive.variance(index, share, slope[None]))
        assert columns["offset_sigma_m"][row] == pytest.approx(sigma, rel=1e-3)


def test_laps_without_a_beginning_or_an_end_are_left_out(report):
    whole = [lap for lap, _ in trace_columns(block(), report.drive, report.laps)]

    assert whole == [lap for lap in report.laps if lap.time_s is not None]
    assert len(whole) < len(report.laps)
    assert list(trace_columns(block(), report.drive, [])) == []


def heights(time_s, known_s, height_m):
    drive = SimpleNamespace(
        time_s=np.array(known_s), recording=SimpleNamespace(elevation_m=np.array(height_m))
    )
    return _height(drive, np.array(time_s)).tolist()


def test_heights_are_read_between_fixes_that_have_one_and_not_beyond_them():
    nothing = np.nan
    read = heights(
        [0.0, 0.5, 1.0, 2.0, 4.0, 5.0], [1.0, 2.0, 3.0, 5.0, 6.0], [7, nothing, 9, 11, nothing]
    )

    assert read == pytest.approx([nothing, nothing, 7.0, 8.0, 10.0, 11.0], nan_ok=True)


@pytest.mark.parametrize(("beyond_s", "told"), [(0.0, True), (0.5, False)])
def test_no_height_is_read_over_a_gap(beyond_s, told):
    known = [0.0, 1.0, 1.0 + LONGEST_GAP_S + beyond_s, 2.0 + LONGEST_GAP_S + beyond_s]

    read = heights([0.5, 2.0, known[-1]], known, [1.0, 1.0, 1.0, 1.0])

    assert np.isfinite(read).tolist() == [True, told, True]


def test_one_height_alone_is_told_where_it_is():
    nothing = np.nan

    assert heights([1.0, 1.5], [0.0, 1.0], [nothing, 3.0]) == pytest.approx(
        [3.0, nothing], nan_ok=True
    )
    assert np.isnan(heights([1.0], [0.0, 1.0], [nothing, nothing])).all()
    without = SimpleNamespace(time_s=np.arange(2.0), recording=SimpleNamespace(elevation_m=None))
    assert np.isnan(_height(without, np.array([0.5]))).all()
