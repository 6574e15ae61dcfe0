"""The one door: what a file is, told from its content, and files that are something else."""

from __future__ import annotations

import gzip
import json
import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.budgets import raised
from trackkit.errors import RecordingError, TrackkitError
from trackkit.recordings.drawn_lines import read_line
from trackkit.recordings.read import read_recording

CSV = b"time,lat,lon\n0,48,11\n0.1,48,11\n"
GPX = (
    b'<gpx version="1.1"><trk><trkseg>'
    b'<trkpt lat="48" lon="11"><time>2024-05-01T10:00:00Z</time>'
    b'</trkpt><trkpt lat="48" lon="11"><time>2024-05-01T10:00:01Z</time></trkpt>'
    b"</trkseg></trk></gpx>"
)
GEOJSON = (
    b'{"type": "Feature", "geometry": {"type": "LineString",'
    b' "coordinates": [[11, 48], [11, 48.1]]},'
    b' "properties": {"coordTimes": ["2024-05-01T10:00:00Z", "2024-05-01T10:10:00Z"]}}'
)


@pytest.fixture
def file(tmp_path):
    def write(data: bytes, name: str = "drive.bin"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return write


@pytest.mark.parametrize("data", [CSV, GPX, GEOJSON], ids=["CSV", "GPX", "GeoJSON"])
def test_the_suffix_does_not_matter(file, data):
    assert len(read_recording(file(data, "drive.nmea"))) == 2


@pytest.mark.parametrize("data", [CSV, GPX, GEOJSON], ids=["CSV", "GPX", "GeoJSON"])
def test_gzip_is_unpacked(file, data):
    assert len(read_recording(file(gzip.compress(data)))) == 2


def test_blocks_never_filled_at_the_end_are_passed_over(file):
    assert len(read_recording(file(CSV + bytes(4096)))) == 2


def test_a_recording_is_called_what_the_user_called_it(file):
    path = file(CSV)
    assert read_recording(path).name == os.fspath(path)


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
        (b"PK\x03\x04\x14\x00", "is a ZIP archive.*unpack it first"),
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


def test_kml_is_no_recording(file):
    with pytest.raises(
        RecordingError, match="is KML, which is read as a drawn line only; save"
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


def test_importing_the_readers_loads_no_heavy_library():
    code = (
        "import sys, trackkit.recordings.read; heavy = "
        "{'pandas', 'geopandas', 'lxml', 'gpxpy', 'pynmea2', 'pyogrio', 'scipy', 'shapely'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


@settings(max_examples=120, deadline=None)
@given(
    data=st.sampled_from([CSV, GPX, GEOJSON]),
    at=st.integers(0, 400),
    length=st.sampled_from([0, 1, 3, 20]),
    put=st.sampled_from(
        [b"", b"9", b"-", b",", b'"', b"<", b"{", b"\n", b"\x00", b"\xff", b"1e999"]
    ),
)
def test_whatever_damage_is_done_the_answer_is_a_recording_or_one_sentence(
    tmp_path_factory, data, at, length, put
):
    at %= len(data)
    path = tmp_path_factory.mktemp("damaged") / "drive"
    path.write_bytes(data[:at] + put + data[at + length :])
    for read in (read_recording, read_line):
        sentence = None
        try:
            found = read(path)
        except TrackkitError as error:
            sentence = str(error)
        if sentence is None:
            assert len(found.longitude_deg) >= 2
        else:
            assert "\n" not in sentence
            assert str(path) in sentence


def test_geojson_points_tell_their_dilution_of_precision(tmp_path):
    points = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [11.5, 48.1]},
            "properties": {"time": f"2024-05-01T10:00:0{n}Z", **told},
        }
        for n, told in enumerate([{"hdop": 0.8}, {}])
    ]
    path = tmp_path / "points.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": points}))
    np.testing.assert_array_equal(read_recording(path).hdop, [0.8, np.nan])


def test_a_question_about_dates_in_geojson_names_the_file(tmp_path):
    properties = {"coordTimes": ["04/05/2024 10:00:00", "04/05/2024 10:00:01"]}
    line = {"type": "LineString", "coordinates": [[11.0, 48.0], [11.0, 48.1]]}
    path = tmp_path / "line.geojson"
    path.write_text(json.dumps({"type": "Feature", "geometry": line, "properties": properties}))
    with pytest.raises(
        RecordingError, match=r"line\.geojson: its dates, such as 04/05/2024, can be"
    ):
        read_recording(path)
