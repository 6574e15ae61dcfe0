"""The rules by which fixes are removed, as the module's docstring states them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.clean import clean
from trackkit.recordings.raw import Dropped, RawFixes

METRES_PER_DEGREE = 2 * np.pi * 6_378_137.0 / 360.0
"""Along the equator of WGS 84, whose semi-major axis is 6,378,137 m by definition."""


def drive(
    count: int = 20, *, speed_mps: float = 20.0, interval_s: float = 1.0, **changes
) -> RawFixes:
    """Drive east along the equator at 60° east, far from null island."""
    time = np.arange(count) * interval_s
    columns = {
        "time": time,
        "longitude_deg": 60.0 + time * speed_mps / METRES_PER_DEGREE,
        "latitude_deg": np.zeros(count),
    }
    return RawFixes(**{**columns, "place": np.arange(1, count + 1), **changes})


def moved(raw: RawFixes, at: slice | int, north_m: float) -> RawFixes:
    latitude = raw.latitude_deg.copy()
    latitude[at] += north_m / 110_574.0  # metres to a degree of latitude at the equator
    return RawFixes(raw.time, raw.longitude_deg, latitude, place=raw.place)


def removal(recording) -> str:
    return next(remark for remark in recording.remarks if remark.startswith("removed"))


def test_a_clean_drive_is_untouched_and_unremarked():
    raw = drive(speed_mps=20.0)
    recording = clean(raw, "drive")
    np.testing.assert_array_equal(recording.time_s, raw.time)
    np.testing.assert_array_equal(recording.longitude_deg, raw.longitude_deg)
    np.testing.assert_array_equal(recording.latitude_deg, raw.latitude_deg)
    assert (recording.read_count, recording.removed, recording.remarks) == (20, {}, ())
    assert recording.start is None
    assert recording.speed_mps is None


def test_the_remark_has_exactly_the_stated_form():
    count = 5120
    time = np.arange(count, dtype=float)
    time[[100, 200]] = time[[99, 199]]
    raw = drive(count, speed_mps=1.0, time=time)
    recording = clean(moved(raw, 3000, 340.0), "drive")
    assert removal(recording) == "removed 3 of 5,120 fixes: 2 duplicate times, 1 jump of 340 m"
    assert recording.removed == {"duplicate time": 2, "jump": 1}
    assert len(recording) == 5117


@pytest.mark.parametrize(
    ("longitude", "latitude"), [(np.nan, 0.0), (10.0, np.inf), (181.0, 0.0), (10.0, -90.5)]
)
def test_positions_that_are_nowhere_on_earth_are_removed(longitude, latitude):
    raw = drive()
    raw.longitude_deg[7], raw.latitude_deg[7] = longitude, latitude
    recording = clean(raw, "drive")
    assert removal(recording) == "removed 1 of 20 fixes: 1 bad position"
    assert 7.0 not in recording.time_s


def test_null_island_is_removed():
    raw = drive()
    raw.longitude_deg[[3, 4]] = [0.0, 0.00009]
    recording = clean(raw, "drive")
    assert removal(recording) == "removed 2 of 20 fixes: 2 positions at 0°, 0°"


def test_a_drive_that_passes_near_null_island_is_kept():
    raw = drive(longitude_deg=np.linspace(0.0002, 0.003, 20))
    assert clean(raw, "drive").removed == {}


def test_fixes_without_a_time_are_removed():
    time = np.arange(20, dtype=float)
    time[5] = np.nan
    assert removal(clean(drive(time=time), "d")) == "removed 1 of 20 fixes: 1 fix without a time"


def test_no_time_at_all_is_said_with_the_way_out():
    with pytest.raises(
        NoTimesError, match="holds positions but no times; record it again, with times"
    ):
        clean(drive(time=np.full(20, np.nan)), "drive")


def test_of_fixes_with_the_same_time_the_first_stays():
    time = np.array([0.0, 1.0, 1.0, 2.0, 1.0, 3.0])
    raw = drive(6, time=time)
    recording = clean(raw, "drive")
    np.testing.assert_array_equal(recording.longitude_deg, raw.longitude_deg[[0, 1, 3, 5]])
    assert recording.removed == {"duplicate time": 2}


def test_one_time_out_of_order_costs_one_fix():
    time = np.arange(20, dtype=float)
    time[10] = 900.0
    recording = clean(drive(time=time), "drive")
    assert removal(recording) == "removed 1 of 20 fixes: 1 time going backwards"
    np.testing.assert_array_equal(np.delete(np.arange(20.0), 10), recording.time_s)


def test_joined_sessions_are_refused_where_they_are_joined():
    time = np.concatenate([np.arange(100.0, 110.0), np.arange(0.5, 10.0)])
    with pytest.raises(RecordingError, match="line 11: time goes back by 108 s, as if several"):
        clean(drive(20, time=time, place=np.arange(1, 21)), "drive")


def test_a_jump_of_five_fixes_is_removed_and_the_segment_stays_whole():
    recording = clean(moved(drive(), slice(8, 13), 5000.0), "drive")
    assert removal(recording) == "removed 5 of 20 fixes: 1 jump of 5,001 m (5 fixes)"
    assert set(recording.segment) == {0}


def test_a_longer_stay_elsewhere_is_no_jump_but_breaks_the_segment_on_both_sides():
    recording = clean(moved(drive(), slice(7, 13), 5000.0), "drive")
    assert recording.removed == {}
    np.testing.assert_array_equal(recording.segment, [0] * 7 + [1] * 6 + [2] * 7)


def test_two_jumps_are_told_by_the_larger():
    raw = moved(moved(drive(), 5, 300.0), 12, 12_345.0)
    assert removal(clean(raw, "d")) == "removed 2 of 20 fixes: 2 jumps of up to 12 km"


def test_what_a_car_can_cover_is_no_jump():
    # 20 m and 150 m/s for one second: 169 m is within reach, 171 m is not.
    assert clean(moved(drive(speed_mps=0.0), 8, 169.0), "d").removed == {}
    assert clean(moved(drive(speed_mps=0.0), 8, 171.0), "d").removed == {"jump": 1}


def test_when_the_drive_goes_on_from_the_new_place_the_segment_is_broken_there():
    recording = clean(moved(drive(), slice(10, None), 5000.0), "drive")
    assert recording.removed == {}
    np.testing.assert_array_equal(recording.segment, [0] * 10 + [1] * 10)


def test_a_wrong_first_fix_is_removed():
    recording = clean(moved(drive(), 0, 40_000.0), "drive")
    assert recording.removed == {"jump": 1}
    assert recording.time_s[0] == 0.0
    assert len(recording) == 19


def test_gaps_are_kept_and_counted():
    time = np.arange(20, dtype=float)
    time[5:] += 34.0
    time[9:] += 11.0
    recording = clean(drive(time=time), "drive")
    assert recording.remarks == ("2 gaps between fixes were kept, the longest of 35 s",)
    assert set(recording.segment) == {0}


def test_slow_logging_and_short_pauses_are_no_gaps():
    assert clean(drive(interval_s=15.0), "drive").remarks == ()
    time = np.arange(20, dtype=float)
    time[10:] += 8.0
    assert clean(drive(time=time), "drive").remarks == ()


def test_impossible_speeds_and_courses_are_left_out_but_their_fixes_stay():
    raw = drive(course_deg=np.full(20, 90.0))
    speed = np.full(20, 20.0)
    speed[[2, 3]], raw.course_deg[4] = [-1.0, 151.0], 400.0
    recording = clean(replace(raw, speed_mps=speed), "drive")
    assert np.flatnonzero(np.isnan(recording.speed_mps)).tolist() == [2, 3]
    assert np.flatnonzero(np.isnan(recording.course_deg)).tolist() == [4]
    assert len(recording) == 20
    assert recording.remarks == (
        "left out 2 speeds outside 0 to 150 m/s",
        "left out 1 course outside 0 to 360°",
    )


def test_a_height_that_is_nowhere_on_earth_is_left_out():
    """Land lies from 430 m below the sea to 8,849 m above it (from memory)."""
    height = np.full(20, 8_849.0)
    height[[2, 3, 4]] = [-1e308, 1e5, -430.0]
    recording = clean(drive(elevation_m=height), "drive")
    assert np.flatnonzero(np.isnan(recording.elevation_m)).tolist() == [2, 3]
    assert recording.remarks == ("left out 2 heights outside -1,000 to 10,000 m",)


def test_a_column_without_any_value_becomes_none():
    recording = clean(drive(course_deg=np.full(20, np.nan)), "drive")
    assert recording.course_deg is None


def test_the_start_is_the_time_of_the_first_usable_fix():
    time = np.datetime64("2024-02-29T23:59:58.250", "ns") + np.arange(20) * np.timedelta64(1, "s")
    raw = drive(time=time)
    raw.latitude_deg[0] = np.nan
    recording = clean(raw, "drive")
    assert recording.start == datetime(2024, 2, 29, 23, 59, 59, 250_000, tzinfo=UTC)
    np.testing.assert_array_equal(recording.time_s, np.arange(19.0))


def test_a_drive_across_the_antimeridian_is_continuous():
    raw = drive(longitude_deg=(np.linspace(179.999, 180.001, 20) + 180.0) % 360.0 - 180.0)
    recording = clean(raw, "drive")
    assert recording.removed == {}
    assert np.all(np.diff(recording.longitude_deg) > 0)
    geod = Geod(ellps="WGS84")
    assert np.ptp(recording.longitude_deg) == pytest.approx(0.002)
    assert geod.line_length(recording.longitude_deg, recording.latitude_deg) == pytest.approx(
        0.002 * METRES_PER_DEGREE
    )


def test_fewer_than_two_usable_fixes_are_refused_with_the_reasons():
    raw = drive(3)
    raw.latitude_deg[[0, 1]] = np.nan
    with pytest.raises(RecordingError, match=r"only 1 usable fix .*removed 2 of 3 fixes: 2 bad"):
        clean(raw, "drive")


def test_what_the_reader_dropped_is_counted_with_the_rest():
    raw = drive(dropped=(Dropped("no fix", 4, "4 epochs without a fix"),))
    recording = clean(raw, "drive")
    assert recording.read_count == 24
    assert removal(recording) == "removed 4 of 24 fixes: 4 epochs without a fix"


_TROUBLES = st.sampled_from(
    ["none"] * 20 + ["same time", "back", "no time", "not a number", "null island", "jump"]
)


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(st.lists(_TROUBLES, min_size=30, max_size=60))
def test_times_increase_and_every_fix_read_is_kept_or_counted(troubles):
    raw = drive(len(troubles))
    for i, trouble in enumerate(troubles):
        if trouble == "same time":
            raw.time[i] = raw.time[i - 1]
        elif trouble == "back":
            raw.time[i] -= 5.5
        elif trouble == "no time":
            raw.time[i] = np.nan
        elif trouble == "not a number":
            raw.latitude_deg[i] = np.nan
        elif trouble == "null island":
            raw.longitude_deg[i] = 0.0
        elif trouble == "jump":
            raw.latitude_deg[i] += 1.0
    backwards = troubles.count("back") + troubles.count("same time")
    try:
        recording = clean(raw, "drive")
    except RecordingError:
        # Only too many times going backwards, or with the jumps more than one in five, may be
        # refused, and no more than one fix is lost to each that does.
        usable = len(troubles) - sum(t != "none" for t in troubles)
        wrong = backwards + troubles.count("jump")
        assert backwards > 0.1 * usable or (wrong >= 10 and wrong > 0.2 * usable)
        return
    assert np.all(np.diff(recording.time_s) > 0)
    assert recording.read_count == len(recording) + sum(recording.removed.values())
    assert recording.read_count == len(troubles)
    assert recording.removed.get("bad position", 0) == troubles.count("not a number")
    assert recording.removed.get("position at 0, 0", 0) == troubles.count("null island")
    assert np.all(np.diff(recording.segment) >= 0)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.05, 9.0), st.floats(-1, 1), st.floats(-1, 1)), min_size=2, max_size=40
    )
)
def test_a_drive_within_reach_and_in_order_is_untouched(steps):
    dt, east, north = np.array(steps).T
    raw = RawFixes(
        np.cumsum(dt),
        160.0 + np.cumsum(east * dt) * 100.0 / METRES_PER_DEGREE,
        47.0 + np.cumsum(north * dt) * 100.0 / METRES_PER_DEGREE,
    )
    recording = clean(raw, "drive")
    assert recording.removed == {}
    np.testing.assert_array_equal(recording.longitude_deg, raw.longitude_deg)
    np.testing.assert_array_equal(recording.latitude_deg, raw.latitude_deg)
    np.testing.assert_allclose(recording.time_s, raw.time - raw.time[0])
