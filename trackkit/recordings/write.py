"""Recordings written as NMEA 0183, GPX or CSV."""

from __future__ import annotations

import csv
import gzip
import io
import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import OutputError
from trackkit.files import write_whole
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.recordings.recording import Recording
from trackkit.recordings.xml import xml_text

KNOT_MPS = 1852.0 / 3600.0
"""One knot, metres per second: the international nautical mile is 1,852 m (SI brochure)."""

_MINUTE_DECIMALS = 7
"""Decimals of a minute in NMEA: 0.2 mm, the most that keeps every sentence within the standard's
82 characters.  Five, as is common, would add an error of up to 9 mm, a third of a millisecond for
a kart at 27 m/s, which practice recordings with no noise at all are made to show."""
_DEGREE_DECIMALS = 9


def write_recording(
    recording: Recording, path: str | os.PathLike[str], *, force: bool = False
) -> None:
    """Write a recording whole or not at all, in the format its suffix names.

    ``.nmea`` is NMEA 0183 (RMC and GGA, two sentences a fix), ``.gpx`` is GPX 1.0, which carries
    speed and course as elements of its own, ``.csv`` names the unit in each column's header.  Each
    may be followed by ``.gz``.  Values a fix does not have are left out.  Only GPX tells segments
    apart; in the others a segment shows as a gap in time.  Times are kept to the millisecond
    in NMEA, to the microsecond in the others.

    Raises
    ------
    OutputError
        When the suffix is none of these, when a format needs a time of day and the recording has
        none, when the file exists and `force` is false, or when it cannot be written.
    """
    content = encoded(recording, path)
    write_whole(path, content, force=force)


def encoded(recording: Recording, path: str | os.PathLike[str]) -> bytes:
    """Encode a recording as `write_recording` writes it."""
    name = Path(path).name.lower()
    zipped = name.endswith(".gz")
    suffix = Path(name.removesuffix(".gz")).suffix
    if suffix not in _WRITERS:
        raise OutputError(
            f"the suffix {suffix!r} names no format a recording can be written in"
            if suffix
            else "a name with no suffix does not say which format to write",
            file=path,
            remedy=f"use one of {', '.join(_WRITERS)}, or one of these followed by .gz",
        )
    data = _WRITERS[suffix](recording).encode()
    # No time stamp in the archive: the same recording gives the same bytes.
    return gzip.compress(data, mtime=0) if zipped else data


def _instants(recording: Recording, unit_s: float) -> list[datetime]:
    start = recording.start
    if start is None:
        raise OutputError(
            "the recording only counts seconds, and this format needs a time of day",
            file=recording.name,
            remedy="write it as .csv",
        )
    start = start.replace(tzinfo=UTC) if start.tzinfo is None else start.astimezone(UTC)
    whole = start.replace(microsecond=0)
    counts = np.rint((start.microsecond * 1e-6 + recording.time_s) / unit_s).astype(np.int64)
    scale = round(unit_s * 1e6)
    return [whole + timedelta(microseconds=count * scale) for count in counts.tolist()]


def _column(values: Floats | None, count: int) -> list[float]:
    column = np.full(count, np.nan) if values is None else np.asarray(values, dtype=float)
    return [float(value) for value in column]


