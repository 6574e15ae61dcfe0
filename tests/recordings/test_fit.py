"""FIT, written by an encoder of the tests' own, since fitdecode has none."""

from __future__ import annotations

import sys
from datetime import UTC, datetime

import numpy as np
import pytest
from fit_files import EPOCH_S, EVENT, GPS_METADATA, RECORD, SEMICIRCLES, fit_file, message, record

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.read import read_recording

BEGIN = datetime(2024, 5, 1, 10, tzinfo=UTC)
BEGIN_S = int(BEGIN.timestamp())


def records(count: int, first: int = 0) -> list[bytes]:
    return [record(BEGIN_S + n, 161.0, 48.0 + 1e-4 * n) for n in range(first, first + count)]


def test_records_are_fixes_in_degrees_and_metres(file):
    recording = read_recording(file(fit_file(records(5))))
    assert recording.start == BEGIN
    assert recording.time_s.tolist() == [0, 1, 2, 3, 4]
    # Half a circle over 2^31 is 8.4e-8 degrees.
    assert recording.latitude_deg == pytest.approx(48.0 + 1e-4 * np.arange(5), abs=5e-8)
    assert recording.longitude_deg == pytest.approx([161.0] * 5, abs=5e-8)
    assert recording.speed_mps.tolist() == [10.0] * 5
    assert recording.elevation_m.tolist() == [100.0] * 5
    assert recording.accuracy_m.tolist() == [4.0] * 5


def test_messages_without_a_position_are_counted(file):
    blind = message(RECORD, [(253, "I", BEGIN_S - EPOCH_S), (3, "B", 130)])
    recording = read_recording(file(fit_file([blind, blind, *records(3)])))
    assert recording.removed == {"no fix": 2}


def test_a_timer_that_is_stopped_begins_a_new_segment(file):
    stop = message(EVENT, [(253, "I", BEGIN_S + 3 - EPOCH_S), (0, "B", 0), (1, "B", 4)], local=1)
    recording = read_recording(file(fit_file([*records(3), stop, *records(3, first=5)])))
    assert recording.segment.tolist() == [0, 0, 0, 1, 1, 1]


def test_satellite_messages_at_a_higher_rate_are_read_instead(file):
    metadata = [
        message(
            GPS_METADATA,
            [
                (253, "I", BEGIN_S + n // 10 - EPOCH_S),
                (0, "H", n % 10 * 100),
                (1, "i", round((48.0 + 1e-5 * n) * SEMICIRCLES)),
                (2, "i", round(161.0 * SEMICIRCLES)),
                (4, "I", 11_000),
                (5, "H", 4_500),
            ],
            local=2,
        )
        for n in range(40)
    ]
    recording = read_recording(file(fit_file([*records(4), *metadata])))
    assert recording.time_s == pytest.approx(0.1 * np.arange(40))
    assert set(recording.course_deg) == {45.0}
    assert set(recording.speed_mps) == {11.0}


def test_times_by_the_devices_own_clock_are_brought_to_utc(file):
    metadata = [
        message(
            GPS_METADATA,
            [
                (253, "I", 1000 + n),
                (6, "I", BEGIN_S + n - EPOCH_S),
                (1, "i", round((48.0 + 1e-5 * n) * SEMICIRCLES)),
                (2, "i", round(161.0 * SEMICIRCLES)),
            ],
        )
        for n in range(3)
    ]
    assert read_recording(file(fit_file(metadata))).start == BEGIN


def test_files_chained_in_one_are_all_read(file):
    data = fit_file(records(3)) + fit_file(records(3, first=3))
    assert len(read_recording(file(data))) == 6


def test_a_file_that_breaks_off_is_read_as_far_as_it_goes(file):
    recording = read_recording(file(fit_file(records(9))[:-60]))
    assert 2 <= len(recording) < 9
    assert "breaks off after" in " ".join(recording.remarks)


def test_of_a_message_that_cannot_be_read_nothing_is_kept(file):
    """Two speeds in a field that holds one."""
    fields = [(253, "I", BEGIN_S + 3 - EPOCH_S), (0, "i", 1 << 29), (1, "i", 1 << 29)]
    twice = message(RECORD, [*fields, (73, "2I", 1000)])
    recording = read_recording(file(fit_file([*records(3), twice])))
    assert len(recording) == 3
    assert "is damaged" in " ".join(recording.remarks)


def test_a_wrong_checksum_is_told(file):
    data = bytearray(fit_file(records(4)))
    data[-1] ^= 0xFF
    recording = read_recording(file(bytes(data)))
    assert len(recording) == 4
    assert "its checksum does not match" in " ".join(recording.remarks)


@pytest.mark.parametrize(
    ("data", "error", "words"),
    [
        (fit_file([]), RecordingError, "holds no position"),
        (fit_file(records(1))[:20], RecordingError, "breaks off before the first fix"),
        (
            fit_file([message(RECORD, [(0, "i", 1 << 29), (1, "i", 1 << 29)])] * 3),
            NoTimesError,
            "no times of day",
        ),
    ],
    ids=["empty", "cut short", "without times"],
)
def test_what_holds_no_fix_gets_one_sentence(file, data, error, words):
    with pytest.raises(error, match=words):
        read_recording(file(data, "drive.fit"))


def test_a_missing_library_is_named_with_how_to_install_it(file, monkeypatch):
    monkeypatch.setitem(sys.modules, "fitdecode", None)
    with pytest.raises(RecordingError, match=r"needs fitdecode.*pip install 'trackkit\[devices\]'"):
        read_recording(file(fit_file(records(3))))
