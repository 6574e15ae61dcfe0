"""UBX: messages written by pyubx2's encoder, and one that is published."""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from pynmea2 import GGA
from pyubx2 import GET, UBXMessage
from ubx_messages import BEGIN, navigation, older_epoch, pvt

from trackkit.errors import RecordingError
from trackkit.recordings.read import read_recording
from trackkit.recordings.ubx.frames import frames_of

ACKNOWLEDGED = bytes.fromhex("b5620501020006010f38")
"""An acknowledgement, as pyubx2's own documentation prints it (from memory)."""
STREAM = b"".join(pvt(n) for n in range(20))
_PLACE = ("4830.000", "N", "16115.000", "E", "1", "08", "0.9", "545.4", "M", "46.9", "M", "", "")


def sentence(second: int) -> bytes:
    """Write a GGA of NMEA 0183, by pynmea2."""
    return f"{GGA('GP', 'GGA', (f'1235{second:02d}', *_PLACE))}\r\n".encode()


def test_a_published_message_is_whole_and_a_changed_one_is_not():
    assert frames_of(ACKNOWLEDGED).end.tolist() == [10]
    for place in range(2, 10):
        changed = bytearray(ACKNOWLEDGED)
        changed[place] ^= 0x10
        assert len(frames_of(bytes(changed)).begin) == 0


def test_what_pyubx2_wrote_is_read(file):
    recording = read_recording(file(STREAM))
    assert recording.start == BEGIN
    assert recording.time_s == pytest.approx(0.1 * np.arange(20), abs=1e-9)
    assert recording.longitude_deg == pytest.approx(161.0 + 1e-5 * np.arange(20), abs=1e-12)
    assert recording.latitude_deg == pytest.approx([48.5] * 20, abs=1e-12)
    assert recording.elevation_m == pytest.approx([12.5] * 20)
    # 3 m/s north and 4 m/s east.
    assert recording.speed_mps == pytest.approx([5.0] * 20)
    assert recording.course_deg == pytest.approx([np.degrees(np.arctan2(4, 3))] * 20)
    assert recording.accuracy_m == pytest.approx([0.35] * 20)
    assert recording.accuracy_of == "radius"
    assert recording.speed_accuracy_mps == pytest.approx([0.06] * 20)


def test_fractions_come_from_the_nanoseconds_also_before_the_second(file):
    recording = read_recording(file(pvt(0, nano=-250_000_000) + pvt(10, nano=-250_000_000)))
    assert recording.start == BEGIN - timedelta(milliseconds=250)
    assert recording.time_s.tolist() == [0.0, 1.0]


def test_messages_of_the_older_length_are_read(file):
    shorter = [navigation(0x01, 0x07, pvt(n)[6:-2][:84]) for n in range(3)]
    assert len(read_recording(file(b"".join(shorter)))) == 3


def test_other_messages_and_noise_between_are_passed_over(file):
    noise = b"\x00\xb5\xff" + ACKNOWLEDGED + b"text\r\n"
    data = b"".join(pvt(n) + noise for n in range(20))
    recording = read_recording(file(data))
    assert len(recording) == 20
    assert recording.remarks == ()


def test_a_sync_inside_a_message_begins_none(file):
    # Two bytes of the height are B5 62, of a length that reaches into the next message.
    data = b"".join(pvt(n, height=0x62B5) for n in range(5))
    recording = read_recording(file(data))
    assert len(recording) == 5
    assert recording.remarks == ()


def test_damaged_messages_are_left_out_and_counted(file):
    data = bytearray(STREAM)
    data[250] ^= 0xFF
    recording = read_recording(file(bytes(data[:-30])))
    assert len(recording) == 18
    assert recording.remarks == (
        "left out 2 UBX messages, cut off or with a wrong checksum, the first at byte 201",
    )


def test_epochs_without_a_fix_are_counted(file):
    data = pvt(0, gnssFixOk=0) + pvt(1, fixType=0) + pvt(2, fixType=5) + pvt(3) + pvt(4)
    recording = read_recording(file(data))
    assert len(recording) == 2
    assert recording.removed == {"no fix": 3}


def test_a_fix_without_a_valid_date_has_no_time(file):
    recording = read_recording(file(pvt(0, validDate=0) + pvt(1) + pvt(2)))
    assert recording.removed == {"no time": 1}


