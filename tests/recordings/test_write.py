"""Recordings written as files: read back by other people's readers, and by our own."""

import functools
import gzip
import operator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import gpxpy
import numpy as np
import pandas as pd
import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit.errors import OutputError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.recordings.read import read_recording
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.features import Centreline, Gate
from trackkit.track.model import Track

DEGREE_M = 111_320.0
SUFFIXES = (".nmea", ".gpx", ".csv")


def make_recording(**changes):
    """A few fixes of an invented drive over midnight, some of them lacking values."""
    whole = Recording(
        name="invented <drive> & more",
        time_s=np.array([0.0, 0.1, 0.2, 1.3]),
        longitude_deg=np.array([-0.00001234567, 0.5, 1.25, 1.9999999999]),
        latitude_deg=np.array([-33.123456789, -33.0, 2.999999999, 59.5]),
        start=datetime(2024, 12, 31, 23, 59, 59, 900_000, tzinfo=UTC),
        speed_mps=np.array([0.0, 12.3456, np.nan, 55.5]),
        course_deg=np.array([np.nan, 359.9999, 90.0, 0.0]),
        elevation_m=np.array([1234.56, np.nan, -3.25, 0.0]),
        segment=np.array([0, 0, 0, 1]),
    )
    return replace(whole, **changes)


@pytest.fixture(scope="module")
def simulation():
    plane = LocalPlane(161.0, 47.0)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = np.column_stack([70 * np.cos(angle), 50 * np.sin(angle)])
    curve = Curve.through(ring, closed=True)
    place = curve.position(np.append(curve.sampled(), 0.0))
    longitude, latitude = plane.to_geographic(place)
    ends = curve.position(0.0) + [[6.0], [-6.0]] * curve.left(0.0)
    lon, lat = plane.to_geographic(ends)
    gate = Gate("finish", "finish", "Finish", (lon[0], lat[0]), (lon[1], lat[1]))
    line = Centreline(longitude, latitude, True, height_m=np.full(len(longitude), 512.0))
    return simulate_drive(
        Track("ring", "Invented ring", line, curve.length_m, gates=(gate,)), laps=1
    )


def written(tmp_path, recording, suffix):
    path = tmp_path / f"drive{suffix}"
    write_recording(recording, path)
    return path


# NMEA


def sentences(path):
    return [pynmea2.parse(line, check=True) for line in path.read_text("ascii").splitlines()]


def test_nmea_read_by_pynmea2_gives_positions_speeds_and_times_back(tmp_path):
    recording = make_recording()
    moving = sentences(written(tmp_path, recording, ".nmea"))[0::2]
    assert {sentence.sentence_type for sentence in moving} == {"RMC"}
    assert [s.latitude for s in moving] == pytest.approx(recording.latitude_deg, abs=2e-9)
    assert [s.longitude for s in moving] == pytest.approx(recording.longitude_deg, abs=2e-9)
    knots = [s.spd_over_grnd for s in moving]
    # 1 knot is 1,852 m an hour (international nautical mile).
    assert knots[1] == pytest.approx(12.3456 * 3600 / 1852, abs=6e-4)
    assert knots[2] is None
    assert [s.datetime for s in moving] == [
        recording.start + timedelta(seconds=s) for s in (0.0, 0.1, 0.2, 1.3)
    ]


def test_nmea_leaves_out_what_a_fix_does_not_have(tmp_path):
    all_sentences = sentences(written(tmp_path, make_recording(), ".nmea"))
    assert [s.true_course for s in all_sentences[0::2]] == [None, 0.0, 90.0, 0.0]
    assert [s.altitude for s in all_sentences[1::2]] == [1234.56, None, -3.25, 0.0]
    bare = make_recording(speed_mps=None, course_deg=None, elevation_m=None)
    (tmp_path / "bare").mkdir()
    moving = sentences(written(tmp_path / "bare", bare, ".nmea"))
    assert {s.spd_over_grnd for s in moving[0::2]} == {None}


def test_nmea_checksums_are_the_exclusive_or_of_the_characters_between(tmp_path):
    # Common practice, no source.
    for line in written(tmp_path, make_recording(), ".nmea").read_text("ascii").splitlines():
        body, _, checksum = line[1:].partition("*")
        assert int(checksum, 16) == functools.reduce(operator.xor, body.encode("ascii"))


