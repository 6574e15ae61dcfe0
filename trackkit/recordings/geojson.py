"""Recordings in GeoJSON (RFC 7946): lines with times for their positions, or points with a time."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.detect import is_track_file, load_json
from trackkit.recordings.raw import AS_A_LINE, RawFixes, some_or_none
from trackkit.recordings.times import read_times

TIME_KEYS = ("time", "timestamp", "datetime", "date_time", "utc", "time_s", "timestamp_ms")
SPEED_KEYS = ("speed", "speed_mps")
COURSE_KEYS = ("course", "course_deg")
ACCURACY_KEYS = ("accuracy", "accuracy_m")
HDOP_KEYS = ("hdop",)
_UNITS = {"time_s": "s", "timestamp_ms": "ms"}


def read_geojson(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read the fixes of a GeoJSON document.

    Lines are LineString or MultiLineString features with the member `coordTimes` in their
    properties (or `times` within `coordinateProperties`), one time for each position; each line is
    a segment.  Points carry time, speed (m/s), course (degrees), accuracy (m) and
    hdop (horizontal dilution of precision) as properties.
    Positions are longitude, latitude, height (RFC 7946, section 3.1.1).  Coordinates are not
    transformed: RFC 7946 knows WGS 84 only.

    Raises
    ------
    NoTimesError
        There are lines or points, but none has times.
    RecordingError
        The text is not GeoJSON, is a track file, or holds neither lines nor points.
    """
    document = load_json(data, path)
    if is_track_file(document):
        raise RecordingError(
            "is a track file, not a recording",
            file=path,
            remedy="give the recording to be read; the track file goes where TRACK is asked for",
        )
    try:
        return _fixes(document, path)
    except RecordingError as error:
        # The question about dates is asked where the file's name is not known.
        raise type(error)(error.what, file=path, place=error.place, remedy=error.remedy) from error


def _fixes(document: dict[str, Any], path: str | os.PathLike[str]) -> RawFixes:
    lines = [line for line in _timed_lines(document, path) if line]
    if lines:
        return _from_lines(lines)
    points = [
        (feature["geometry"]["coordinates"], feature.get("properties") or {})
        for feature in features(document, path)
        if _geometry_type(feature) == "Point"
    ]
    timed = [key for key in TIME_KEYS if any(key in properties for _, properties in points)]
    if timed:
        return _from_points(points, timed[0])
    has_lines = any("LineString" in _geometry_type(f) for f in features(document, path))
    if has_lines or points:
        raise NoTimesError("holds positions but no times", file=path, remedy=AS_A_LINE)
    raise RecordingError("is GeoJSON without lines or points", file=path)


def features(document: dict[str, Any], path: str | os.PathLike[str]) -> Iterator[dict[str, Any]]:
    """Yield every feature that has a geometry, making one of a bare geometry.

    Raises
    ------
    RecordingError
        The document is not GeoJSON.
    """
    kind = document.get("type")
    if kind == "FeatureCollection":
        members = document.get("features")
    elif kind == "Feature":
        members = [document]
    elif kind in ("Point", "LineString", "MultiLineString", "Polygon", "MultiPolygon"):
        members = [{"type": "Feature", "geometry": document, "properties": {}}]
    else:
        raise RecordingError("is JSON but not GeoJSON", file=path)
    if not isinstance(members, list):
        raise RecordingError("its list of features is missing", file=path)
    for number, feature in enumerate(members, start=1):
        geometry = feature.get("geometry") if isinstance(feature, dict) else None
        if geometry is None and isinstance(feature, dict):
            continue
        if not isinstance(geometry, dict) or not isinstance(geometry.get("coordinates"), list):
            raise RecordingError(
                "its geometry has no coordinates", file=path, place=f"feature {number}"
            )
        properties = feature.get("properties")
        yield {**feature, "properties": properties if isinstance(properties, dict) else {}}


