"""Recordings written as NMEA 0183, GPX or CSV."""

from __future__ import annotations

import gzip
import math
import os
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import OutputError
from trackkit.files import csv_text, write_whole
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.recordings.raw import COLUMNS
from trackkit.recordings.recording import Recording
from trackkit.recordings.units import KNOT_MPS
from trackkit.recordings.write_channels import CsvRows, with_channels
from trackkit.recordings.xml import xml_text

if TYPE_CHECKING:
    from gpxpy.gpx import GPX

DEGREE_DECIMALS = 9
"""Decimals of a degree in files that trackkit writes for others: 0.1 mm."""
_MINUTE_DECIMALS = 7
"""Decimals of a minute in NMEA: 0.2 mm, the most that keeps every sentence within the standard's
82 characters.  Five, as is common, would add an error of up to 9 mm, a third of a millisecond for
a kart at 27 m/s, which practice recordings with no noise at all are made to show."""
_CSV_DECIMALS = {
    "time_s": 6,
    "latitude_deg": DEGREE_DECIMALS,
    "longitude_deg": DEGREE_DECIMALS,
    "speed_mps": 4,
    "course_deg": 3,
    "elevation_m": 3,
    "accuracy_m": 3,
    "speed_accuracy_mps": 4,
    "hdop": 3,
}


