"""Positions written again before the receiver has measured a new one, against a known drive."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trackkit.recordings.clean import clean
from trackkit.recordings.raw import RawFixes

DEGREE_M = 2 * np.pi * 6_378_137.0 / 360.0
"""Along the equator of WGS 84, whose semi-major axis is 6,378,137 m by definition."""


def measured(
    rate_hz: float, duration_s: float = 60.0, top_mps: float = 25.0, noise_m: float = 0.1
) -> RawFixes:
    """What a receiver measures of a drive north-east with its speed swinging between 2 m/s and top.

    Positions are rounded to 0.0000001 degrees, about 1 cm, as receivers give them (common
    practice, no source).
    """
    time = np.arange(0.0, duration_s, 1 / rate_hz)
    middle, swing = (top_mps + 2.0) / 2, (top_mps - 2.0) / 2
    way = middle * time + swing * 5.0 * np.sin(time / 5.0)
    noise = np.random.default_rng(11).normal(0, noise_m, (2, len(time)))
    return RawFixes(
        time=time,
        longitude_deg=np.round(60.0 + (0.8 * way + noise[0]) / DEGREE_M, 7),
        latitude_deg=np.round(0.5 + (0.6 * way + noise[1]) / DEGREE_M, 7),
        speed_mps=middle + swing * np.cos(time / 5.0),
    )


def logged(raw: RawFixes, rate_hz: float) -> RawFixes:
    """Rows at a rate of the logger's own, each with what the receiver measured last."""
    time = np.arange(0.0, raw.time[-1], 1 / rate_hz)
    last = np.searchsorted(raw.time, time + 1e-9, side="right") - 1
    return RawFixes(
        time, raw.longitude_deg[last], raw.latitude_deg[last], speed_mps=raw.speed_mps[last]
    )


def without_speed(raw: RawFixes) -> RawFixes:
    return replace(raw, speed_mps=None)


def assert_only_measured(recording, raw: RawFixes, late_s: float) -> None:
    count = len(recording)
    assert count >= len(raw) - 1
    np.testing.assert_array_equal(recording.longitude_deg, raw.longitude_deg[:count])
    np.testing.assert_array_equal(recording.latitude_deg, raw.latitude_deg[:count])
    assert np.all(np.abs(recording.time_s - raw.time[:count]) <= late_s + 1e-9)


@pytest.mark.parametrize("prepared", [lambda raw: raw, without_speed], ids=["speed", "none"])
@pytest.mark.parametrize(
    ("receiver_hz", "rows_hz"), [(10, 100), (10, 25), (1, 10)], ids=["100/10", "25/10", "10/1"]
)
def test_of_rows_faster_than_the_receiver_the_measured_fixes_stay(receiver_hz, rows_hz, prepared):
    raw = measured(receiver_hz, duration_s=600.0 / receiver_hz)
    rows = prepared(logged(raw, rows_hz))
    recording = clean(rows, "log")
    # A measurement shows at the latest in the row after it.
    assert_only_measured(recording, raw, late_s=1 / rows_hz if rows_hz == 25 else 0.0)
    repeats = len(rows) - len(recording)
    assert recording.removed == {"repeated position": repeats}
    assert recording.remarks[0].endswith(f"{repeats:,} repeated positions")


def test_a_position_that_hangs_for_seconds_while_the_speed_goes_on_is_removed():
    raw = measured(10)
    hung = slice(101, 125)
    raw.longitude_deg[hung], raw.latitude_deg[hung] = raw.longitude_deg[100], raw.latitude_deg[100]
    recording = clean(raw, "log")
    assert recording.removed == {"repeated position": 24}
    np.testing.assert_allclose(recording.time_s, np.delete(raw.time, np.arange(101, 125)))


@pytest.mark.parametrize("speed", [0.0, 0.4, None])
def test_a_parked_receiver_that_repeats_its_position_is_left_alone(speed):
    raw = measured(10)
    parked = slice(200, 500)
    for column in (raw.longitude_deg, raw.latitude_deg):
        column[parked] = column[200]
        column[500:] += column[200] - column[499]
    raw.speed_mps[parked] = 0.0 if speed is None else speed
    recording = clean(without_speed(raw) if speed is None else raw, "log")
    assert recording.removed.get("repeated position", 0) == 0


def test_a_stop_in_a_log_with_repeats_keeps_its_rows():
    rows = logged(measured(10), 100)
    rows.speed_mps[3000:4000] = 0.0
    for column in (rows.longitude_deg, rows.latitude_deg):
        column[3000:4000] = column[3000]
    recording = clean(rows, "log")
    standing = (recording.time_s > 30.0) & (recording.time_s < 39.99)
    assert np.count_nonzero(standing) == 998
    assert recording.interval_s < 0.1


@pytest.mark.parametrize("prepared", [lambda raw: raw, without_speed], ids=["speed", "none"])
@pytest.mark.parametrize("top_mps", [4.0, 9.0, 30.0])
def test_fixes_that_only_look_alike_because_they_are_written_coarsely_are_kept(top_mps, prepared):
    # NMEA 0183 with ddmm.mmmm: steps of 0.0001', a nautical mile over 10,000 or 0.19 m.
    raw = measured(25, top_mps=top_mps, noise_m=0.0)
    for column in (raw.longitude_deg, raw.latitude_deg):
        column[:] = np.round(column * 60, 4) / 60
    alike = (np.diff(raw.longitude_deg) == 0) & (np.diff(raw.latitude_deg) == 0)
    assert np.count_nonzero(alike) > 20
    assert clean(prepared(raw), "log").removed == {}


def test_speeds_told_less_often_than_positions_hold_until_the_next():
    raw = measured(10)
    rows = logged(raw, 100)
    rows.speed_mps[np.arange(len(rows.time)) % 100 != 0] = np.nan
    assert_only_measured(clean(rows, "log"), raw, late_s=0.0)


def test_a_position_repeated_over_a_break_of_the_file_is_kept():
    raw = measured(10)
    segment = (np.arange(len(raw)) >= 300).astype(np.intp)
    for column in (raw.longitude_deg, raw.latitude_deg):
        column[300] = column[299]
    assert clean(replace(raw, segment=segment), "log").removed == {}
    assert clean(raw, "log").removed == {"repeated position": 1}


def test_a_file_whose_position_never_changes_is_left_alone():
    raw = measured(10)
    raw.longitude_deg[:], raw.latitude_deg[:] = 10.0, 0.5
    segment = (np.arange(len(raw)) >= 300).astype(np.intp)
    assert clean(raw, "log").removed == {}
    assert clean(replace(raw, segment=segment), "log").removed == {}