def _geometry_type(feature: dict[str, Any]) -> str:
    return str(feature["geometry"].get("type"))


def _timed_lines(
    document: dict[str, Any], path: str | os.PathLike[str]
) -> Iterator[list[tuple[Any, Any]]]:
    """Yield each line as pairs of position and time."""
    for number, feature in enumerate(features(document, path), start=1):
        kind, properties = _geometry_type(feature), feature["properties"]
        nested = properties.get("coordinateProperties")
        times = properties.get("coordTimes")
        if times is None and isinstance(nested, dict):
            times = nested.get("times")
        if times is None or kind not in ("LineString", "MultiLineString"):
            continue
        parts = feature["geometry"]["coordinates"]
        if kind == "LineString":
            parts, times = [parts], [times]
        shaped = isinstance(times, list) and all(isinstance(part, list) for part in parts)
        if kind == "MultiLineString" and shaped and times and not isinstance(times[0], list):
            # One flat list for all parts, in their order.
            flat = iter(times)
            total = sum(len(part) for part in parts)
            lengths_match = total == len(times)
            times = [[next(flat) for _ in part] for part in parts] if lengths_match else [times]
        fits = (
            shaped
            and len(parts) == len(times)
            and all(
                isinstance(part_times, list) and len(part) == len(part_times)
                for part, part_times in zip(parts, times, strict=True)
            )
        )
        if not fits:
            raise RecordingError(
                "does not have one time for each of its positions",
                file=path,
                place=f"feature {number}",
            )
        for part, part_times in zip(parts, times, strict=True):
            yield list(zip(part, part_times, strict=True))


def _from_lines(lines: list[list[tuple[Any, Any]]]) -> RawFixes:
    pairs = [pair for line in lines for pair in line]
    lengths = [len(line) for line in lines]
    read = _read_json_times([time for _, time in pairs], None)
    longitude, latitude, elevation = position_columns([position for position, _ in pairs])
    return RawFixes(
        time=read.value,
        longitude_deg=longitude,
        latitude_deg=latitude,
        elevation_m=some_or_none(elevation),
        segment=np.repeat(np.arange(len(lines)), lengths).astype(np.intp),
        place=np.arange(1, len(pairs) + 1),
        place_kind="position",
        remarks=read.remarks,
    )


def _from_points(points: list[tuple[Any, dict[str, Any]]], time_key: str) -> RawFixes:
    read = _read_json_times([p.get(time_key) for _, p in points], _UNITS.get(time_key))
    longitude, latitude, elevation = position_columns([position for position, _ in points])

    def column(keys: Sequence[str]) -> Floats | None:
        values = [next((p[key] for key in keys if key in p), None) for _, p in points]
        return some_or_none(np.array([_number(value) for value in values], dtype=float))

    return RawFixes(
        time=read.value,
        longitude_deg=longitude,
        latitude_deg=latitude,
        speed_mps=column(SPEED_KEYS),
        course_deg=column(COURSE_KEYS),
        elevation_m=some_or_none(elevation),
        accuracy_m=column(ACCURACY_KEYS),
        hdop=column(HDOP_KEYS),
        place=np.arange(1, len(points) + 1),
        place_kind="point",
        remarks=read.remarks,
    )


def position_columns(positions: Sequence[Any]) -> tuple[Floats, Floats, Floats]:
    """Turn positions into longitudes, latitudes and heights, NaN where they are no numbers."""
    rows = np.full((len(positions), 3), np.nan)
    for i, position in enumerate(positions):
        if isinstance(position, list):
            for j, value in enumerate(position[:3]):
                rows[i, j] = _number(value)
    return rows[:, 0], rows[:, 1], rows[:, 2]


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.nan


def _read_json_times(values: Sequence[Any], unit: str | None) -> Any:
    text = ["" if value is None else str(value).strip() for value in values]
    number = np.array([_number(value) for value in values], dtype=float)
    return read_times(text, number, unit)