def write_recording(
    recording: Recording, path: str | os.PathLike[str], *, force: bool = False
) -> None:
    """Write a recording whole or not at all, in the format its suffix names.

    ``.nmea`` is NMEA 0183 (RMC and GGA, two sentences a fix), ``.gpx`` is GPX 1.0, which carries
    speed and course as elements of its own, ``.csv`` names the unit in each column's header.  Each
    may be followed by ``.gz``.  Values a fix does not have are left out.  Only GPX tells segments
    apart; in the others a segment shows as a gap in time.  Times are kept to the millisecond
    in NMEA, to the microsecond in the others.

    Channels are kept in CSV, in rows of their own where there is no fix at their time, and in GPX
    at the fix nearest in time, if that is nearer than half the usual interval of fixes.

    Parameters
    ----------
    recording
        What to write.
    path
        The file; its suffix names the format.
    force
        Whether a file that exists may be replaced.

    Raises
    ------
    OutputError
        When the suffix is none of these, when a format needs a time of day and the recording has
        none, when the file exists and `force` is false, or when it cannot be written.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, rate_hz=1, seed=1)
    >>> trackkit.write_recording(drive.recording, "monday.gpx", force=True)
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


def _moments(recording: Recording, unit_s: float, time_s: Floats | None = None) -> list[datetime]:
    """Time of day of each fix, or at some times, UTC, to whole units of time."""
    start = recording.start
    if start is None:
        raise OutputError(
            "the recording only counts seconds, and this format needs a time of day",
            file=recording.name,
            remedy="write it as .csv",
        )
    start = start.replace(tzinfo=UTC) if start.tzinfo is None else start.astimezone(UTC)
    whole = start.replace(microsecond=0)
    since = recording.time_s if time_s is None else time_s
    counts = np.rint((start.microsecond * 1e-6 + since) / unit_s).astype(np.int64)
    scale = round(unit_s * 1e6)
    return [whole + timedelta(microseconds=count * scale) for count in counts.tolist()]


class _Fix(NamedTuple):
    """One fix; NaN where it has no such value."""

    moment: datetime
    longitude_deg: float
    latitude_deg: float
    speed_mps: float
    course_deg: float
    elevation_m: float
    hdop: float


def _fixes(recording: Recording, unit_s: float, longitude_deg: Floats) -> Iterator[_Fix]:
    columns = (
        recording.speed_mps,
        recording.course_deg,
        recording.elevation_m,
        recording.hdop,
    )
    none = [math.nan] * len(recording)
    return map(
        _Fix,
        _moments(recording, unit_s),
        longitude_deg.tolist(),
        recording.latitude_deg.tolist(),
        *(none if column is None else column.tolist() for column in columns),
    )


def _text(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else ""


def _course(course_deg: float, decimals: int) -> float:
    """Round a course; 359.9999 rounds to 360, which is written 0."""
    return round(course_deg, decimals) % 360.0


def _nmea(recording: Recording) -> str:
    from pynmea2 import GGA, RMC

    lines = []
    for fix in _fixes(recording, 1e-3, wrap_longitude(recording.longitude_deg)):
        clock = f"{fix.moment:%H%M%S}.{fix.moment.microsecond // 1000:03d}"
        place = (
            _minutes(fix.latitude_deg, 2),
            "S" if fix.latitude_deg < 0 else "N",
            _minutes(fix.longitude_deg, 3),
            "W" if fix.longitude_deg < 0 else "E",
        )
        knots = _text(fix.speed_mps / KNOT_MPS, 3)
        course = _text(_course(fix.course_deg, 2), 2)
        rmc = (clock, "A", *place, knots, course, f"{fix.moment:%d%m%y}", "", "")
        lines.append(str(RMC("GN", "RMC", rmc)))
        height = _text(fix.elevation_m, 2)
        metres = "M" if height else ""
        gga = (clock, *place, "1", "", _text(fix.hdop, 2), height, metres, "", "", "", "")
        lines.append(str(GGA("GN", "GGA", gga)))
    return "".join(f"{line}\r\n" for line in lines)


def _minutes(degrees: float, digits: int) -> str:
    """Write degrees as NMEA does: whole degrees and minutes in one number."""
    unit = 10**_MINUTE_DECIMALS
    whole, rest = divmod(round(abs(degrees) * 60 * unit), 60 * unit)
    return f"{whole:0{digits}d}{rest // unit:02d}.{rest % unit:0{_MINUTE_DECIMALS}d}"


def _gpx(recording: Recording) -> str:
    from gpxpy.gpx import GPXTrack, GPXTrackPoint, GPXTrackSegment

    track = GPXTrack(name=xml_text(recording.name))
    points = []
    for fix in _fixes(recording, 1e-6, gpx_longitude(recording.longitude_deg)):
        point = GPXTrackPoint(
            latitude=round(fix.latitude_deg, DEGREE_DECIMALS),
            longitude=fix.longitude_deg,
            time=fix.moment,
            elevation=_rounded(fix.elevation_m, 3),
            speed=_rounded(fix.speed_mps, 4),
            horizontal_dilution=_rounded(fix.hdop, 3),
        )
        # gpxpy's own annotation says that this is always None.
        point.course = _rounded(_course(fix.course_deg, 3), 3)  # type: ignore[assignment]
        points.append(point)
    begin = np.flatnonzero(np.diff(np.asarray(recording.segment), prepend=-1))
    for first, last in zip(begin, [*begin[1:], len(recording)], strict=True):
        track.segments.append(GPXTrackSegment(points[first:last]))
    gpx = new_gpx()
    gpx.tracks.append(track)
    return with_channels(str(gpx.to_xml(version="1.0")), recording)


def _rounded(value: float, decimals: int) -> float | None:
    return round(value, decimals) if math.isfinite(value) else None


def new_gpx() -> GPX:
    """Make an empty GPX document that says which program wrote it."""
    from gpxpy.gpx import GPX

    gpx = GPX()
    gpx.creator = "trackkit"
    return gpx


def gpx_longitude(longitude_deg: Floats) -> Floats:
    """Wrap and round longitudes as GPX has them: from -180 to just below 180 degrees."""
    longitude = np.round(wrap_longitude(longitude_deg), DEGREE_DECIMALS)
    return np.where(longitude == 180.0, -180.0, longitude)


def _csv(recording: Recording) -> str:
    rows = CsvRows.of(recording)
    columns: dict[str, Sequence[object]] = {}
    if recording.start is None:
        columns["time_s"] = rows.time_s.tolist()
    else:
        columns["time_utc"] = [
            f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond:06d}Z"
            for moment in _moments(recording, 1e-6, rows.time_s)
        ]
    columns["latitude_deg"] = rows.of_fixes(recording.latitude_deg)
    columns["longitude_deg"] = rows.of_fixes(wrap_longitude(recording.longitude_deg))
    for name in COLUMNS:
        column = getattr(recording, name)
        if column is not None:
            columns[name] = rows.of_fixes(column)
    if recording.course_deg is not None:
        decimals = _CSV_DECIMALS["course_deg"]
        course = [_course(value, decimals) for value in recording.course_deg]
        columns["course_deg"] = rows.of_fixes(np.array(course))
    columns |= rows.of_channels(recording.channels)
    return csv_text(tuple(columns), zip(*columns.values(), strict=True), _CSV_DECIMALS)


_WRITERS: dict[str, Callable[[Recording], str]] = {".nmea": _nmea, ".gpx": _gpx, ".csv": _csv}
