"""GPX 1.0 and 1.1, through gpxpy behind the hardened XML door."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.errors import RecordingError
from trackkit.geodesy import Floats
from trackkit.readers.fixes import RawFixes, counted, one_line, some_or_none
from trackkit.readers.xmldoor import local_name, parse_xml

if TYPE_CHECKING:
    from gpxpy.gpx import GPX, GPXTrackPoint

_POINTS = {"trk": ("trkseg", "trkpt"), "rte": ("rte", "rtept")}
_NUMBERS = ("ele", "speed", "course")


def read_gpx(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read every track and segment of a GPX file.

    Segments keep their order in the file, or are put in order of time where they do not overlap.
    Speed (m/s) and course (degrees) are taken from the elements GPX 1.0 has for them, or from any
    element of that local name inside a point, such as an extension of GPX 1.1.  A point's dilution
    of precision is not turned into an accuracy: it tells the geometry of the satellites only, and
    the range error to multiply it with would be our guess, not the receiver's word.

    Raises
    ------
    RecordingError
        The file is broken or holds no track point.
    """
    gpx = parse_gpx(data, path)
    segments = [s.points for track in gpx.tracks for s in track.segments if s.points]
    if not segments:
        routes = [route for route in gpx.routes if route.points]
        raise RecordingError(
            "holds no track point" + (f", only {counted(len(routes), 'route')}" if routes else ""),
            file=path,
            remedy="use `trackkit build --from-line` for a route" if routes else None,
        )
    points = [point for segment in segments for point in segment]
    remarks = []
    if any(point.time is not None and point.time.tzinfo is None for point in points):
        remarks.append("times without a zone were taken as UTC")
    raw = RawFixes(
        time=np.array([_utc(point.time) for point in points], dtype="datetime64[us]").astype(
            "datetime64[ns]"
        ),
        longitude_deg=np.array([point.longitude for point in points], dtype=float),
        latitude_deg=np.array([point.latitude for point in points], dtype=float),
        speed_mps=_column(points, "speed"),
        course_deg=_column(points, "course"),
        elevation_m=_column(points, "elevation"),
        segment=np.repeat(np.arange(len(segments)), [len(s) for s in segments]).astype(np.intp),
        place=np.arange(1, len(points) + 1),
        place_kind="track point",
        remarks=tuple(remarks),
    )
    return _segments_by_time(raw)


def parse_gpx(data: bytes, path: str | os.PathLike[str]) -> GPX:
    """Parse GPX of either version into gpxpy's tracks and routes.

    gpxpy refuses a whole file for one unreadable number, knows only un-prefixed names and leaves
    extensions as they are, so it is given the document reduced to what is read from it, written
    as GPX 1.0, whose points carry speed and course.

    Raises
    ------
    RecordingError
        The file is not well-formed XML or gpxpy cannot read it.
    """
    import gpxpy
    from gpxpy.gpx import GPXException
    from lxml import etree

    root = parse_xml(data, path)
    reduced = etree.Element("gpx", version="1.0")
    for element in root:
        name = local_name(element)
        if name not in _POINTS:
            continue
        line = etree.SubElement(reduced, name)
        title = next((c.text for c in element if local_name(c) == "name" and c.text), None)
        if title:
            etree.SubElement(line, "name").text = title.strip()
        holder_name, point_name = _POINTS[name]
        holders = [c for c in element if local_name(c) == holder_name]
        for holder in holders if name == "trk" else [element]:
            target = etree.SubElement(line, holder_name) if name == "trk" else line
            for point in holder:
                if local_name(point) == point_name:
                    _reduce_point(point, etree.SubElement(target, point_name))
    try:
        return gpxpy.parse(etree.tostring(reduced, encoding="unicode"), version="1.0")
    except GPXException as error:
        raise RecordingError(f"its GPX cannot be read ({one_line(error)})", file=path) from error


def _reduce_point(point: Any, target: Any) -> None:
    from lxml import etree

    for attribute in ("lat", "lon"):
        target.set(attribute, _number(point.get(attribute)) or "nan")
    found: dict[str, str] = {}
    for element in point.iter():
        name = local_name(element)
        if name in found or not element.text:
            continue
        if name == "time" and element.getparent() is point:
            found[name] = element.text.strip()
        elif name in _NUMBERS and (number := _number(element.text)):
            found[name] = number
    for name, text in found.items():
        etree.SubElement(target, name).text = text


def _number(text: str | None) -> str | None:
    try:
        return str(float(text)) if text else None
    except ValueError:
        return None


def _utc(time: datetime | None) -> datetime | None:
    if time is None or time.tzinfo is None:
        return time
    return time.astimezone(UTC).replace(tzinfo=None)


def _column(points: list[GPXTrackPoint], name: str) -> Floats | None:
    value = [getattr(point, name) for point in points]
    return some_or_none(np.array([np.nan if v is None else v for v in value], dtype=float))


def _segments_by_time(raw: RawFixes) -> RawFixes:
    """Put segments in order of time when each one ends before the next begins."""
    segment = raw.segment
    if segment is None or segment[-1] == 0:
        return raw
    spans = []
    for number in range(int(segment[-1]) + 1):
        time = raw.time[segment == number]
        time = time[~np.isnat(time)]
        # A segment without times has no place in the order; its points go anyway.
        spans.append((time.min(), time.max(), number) if len(time) else None)
    timed = sorted(span for span in spans if span is not None)
    if any(b[0] <= a[1] for a, b in pairwise(timed)):
        return raw
    in_time = [span[2] for span in timed]
    if in_time == sorted(in_time):
        return raw
    order = in_time + [n for n, span in enumerate(spans) if span is None]
    index = np.concatenate([np.flatnonzero(segment == number) for number in order])
    lengths = [int(np.count_nonzero(segment == number)) for number in order]

    def picked(column: Floats | None) -> Floats | None:
        return None if column is None else column[index]

    return RawFixes(
        time=raw.time[index],
        longitude_deg=raw.longitude_deg[index],
        latitude_deg=raw.latitude_deg[index],
        speed_mps=picked(raw.speed_mps),
        course_deg=picked(raw.course_deg),
        elevation_m=picked(raw.elevation_m),
        segment=np.repeat(np.arange(len(order)), lengths).astype(np.intp),
        place=None if raw.place is None else raw.place[index],
        place_kind=raw.place_kind,
        remarks=(*raw.remarks, "segments were put in order of time"),
    )
