"""Files recognised by what they hold, and refused in one sentence."""

from __future__ import annotations

import gzip
import os

import pytest
from small_files import CSV, GEOJSON, GPX

from trackkit.budgets import raised
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.detect import is_surely_recording
from trackkit.recordings.drawn_lines import read_line
from trackkit.recordings.read import read_recording


@pytest.mark.parametrize("data", [CSV, GPX, GEOJSON], ids=["CSV", "GPX", "GeoJSON"])
def test_the_suffix_does_not_matter(file, data):
    assert len(read_recording(file(data, "drive.nmea"))) == 2


@pytest.mark.parametrize("data", [CSV, GPX, GEOJSON], ids=["CSV", "GPX", "GeoJSON"])
def test_gzip_is_unpacked(file, data):
    assert len(read_recording(file(gzip.compress(data)))) == 2


def test_blocks_never_filled_at_the_end_are_passed_over(file):
    assert len(read_recording(file(CSV + bytes(4096)))) == 2


def test_a_truncated_gzip_is_told(file):
    with pytest.raises(RecordingError, match="its gzip breaks off before the end"):
        read_recording(file(gzip.compress(CSV * 100)[:-10]))


def test_a_damaged_gzip_is_told(file):
    data = bytearray(gzip.compress(CSV))
    data[-8] ^= 0xFF  # the first byte of the CRC (RFC 1952, section 2.3.1)
    with pytest.raises(RecordingError, match="its gzip is damaged"):
        read_recording(file(bytes(data)))


def test_a_gzip_that_unpacks_to_too_much_is_refused(file):
    packed = file(gzip.compress(bytes(2 << 20)))
    with (
        raised({"unpacked_bytes": 1 << 20}),
        pytest.raises(RecordingError, match="unpacks to at least 2,097,152 bytes, more"),
    ):
        read_recording(packed)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00", "is a JPEG picture"),
        (b"\x89PNG\r\n\x1a\n\x00", "is a PNG picture"),
        (b"PK\x03\x04\x14\x00", "its ZIP archive is damaged or breaks off"),
        (b"SQLite format 3\x00" + bytes(84), "is an SQLite database"),
        (b"%PDF-1.7\n", "is a PDF document"),
        (b"\x00\x01\x02\x03", "is a binary file"),
        (b"", "is empty"),
        (b" \r\n\t", "is empty"),
        (b"<!DOCTYPE html><html><body>404</body></html>", "is a web page"),
        (b"<?xml version='1.0'?><feed/>", "root element <feed>, not GPX"),
        (b"<", "its XML is broken"),
        (b'{"type": "FeatureCollection", "features": [', "not valid JSON or breaks off"),
        (b"[1, 2]", "is JSON but not GeoJSON"),
        (b'{"a": 1}', "is JSON but not GeoJSON"),
        (b"[" * 100_000, "is JSON beyond what GeoJSON needs"),
    ],
)
@pytest.mark.parametrize("read", [read_recording, read_line])
def test_what_is_no_recording_or_line_gets_one_sentence(file, read, data, words):
    with pytest.raises(RecordingError, match=words) as caught:
        read(file(data, "drive.gpx"))
    assert "drive.gpx" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_kml_without_a_track_is_no_recording(file):
    with pytest.raises(
        NoTimesError, match="is KML without a gx:Track, and so without times; build from it"
    ) as e:
        read_recording(file(b'<kml xmlns="http://www.opengis.net/kml/2.2"/>'))
    assert e.value.remedy.do == "build from line"


def test_a_folder_is_told(tmp_path):
    with pytest.raises(RecordingError, match="is a folder, not a file"):
        read_recording(tmp_path)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(RecordingError, match="no such file"):
        read_recording(tmp_path / "nowhere.gpx")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read every file")
def test_a_file_without_permission_is_told(file):
    path = file(CSV)
    path.chmod(0)
    with pytest.raises(RecordingError, match="may not be read by this user"):
        read_recording(path)


def test_a_track_file_is_no_recording_and_no_drawn_line(file):
    path = file(
        b'{"type": "FeatureCollection", "track": {"format": "trackkit-track"}, "features": []}'
    )
    with pytest.raises(RecordingError, match="is a track file, not a recording"):
        read_recording(path)
    with pytest.raises(RecordingError, match="is a track file already, not a drawn line"):
        read_line(path)


@pytest.mark.parametrize(
    ("text", "surely"),
    [
        ("time_utc,latitude_deg,longitude_deg\nx,y,z\n", True),
        ("name,latitude,longitude\nstart,1,2\n", False),
        ("file,driver,vehicle\na.nmea,Ada,7\n", False),
    ],
)
def test_a_table_is_surely_a_recording_where_its_header_names_times_and_places(
    tmp_path, text, surely
):
    path = tmp_path / "table.csv"
    path.write_text(text)
    assert is_surely_recording(str(path)) is surely
