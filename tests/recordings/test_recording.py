"""Recordings made of lists and arrays: what is taken, and what is refused at the door."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest

from trackkit.errors import RecordingError
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

NOON = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)
QUARTET = [NOON + timedelta(seconds=second) for second in range(4)]
EAST = [10.0, 10.0001, 10.0002, 10.0003]
NORTH = [50.0, 50.0, 50.0, 50.0]


def test_lists_make_a_recording_that_can_be_smoothed():
    recording = Recording.from_arrays([5, 6, 7, 8], EAST, NORTH)

    assert recording.time_s.tolist() == [0.0, 1.0, 2.0, 3.0]
    assert recording.segment.tolist() == [0, 0, 0, 0]
    assert (recording.start, recording.speed_mps, recording.read_count) == (None, None, 4)
    drive = smooth(recording, LocalPlane.around(recording.longitude_deg, recording.latitude_deg))
    assert len(drive.position_m) == 4


def test_lists_given_to_the_type_itself_become_arrays():
    recording = Recording("own", [0, 1, 2], EAST[:3], NORTH[:3], segment=[0, 0, 1])

    assert recording.longitude_deg.dtype == float
    assert recording.segment.tolist() == [0, 0, 1]


def test_seconds_count_from_the_start_given_whatever_the_first_is():
    recording = Recording.from_arrays([30.0, 31.0], EAST[:2], NORTH[:2], start=NOON)

    assert recording.start == NOON + timedelta(seconds=30)


def test_times_of_day_of_any_zone_become_utc():
    vienna = timezone(timedelta(hours=2))
    times = [datetime(2024, 5, 4, 14, 0, second, tzinfo=vienna) for second in (0, 1, 3)]

    recording = Recording.from_arrays(times, EAST[:3], NORTH[:3])

    assert recording.start == NOON
    assert recording.start.tzinfo is UTC
    assert recording.time_s.tolist() == [0.0, 1.0, 3.0]


def test_a_column_of_pandas_with_a_time_zone_is_taken():
    times = pd.Series(pd.date_range("2024-05-04 12:00", periods=4, freq="100ms", tz="UTC"))

    recording = Recording.from_arrays(times, pd.Series(EAST), pd.Series(NORTH))

    assert recording.start == NOON
    assert recording.time_s.tolist() == pytest.approx([0.0, 0.1, 0.2, 0.3])


def test_longitudes_may_leap_at_the_antimeridian():
    recording = Recording.from_arrays([0, 1], [179.9999, -179.9999], [0.0, 0.0])

    assert abs(recording.longitude_deg[1] - recording.longitude_deg[0]) < 0.001


@pytest.mark.parametrize(
    ("time", "more", "sentence"),
    [
        (
            [moment.replace(tzinfo=None) for moment in QUARTET],
            {},
            "2024-05-04T12:00:00 without a time zone; give datetimes with a time zone",
        ),
        (np.arange("2024-05-04", "2024-05-08", dtype="datetime64[D]"), {}, "knows no time zone"),
        ([0, 1, 2, 3], {"start": NOON.replace(tzinfo=None)}, "without a time zone"),
        (QUARTET, {"start": NOON}, "leave start out"),
        ([NOON, 1, 2, 3], {}, "not one time of day a fix"),
        ([0, 1, 2], {}, "has 3 times but 4 values of longitude_deg"),
        ([[0, 1, 2, 3]], {}, "has time of shape (1, 4)"),
        ([[0, 1], [2]], {}, "has time that is not one number a fix"),
        (
            [0, 1, 2, 3],
            {"speed_mps": ["fast", "slow", "fast", "slow"]},
            "has speed_mps that is not",
        ),
        ([0, 1, 2, 3], {"course_deg": [1.0, 2.0]}, "has 4 times but 2 values of course_deg"),
        ([0, 1, 2, 3], {"segment": [0, 1, 0, 1]}, "counting up from 0"),
        ([0, 1, 2, 3], {"segment": [0, 0.5, 1, 1]}, "counting up from 0"),
        ([0, 1, 1, 2], {}, "times that do not increase"),
        ([0, 1, np.nan, 2], {}, "times that do not increase"),
        ([0, 1, 2, np.inf], {}, "a time that is not a number"),
        ([], {}, "holds no usable fix"),
    ],
)
def test_what_makes_no_recording_is_refused_with_a_sentence(time, more, sentence):
    columns = ([], []) if len(time) == 0 else (EAST, NORTH)

    with pytest.raises(RecordingError) as refused:
        Recording.from_arrays(time, *columns, name="own", **more)

    assert sentence in str(refused.value)
    assert str(refused.value).startswith("own")
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"start": NOON.replace(tzinfo=None)}, "without a time zone"),
        ({"time_s": [1.0, 2.0, 3.0, 4.0]}, "has a first fix at 1 s instead of 0"),
        ({"time_s": np.zeros((2, 2))}, "has time_s of shape (2, 2)"),
        ({"latitude_deg": [50.0, 91.0, 50.0, 50.0]}, "fix 2: has a position, longitude 10.0001"),
    ],
)
def test_the_type_itself_refuses_what_would_fail_later(changes, sentence):
    values = {"time_s": [0, 1, 2, 3], "longitude_deg": EAST, "latitude_deg": NORTH}

    with pytest.raises(RecordingError) as refused:
        Recording("own", **(values | changes))

    assert sentence in str(refused.value)


def test_a_recording_is_shown_in_few_words():
    long = Recording.from_arrays(
        range(5000),
        np.linspace(160, 161, 5000),
        np.full(5000, 50.0),
        name="a/folder/" * 40,
        start=NOON,
    )

    assert len(repr(long)) < 120
    assert "5,000 fixes in 4,999.0 s from 2024-05-04T12:00:00Z" in repr(long)


# What a recording knows of itself


def recording(count=5, **more):
    column = np.arange(count, dtype=float)
    values = {
        "time_s": column,
        "longitude_deg": 161 + column / 1e4,
        "latitude_deg": 46 + column / 1e4,
    }
    return Recording("invented.gpx", **{**values, **more})


def test_a_recording_knows_its_duration_and_interval():
    one = recording(time_s=np.array([0.0, 1.0, 2.0, 3.0, 13.0]))
    assert (len(one), one.duration_s, one.interval_s) == (5, 13.0, 1.0)


def test_a_single_fix_has_no_interval():
    one = recording(1)
    assert (one.duration_s, one.interval_s) == (0.0, float("inf"))


def test_a_recording_without_segments_is_one_unbroken_stretch():
    assert recording().segment.tolist() == [0, 0, 0, 0, 0]


def test_time_of_day_is_counted_from_the_first_fix_and_keeps_its_fraction():
    start = datetime(2031, 5, 1, 23, 59, 59, 900_000, tzinfo=UTC)
    later = recording(start=start).time_of_day(0.25)
    assert later == datetime(2031, 5, 2, 0, 0, 0, 150_000, tzinfo=UTC)
    assert recording().time_of_day(0.25) is None


def test_another_name_changes_nothing_else():
    one = recording(speed_mps=np.full(5, 3.0))
    other = one.renamed("other.gpx")
    assert other.name == "other.gpx"
    assert other.speed_mps is one.speed_mps
    assert other.time_s is one.time_s


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"time_s": np.array([0.0, 1.0, 1.0, 2.0, 3.0])}, "times that do not increase"),
        ({"time_s": np.array([0.0, 2.0, 1.0, 3.0, 4.0])}, "times that do not increase"),
        ({"time_s": np.array([0.0, np.nan, 2.0, 3.0, 4.0])}, "times that do not increase"),
        ({"longitude_deg": np.full(5, np.nan)}, "a position that is not a number"),
        ({"latitude_deg": np.array([46, 46, np.inf, 46, 46.0])}, "a position that is not a number"),
        ({"speed_mps": np.zeros(4)}, "5 times but 4 values of speed_mps"),
        ({"course_deg": np.zeros(6)}, "5 times but 6 values of course_deg"),
        ({"latitude_deg": np.zeros(2)}, "5 times but 2 values of latitude_deg"),
    ],
)
def test_a_recording_that_cannot_be_is_refused_by_name(changes, sentence):
    with pytest.raises(RecordingError, match=rf"invented\.gpx: has .*{sentence}"):
        recording(**changes)


def test_a_recording_of_no_fix_is_refused():
    with pytest.raises(RecordingError, match=r"invented\.gpx: holds no usable fix"):
        recording(0)
