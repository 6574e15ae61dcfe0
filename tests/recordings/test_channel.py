"""Channels by themselves, in GPX, and written and read again."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import gpxpy
import numpy as np
import pytest

from trackkit.budgets import raised
from trackkit.errors import RecordingError
from trackkit.recordings.channel import Channel, distinct_names
from trackkit.recordings.read import read_recording
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import write_recording

TIME_S = np.arange(6) / 5.0


def recording(*channels):
    return Recording(
        "drive",
        TIME_S,
        161.5 + 1e-5 * np.arange(6),
        np.full(6, 48.1),
        start=datetime(2024, 5, 4, 9, tzinfo=UTC),
        speed_mps=np.full(6, 4.0),
        channels=channels,
    )


@pytest.mark.parametrize(
    ("time_s", "value", "words"),
    [
        ([0.0, 1.0], [1.0], "not one value a time"),
        ([0.0, 0.0], [1.0, 2.0], "times that do not increase"),
        ([0.0, np.nan], [1.0, 2.0], "times that do not increase"),
        ([0.0, 1.0], [1.0, np.inf], "infinite"),
    ],
)
def test_what_is_no_channel_is_refused(time_s, value, words):
    with pytest.raises(RecordingError, match=words):
        Channel("oil", "bar", np.array(time_s), np.array(value))


def test_two_channels_of_one_name_are_refused():
    oil = Channel("oil", None, np.zeros(1), np.zeros(1))
    with pytest.raises(RecordingError, match="has 2 channels called 'oil'"):
        recording(oil, oil)


def test_a_channel_shows_itself_in_one_short_line():
    oil = Channel("oil", "bar", np.arange(2.0), np.zeros(2))
    assert repr(oil) == "Channel('oil [bar]', 2 values)"


def test_names_that_come_again_are_numbered_past_those_that_are_numbered_already():
    assert distinct_names(["t", "t 2", "t", "t"]) == ["t", "t 2", "t 3", "t 4"]


def same(first, second):
    assert (first.name, first.unit) == (second.name, second.unit)
    np.testing.assert_allclose(first.time_s, second.time_s, atol=1e-6)
    np.testing.assert_array_equal(first.value, second.value)


CHANNELS = (
    Channel("engine speed", "rpm", TIME_S, np.array([1e4, 12.5, -3.0, 0.1, 2e-7, 7.0])),
    Channel("water temp", "°C", TIME_S[[1, 4]], np.array([80.1, 80.2])),
    Channel("<odd> & 'name'", None, TIME_S[:3], np.array([1.0, 2.0, 3.0])),
)


@pytest.mark.parametrize("suffix", [".csv", ".gpx", ".csv.gz"])
def test_channels_written_are_read_again_with_names_units_times_and_values(suffix, tmp_path):
    path = tmp_path / f"drive{suffix}"
    write_recording(recording(*CHANNELS), path)
    again = read_recording(path)

    assert len(again.channels) == 3
    by_name = {channel.name: channel for channel in again.channels}
    for written in CHANNELS:
        same(by_name[written.name], written)
    np.testing.assert_array_equal(again.time_s, read_back_without(path).time_s)


def read_back_without(path):
    bare = path.with_name(f"bare{''.join(path.suffixes)}")
    write_recording(recording(), bare)
    return read_recording(bare)


def test_values_between_fixes_have_rows_of_their_own_in_csv(tmp_path):
    fast = Channel("RPM", None, 0.1 * np.arange(11), np.arange(11.0))
    write_recording(recording(fast), tmp_path / "drive.csv")
    again = read_recording(tmp_path / "drive.csv")

    same(again.channels[0], fast)
    np.testing.assert_array_equal(again.time_s, TIME_S)


def test_values_between_fixes_are_at_the_nearest_fix_in_gpx(tmp_path):
    late = Channel("RPM", None, TIME_S[:3] + 0.03, np.array([1.0, 2.0, 3.0]))
    far = Channel("oil", None, np.array([9.0]), np.array([1.0]))
    write_recording(recording(late, far), tmp_path / "drive.gpx")
    (again,) = read_recording(tmp_path / "drive.gpx").channels

    same(again, replace(late, time_s=TIME_S[:3]))


def test_a_channel_called_as_a_reader_would_call_something_of_a_fix_stays_a_channel(tmp_path):
    wheel = Channel("speed", "km/h", TIME_S, np.full(6, 99.0))
    write_recording(recording(wheel), tmp_path / "drive.csv")
    again = read_recording(tmp_path / "drive.csv")

    assert again.speed_mps.tolist() == [4.0] * 6
    assert [channel.title for channel in again.channels] == ["channel speed [km/h]"]


def test_other_peoples_readers_find_the_fixes_of_a_gpx_with_channels(tmp_path):
    write_recording(recording(*CHANNELS), tmp_path / "drive.gpx")
    # gpxpy reads the points; GPX 1.0 lets elements of other namespaces end a point (its schema,
    # from memory).
    (track,) = gpxpy.parse((tmp_path / "drive.gpx").read_text("utf-8")).tracks

    assert [point.speed for point in track.segments[0].points] == [4.0] * 6


GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1"
     xmlns:a="urn:invented:a" xmlns:b="urn:invented:b"><trk>{}</trk></gpx>
"""


