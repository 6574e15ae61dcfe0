"""Units told from how the positions move."""

from __future__ import annotations

import numpy as np
import pytest
from csv_tables import equator_drive, rows

from trackkit.errors import RecordingError
from trackkit.recordings.read import read_recording


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("m/s", 1.0), ("km/h", 3.6), ("mph", 3600 / 1609.344), ("knots", 3600 / 1852)],
)
def test_a_speed_without_a_unit_is_compared_with_the_positions(csv, unit, factor):
    recording = read_recording(csv(equator_drive("time,lat,lon,speed", speed_factor=factor)))
    np.testing.assert_allclose(recording.speed_mps, 20.0, rtol=1e-4)
    assert recording.remarks == (
        f"column 'speed' names no unit: taken as {unit}, which agrees with the positions to 0 %",
    )


def test_a_speed_whose_unit_cannot_be_told_is_a_question(csv):
    between = 0.5 * (3600 / 1609.344 + 3600 / 1852)
    for text in (
        equator_drive("time,lat,lon,speed", speed_factor=between),
        rows("time,lat,lon,speed", "0,48,161,1", "1,48,161,1", "2,48,161,1"),
    ):
        with pytest.raises(RecordingError, match=r"which unit its column 'speed'.*speed \(km/h\)"):
            read_recording(csv(text))


@pytest.mark.parametrize(("factor", "unit"), [(1.0, "s"), (1000.0, "ms")])
def test_elapsed_time_without_a_unit_is_judged_by_how_the_positions_move(csv, factor, unit):
    text = equator_drive("time,lat,lon,speed (m/s)", time_factor=factor)
    recording = read_recording(csv(text))
    assert recording.time_s[-1] == pytest.approx(29.0)
    assert recording.remarks == (
        () if unit == "s" else ("times were taken as ms, which fits how the positions move",)
    )


def test_elapsed_time_whose_unit_cannot_be_told_is_a_question(csv):
    text = rows("time,lat,lon", "0,48,161", "100,48,161", "200,48,161")
    with pytest.raises(RecordingError, match="unit its column 'time' counts time in is not clear"):
        read_recording(csv(text))