def test_leap_seconds_heard_late_change_no_duration(file):
    """Until it has heard of them a receiver reckons with the leap seconds it was made with."""
    early = [pvt(n, later=timedelta(seconds=2), fullyResolved=0) for n in range(10)]
    recording = read_recording(file(b"".join([*early, *(pvt(n) for n in range(10, 20))])))
    assert recording.time_s == pytest.approx(0.1 * np.arange(20), abs=1e-9)
    assert recording.start == BEGIN


def test_a_leap_second_changes_no_duration(file):
    """23:59:60 stands between 23:59:59 and 00:00:00."""
    before = {"year": 2016, "month": 12, "day": 31, "hour": 23, "min": 59}
    after = {"year": 2017, "month": 1, "day": 1, "hour": 0, "min": 0}
    moments = [{**before, "second": n} for n in range(45, 61)]
    moments += [{**after, "second": n} for n in range(15)]
    data = b"".join(pvt(10 * n, nano=0, **moment) for n, moment in enumerate(moments))
    assert read_recording(file(data)).time_s.tolist() == list(range(31))


def test_a_roll_over_of_the_week_changes_no_duration(file):
    week_ms = 604_800_000
    data = b"".join(pvt(n, iTOW=(week_ms - 1000 + 100 * n) % week_ms) for n in range(20))
    assert read_recording(file(data)).time_s == pytest.approx(0.1 * np.arange(20), abs=1e-9)


@pytest.mark.parametrize("ubx", [2, 0], ids=["fewer messages", "none with a position"])
def test_sentences_are_read_where_more_of_them_tell_a_position(file, ubx):
    rows = [sentence(n) for n in range(5)]
    data = ACKNOWLEDGED.join(rows) + ACKNOWLEDGED + b"".join(pvt(n) for n in range(ubx))
    recording = read_recording(file(data))
    assert len(recording) == 5
    assert recording.latitude_deg[0] == pytest.approx(48.5)
    assert ("read as NMEA 0183" in " ".join(recording.remarks)) == bool(ubx)


def test_receivers_without_nav_pvt_are_read_by_their_older_messages(file):
    recording = read_recording(file(b"".join(older_epoch(n) for n in range(20))))
    assert recording.start == BEGIN
    assert recording.time_s == pytest.approx(0.2 * np.arange(20))
    assert recording.longitude_deg == pytest.approx(161.0 + 1e-5 * np.arange(20))
    assert recording.speed_mps == pytest.approx([5.0] * 20)
    assert recording.accuracy_m == pytest.approx([2.5] * 20)
    assert recording.speed_accuracy_mps == pytest.approx([0.2] * 20)


def test_high_precision_positions_and_gps_weeks_are_read(file):
    def epoch(n: int) -> bytes:
        week = {"iTOW": 302_400_000 + 200 * n}
        place = UBXMessage(
            "NAV",
            "NAV-HPPOSLLH",
            GET,
            **week,
            lon=161.0,
            lat=48.5 + 1e-6 * n,
            _HPlon=42e-9,
            hMSL=12_500,
            hAcc=250,
        )
        time = UBXMessage(
            "NAV",
            "NAV-TIMEGPS",
            GET,
            **week,
            week=2312,
            leapS=18,
            towValid=1,
            weekValid=1,
            leapSValid=1,
        )
        return place.serialize() + time.serialize()

    # The encoder cuts the ninth decimal off rather than rounding it.
    recording = read_recording(file(b"".join(epoch(n) for n in range(4))))
    # Week 2312 of GPS begins on Sunday, 28 April 2024; half a week later, less 18 leap seconds.
    assert recording.start == datetime(2024, 5, 1, 11, 59, 42, tzinfo=UTC)
    assert recording.longitude_deg == pytest.approx([161.000000042] * 4, abs=1.1e-9)


def test_a_missing_library_is_named_with_how_to_install_it(file, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyubx2", None)
    assert len(read_recording(file(STREAM))) == 20
    with pytest.raises(RecordingError, match=r"needs pyubx2.*pip install 'trackkit\[devices\]'"):
        read_recording(file(older_epoch(0) + older_epoch(1)))


def test_a_stream_that_tells_no_position_gets_one_sentence(file):
    with pytest.raises(RecordingError, match="holds 3 UBX messages, but none with a position"):
        read_recording(file(ACKNOWLEDGED * 3))