def point(second, inside, after=""):
    return (
        f'<trkpt lat="48.1" lon="{161.5 + second * 1e-4:.4f}">'
        f"<time>2024-05-01T10:00:{second:02d}Z</time>{after}"
        f"<extensions>{inside}</extensions></trkpt>"
    )


def gpx_channels(tmp_path, *segments):
    path = tmp_path / "drive.gpx"
    body = "".join(f"<trkseg>{''.join(points)}</trkseg>" for points in segments)
    path.write_text(GPX.format(body), encoding="utf-8")
    return read_recording(path)


def test_numbers_in_extensions_are_channels_nested_or_not(tmp_path):
    inside = (
        "<a:ext><a:engine><a:rpm>{0}00</a:rpm><a:temp unit='°C'>8{0}</a:temp></a:engine></a:ext>"
        "<b:brake><b:temp>2{0}</b:temp></b:brake><b:gear> {0} </b:gear><b:speed>1{0}</b:speed>"
        "<b:note>lap {0}</b:note>"
    )
    read = gpx_channels(tmp_path, [point(n, inside.format(n), "<sat>9</sat>") for n in range(1, 4)])

    assert read.speed_mps.tolist() == [11.0, 12.0, 13.0]
    assert {channel.title: channel.value.tolist() for channel in read.channels} == {
        "rpm": [100.0, 200.0, 300.0],
        "ext engine temp [°C]": [81.0, 82.0, 83.0],
        "brake temp": [21.0, 22.0, 23.0],
        "gear": [1.0, 2.0, 3.0],
    }
    assert read.channels[0].time_s.tolist() == [0.0, 1.0, 2.0]


def test_points_without_a_value_or_with_a_broken_one_are_still_fixes(tmp_path):
    values = ["<a:oil>3.1</a:oil>", "", "<a:oil>x</a:oil>", "<a:oil>3.4</a:oil><a:oil>9</a:oil>"]
    read = gpx_channels(tmp_path, [point(n, text) for n, text in enumerate(values)])
    (oil,) = read.channels

    assert len(read) == 4
    assert oil.time_s.tolist() == [0.0, 2.0, 3.0]
    np.testing.assert_array_equal(oil.value, [3.1, np.nan, 3.4])


def test_channels_follow_segments_that_are_put_in_order_of_time(tmp_path):
    later = [point(n, f"<a:n>{n}</a:n>") for n in (10, 11)]
    earlier = [point(n, f"<a:n>{n}</a:n>") for n in (1, 2, 3)]
    (channel,) = gpx_channels(tmp_path, later, earlier).channels

    assert channel.value.tolist() == [1.0, 2.0, 3.0, 10.0, 11.0]
    assert (channel.time_s + 1).tolist() == channel.value.tolist()


def test_more_values_than_the_limit_are_left_out_of_gpx_too(tmp_path):
    with raised({"channel_values": 3}):
        read = gpx_channels(tmp_path, [point(n, f"<a:n>{n}</a:n>") for n in range(5)])

    assert read.channels == ()
    assert "limit channel_values" in read.remarks[0]
    assert len(read) == 5