def test_nmea_sentences_keep_to_82_characters_even_with_the_longest_values(tmp_path):
    # NMEA 0183: at most 82 characters with $ and line end (from memory).
    recording = make_recording(
        longitude_deg=np.full(4, -179.987654321),
        latitude_deg=np.full(4, -89.987654321),
        speed_mps=np.full(4, 149.9),
        course_deg=np.full(4, 359.98),
        elevation_m=np.full(4, -1234.56),
        hdop=np.full(4, 98.99),
    )
    data = written(tmp_path, recording, ".nmea").read_bytes()
    assert data.endswith(b"\r\n")
    assert max(len(line) for line in data.splitlines(keepends=True)) <= 82


def test_dilution_of_precision_is_written_and_read_back_by_other_peoples_readers(tmp_path):
    recording = make_recording(
        hdop=np.array([0.75, np.nan, 12.5, 1.0]),
        longitude_deg=np.full(4, 161.0),
        latitude_deg=np.full(4, 48.0),
    )
    standing = sentences(written(tmp_path, recording, ".nmea"))[1::2]
    assert [s.horizontal_dil for s in standing] == ["0.75", "", "12.50", "1.00"]
    gpx = gpxpy.parse(written(tmp_path, recording, ".gpx").read_text("utf-8"))
    points = [point for segment in gpx.tracks[0].segments for point in segment.points]
    assert [p.horizontal_dilution for p in points] == [0.75, None, 12.5, 1.0]
    frame = pd.read_csv(written(tmp_path, recording, ".csv"))
    np.testing.assert_array_equal(frame.hdop, recording.hdop)
    for suffix in SUFFIXES:
        back = read_recording(tmp_path / f"drive{suffix}")
        np.testing.assert_array_equal(back.hdop, recording.hdop)
        assert back.accuracy_m is None


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_nmea_degrees_and_minutes_never_reach_sixty_minutes(latitude, longitude):
    from trackkit.recordings.write import _nmea

    one = make_recording(
        time_s=np.zeros(1),
        latitude_deg=np.array([latitude]),
        longitude_deg=np.array([longitude]),
        speed_mps=None,
        course_deg=None,
        elevation_m=None,
        segment=None,
    )
    moving = pynmea2.parse(_nmea(one).splitlines()[0])
    assert float(moving.lat[2:]) < 60
    assert float(moving.lon[3:]) < 60
    assert moving.latitude == pytest.approx(latitude, abs=2e-9)
    assert moving.longitude == pytest.approx(longitude, abs=2e-9)


# GPX


def test_gpx_read_by_gpxpy_gives_segments_times_speed_and_course_back(tmp_path):
    recording = make_recording()
    gpx = gpxpy.parse(written(tmp_path, recording, ".gpx").read_text("utf-8"))
    assert gpx.version == "1.0"
    (track,) = gpx.tracks
    assert track.name == recording.name
    assert [len(segment.points) for segment in track.segments] == [3, 1]
    points = [point for segment in track.segments for point in segment.points]
    assert [p.latitude for p in points] == pytest.approx(recording.latitude_deg, abs=1e-9)
    assert [p.longitude for p in points] == pytest.approx(recording.longitude_deg, abs=1e-9)
    assert [p.speed for p in points] == [0.0, 12.3456, None, 55.5]
    assert [p.course for p in points] == [None, 0.0, 90.0, 0.0]
    assert [p.elevation for p in points] == [1234.56, None, -3.25, 0.0]
    assert [p.time for p in points] == [recording.time_of_day(s) for s in (0.0, 0.1, 0.2, 1.3)]


def test_gpx_longitudes_stay_below_180(tmp_path):
    # GPX 1.0 and 1.1 schemas: -180 <= longitude < 180.
    recording = make_recording(longitude_deg=np.array([179.9, 180.0, 180.1, -180.0]))
    gpx = gpxpy.parse(written(tmp_path, recording, ".gpx").read_text("utf-8"))
    points = [point for segment in gpx.tracks[0].segments for point in segment.points]
    assert [p.longitude for p in points] == pytest.approx([179.9, -180.0, -179.9, -180.0])


