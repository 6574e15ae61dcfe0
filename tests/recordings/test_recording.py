"""Recordings: what they know of themselves, and what they refuse to be."""

from datetime import UTC, datetime

import numpy as np
import pytest

from trackkit.errors import RecordingError
from trackkit.recordings.recording import Recording


def recording(count=5, **more):
    column = np.arange(count, dtype=float)
    values = {
        "time_s": column,
        "longitude_deg": 7 + column / 1e4,
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
