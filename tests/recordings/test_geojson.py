"""Recordings in GeoJSON."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest
from geojson_features import POSITIONS, TIMES, feature

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.read import read_recording


def test_geojson_points_tell_their_dilution_of_precision(tmp_path):
    points = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [161.5, 48.1]},
            "properties": {"time": f"2024-05-01T10:00:0{n}Z", **told},
        }
        for n, told in enumerate([{"hdop": 0.8}, {}])
    ]
    path = tmp_path / "points.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": points}))
    np.testing.assert_array_equal(read_recording(path).hdop, [0.8, np.nan])


def test_a_question_about_dates_in_geojson_names_the_file(tmp_path):
    properties = {"coordTimes": ["04/05/2024 10:00:00", "04/05/2024 10:00:01"]}
    line = {"type": "LineString", "coordinates": [[161.0, 48.0], [161.0, 48.1]]}
    path = tmp_path / "line.geojson"
    path.write_text(json.dumps({"type": "Feature", "geometry": line, "properties": properties}))
    with pytest.raises(
        RecordingError, match=r"line\.geojson: its dates, such as 04/05/2024, can be"
    ):
        read_recording(path)


def test_a_line_with_times_is_read_longitude_first(geojson):
    recording = read_recording(geojson(feature("LineString", POSITIONS, coordTimes=TIMES)))
    np.testing.assert_array_equal(recording.longitude_deg, [161.0, 161.001, 161.001])
    np.testing.assert_array_equal(recording.latitude_deg, [48.0, 48.0, 48.001])
    np.testing.assert_array_equal(recording.elevation_m, [500.0, 501.0, 502.0])
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.5, 3.0])
    assert recording.start == datetime(2024, 5, 1, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    "properties",
    [
        {"coordTimes": [TIMES[:2], TIMES[2:]]},
        {"coordTimes": TIMES},
        {"coordinateProperties": {"times": [TIMES[:2], TIMES[2:]]}},
    ],
    ids=["nested", "flat", "coordinateProperties"],
)
def test_the_parts_of_a_line_are_segments(geojson, properties):
    parts = [POSITIONS[:2], POSITIONS[2:]]
    recording = read_recording(geojson(feature("MultiLineString", parts, **properties)))
    np.testing.assert_array_equal(recording.segment, [0, 0, 1])
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.5, 3.0])


def test_points_with_time_speed_and_course_are_read(geojson):
    points = [
        feature("Point", position, time=time, speed=20.0 + n, course=90.0)
        for n, (position, time) in enumerate(zip(POSITIONS, TIMES, strict=True))
    ]
    recording = read_recording(geojson(*points, feature("Polygon", [POSITIONS])))
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.5, 3.0])
    np.testing.assert_array_equal(recording.speed_mps, [20.0, 21.0, 22.0])
    np.testing.assert_array_equal(recording.course_deg, [90.0, 90.0, 90.0])


def test_numeric_times_are_milliseconds_or_seconds_since_1970_by_their_size(geojson):
    for scale in (1, 1000):
        points = [
            feature("Point", p, timestamp=(1_714_557_600 + n) * scale)
            for n, p in enumerate(POSITIONS)
        ]
        assert read_recording(geojson(*points)).start == datetime(2024, 5, 1, 10, tzinfo=UTC)


def test_a_position_without_a_time_or_number_is_removed(geojson):
    positions = [*POSITIONS, [None, 48.0], ["161", 48.0], [161.0]]
    times = [*TIMES, *["2024-05-01T10:00:05Z"] * 3]
    times[1] = None
    recording = read_recording(geojson(feature("LineString", positions, coordTimes=times)))
    assert recording.removed == {"bad position": 3, "no time": 1}


def test_times_that_do_not_match_the_positions_are_an_error(geojson):
    with pytest.raises(RecordingError, match="feature 1: does not have one time for each"):
        read_recording(geojson(feature("LineString", POSITIONS, coordTimes=TIMES[:2])))


@pytest.mark.parametrize(
    ("coordinates", "times"),
    [([POSITIONS], 5), ([POSITIONS], {"first": TIMES}), ([POSITIONS], [5]), ([5], [TIMES[0]])],
)
def test_times_or_parts_that_are_no_lists_are_an_error(geojson, coordinates, times):
    with pytest.raises(RecordingError, match="feature 1: does not have one time for each"):
        read_recording(geojson(feature("MultiLineString", coordinates, coordTimes=times)))


def test_geojson_without_times_is_sent_to_from_line(geojson):
    with pytest.raises(NoTimesError, match="build from it as a drawn line") as caught:
        read_recording(geojson(feature("LineString", POSITIONS)))
    assert caught.value.remedy.do == "build from line"


def test_geojson_without_lines_or_points_is_no_recording(geojson):
    with pytest.raises(RecordingError, match="without lines or points"):
        read_recording(geojson())


def test_a_feature_without_coordinates_is_told_by_its_number(geojson):
    path = geojson(feature("Point", [1, 2]), {"type": "Feature", "geometry": {"type": "Point"}})
    with pytest.raises(RecordingError, match="feature 2: its geometry has no coordinates"):
        read_recording(path)