def test_gpx_leaves_out_characters_xml_cannot_hold(tmp_path):
    recording = make_recording(name="in\x00ven\x1bted")
    gpx = gpxpy.parse(written(tmp_path, recording, ".gpx").read_text("utf-8"))
    assert gpx.tracks[0].name == "invented"


# CSV


def test_csv_read_by_pandas_has_units_in_its_headers_and_gaps_where_values_lack(tmp_path):
    recording = make_recording()
    frame = pd.read_csv(written(tmp_path, recording, ".csv"), parse_dates=["time_utc"])
    assert list(frame) == [
        "time_utc",
        "latitude_deg",
        "longitude_deg",
        "speed_mps",
        "course_deg",
        "elevation_m",
    ]
    assert frame.latitude_deg.to_numpy() == pytest.approx(recording.latitude_deg, abs=1e-9)
    assert frame.speed_mps.to_numpy() == pytest.approx(recording.speed_mps, abs=1e-4, nan_ok=True)
    assert frame.course_deg.isna().tolist() == [True, False, False, False]
    seconds = (frame.time_utc - frame.time_utc[0]).dt.total_seconds()
    assert seconds.to_numpy() == pytest.approx(recording.time_s, abs=1e-9)
    assert frame.time_utc[0] == pd.Timestamp(recording.start)


def test_csv_counts_seconds_where_there_is_no_time_of_day(tmp_path):
    recording = make_recording(start=None, accuracy_m=np.full(4, 0.5))
    frame = pd.read_csv(written(tmp_path, recording, ".csv"))
    assert frame.time_s.to_numpy() == pytest.approx(recording.time_s, abs=1e-6)
    assert frame.accuracy_m.tolist() == [0.5] * 4


# All formats


@pytest.mark.slow
@pytest.mark.parametrize("zipped", [False, True], ids=["plain", "gzip"])
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_our_own_reader_gives_the_recording_back(tmp_path, simulation, suffix, zipped):
    recording = simulation.recording
    path = written(tmp_path, recording, suffix + (".gz" if zipped else ""))
    back = read_recording(path)
    assert back.removed == {}
    assert back.start == recording.start
    assert back.time_s == pytest.approx(recording.time_s, abs=1e-6)
    assert back.latitude_deg * DEGREE_M == pytest.approx(
        recording.latitude_deg * DEGREE_M, abs=2.5e-4
    )
    assert back.longitude_deg * DEGREE_M == pytest.approx(
        recording.longitude_deg * DEGREE_M, abs=2.5e-4
    )
    assert back.speed_mps == pytest.approx(recording.speed_mps, abs=3e-4)
    turned = (back.course_deg - recording.course_deg + 180) % 360 - 180
    assert np.abs(turned).max() < 6e-3
    assert back.elevation_m == pytest.approx(np.full(len(recording), 512.0), abs=5e-3)


def test_gzip_holds_the_same_bytes_each_time(tmp_path):
    first = written(tmp_path, make_recording(), ".csv.gz").read_bytes()
    plain = written(tmp_path, make_recording(), ".csv").read_bytes()
    assert gzip.decompress(first) == plain
    (tmp_path / "again").mkdir()
    assert written(tmp_path / "again", make_recording(), ".csv.gz").read_bytes() == first


@pytest.mark.parametrize("name", ["drive.xlsx", "drive", "drive.gz", "drive.nmea.zip"])
def test_a_suffix_of_no_format_is_refused_with_those_that_are(tmp_path, name):
    with pytest.raises(OutputError, match=r"\.nmea, \.gpx, \.csv"):
        write_recording(make_recording(), tmp_path / name)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", [".nmea", ".gpx"])
def test_formats_that_need_a_time_of_day_say_so(tmp_path, suffix):
    with pytest.raises(OutputError, match=r"time of day.*\.csv"):
        write_recording(make_recording(start=None), tmp_path / f"drive{suffix}")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_exists_is_replaced_only_by_force(tmp_path):
    path = tmp_path / "drive.csv"
    path.write_text("precious")
    with pytest.raises(OutputError, match="exists already"):
        write_recording(make_recording(), path)
    assert path.read_text() == "precious"
    write_recording(make_recording(), path, force=True)
    assert path.read_text().startswith("time_utc,")