def _text(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else ""


def _course_text(value: float, decimals: int) -> str:
    # 359.9999 rounds to 360, which is written 0.
    return _text(round(value, decimals) % 360.0, decimals) if np.isfinite(value) else ""


def _nmea(recording: Recording) -> str:
    from pynmea2 import GGA, RMC

    count = len(recording)
    lines = []
    for instant, longitude, latitude, speed, course, elevation, hdop in zip(
        _instants(recording, 1e-3),
        wrap_longitude(recording.longitude_deg).tolist(),
        recording.latitude_deg.tolist(),
        _column(recording.speed_mps, count),
        _column(recording.course_deg, count),
        _column(recording.elevation_m, count),
        _column(recording.hdop, count),
        strict=True,
    ):
        clock = f"{instant:%H%M%S}.{instant.microsecond // 1000:03d}"
        place = (
            _minutes(latitude, 2),
            "S" if latitude < 0 else "N",
            _minutes(longitude, 3),
            "W" if longitude < 0 else "E",
        )
        knots = _text(speed / KNOT_MPS, 3)
        date = f"{instant:%d%m%y}"
        moving = (clock, "A", *place, knots, _course_text(course, 2), date, "", "")
        lines.append(str(RMC("GN", "RMC", moving)))
        height = _text(elevation, 2)
        metres = "M" if height else ""
        standing = (clock, *place, "1", "", _text(hdop, 2), height, metres, "", "", "", "")
        lines.append(str(GGA("GN", "GGA", standing)))
    return "".join(f"{line}\r\n" for line in lines)


def _minutes(degrees: float, digits: int) -> str:
    """Write degrees as NMEA does: whole degrees and minutes in one number."""
    unit = 10**_MINUTE_DECIMALS
    whole, rest = divmod(round(abs(degrees) * 60 * unit), 60 * unit)
    return f"{whole:0{digits}d}{rest // unit:02d}.{rest % unit:0{_MINUTE_DECIMALS}d}"


def _gpx(recording: Recording) -> str:
    from gpxpy.gpx import GPX, GPXTrack, GPXTrackPoint, GPXTrackSegment

    count = len(recording)
    track = GPXTrack(name=xml_text(recording.name))
    points = []
    for instant, longitude, latitude, speed, course, elevation, hdop in zip(
        _instants(recording, 1e-6),
        gpx_longitude(recording.longitude_deg).tolist(),
        recording.latitude_deg.tolist(),
        _column(recording.speed_mps, count),
        _column(recording.course_deg, count),
        _column(recording.elevation_m, count),
        _column(recording.hdop, count),
        strict=True,
    ):
        point = GPXTrackPoint(
            latitude=round(latitude, _DEGREE_DECIMALS),
            longitude=longitude,
            time=instant,
            elevation=round(elevation, 3) if np.isfinite(elevation) else None,
            speed=round(speed, 4) if np.isfinite(speed) else None,
            horizontal_dilution=round(hdop, 3) if np.isfinite(hdop) else None,
        )
        if np.isfinite(course):
            point.course = round(course, 3) % 360.0
        points.append(point)
    begin = np.flatnonzero(np.diff(np.asarray(recording.segment), prepend=-1))
    for first, last in zip(begin, [*begin[1:], count], strict=True):
        track.segments.append(GPXTrackSegment(points[first:last]))
    gpx = GPX()
    gpx.creator = "trackkit"
    gpx.tracks.append(track)
    return str(gpx.to_xml(version="1.0"))


def gpx_longitude(longitude_deg: Floats) -> Floats:
    """Wrap and round longitudes as GPX has them: from -180 to just below 180 degrees."""
    longitude = np.round(wrap_longitude(longitude_deg), _DEGREE_DECIMALS)
    return np.where(longitude == 180.0, -180.0, longitude)


def _csv(recording: Recording) -> str:
    columns: dict[str, list[str]] = {}
    if recording.start is None:
        columns["time_s"] = [f"{value:.6f}" for value in recording.time_s]
    else:
        columns["time_utc"] = [
            f"{instant:%Y-%m-%dT%H:%M:%S}.{instant.microsecond:06d}Z"
            for instant in _instants(recording, 1e-6)
        ]
    columns["latitude_deg"] = [_text(v, _DEGREE_DECIMALS) for v in recording.latitude_deg]
    columns["longitude_deg"] = [
        _text(v, _DEGREE_DECIMALS) for v in wrap_longitude(recording.longitude_deg)
    ]
    for label, values, decimals in (
        ("speed_mps", recording.speed_mps, 4),
        ("course_deg", recording.course_deg, 3),
        ("elevation_m", recording.elevation_m, 3),
        ("accuracy_m", recording.accuracy_m, 3),
        ("hdop", recording.hdop, 3),
    ):
        if values is not None:
            write = _course_text if label == "course_deg" else _text
            columns[label] = [write(value, decimals) for value in values]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return text.getvalue()


_WRITERS: dict[str, Callable[[Recording], str]] = {".nmea": _nmea, ".gpx": _gpx, ".csv": _csv}
