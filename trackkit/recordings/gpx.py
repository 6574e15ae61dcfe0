"""GPX 1.0 and 1.1.

Lines and routes are read by gpxpy.  The points of recordings, which may be many thousands, are
taken from the XML as it comes in, which is four times as fast; times out of the ordinary are still
read by gpxpy.
"""

from __future__ import annotations

import os
from array import array
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.gpx_channels import PointChannels
from trackkit.recordings.raw import AS_A_LINE, RawFixes, Times, counted, single_line, some_or_none
from trackkit.recordings.segments import segments_by_time
from trackkit.recordings.times import TAKEN_AS_UTC, in_utc, nanoseconds, ordinary_times
from trackkit.recordings.xml import elements_of_xml, local_name, parse_xml

if TYPE_CHECKING:
    from gpxpy.gpx import GPX


_POINTS = {"trk": ("trkseg", "trkpt"), "rte": ("rte", "rtept")}
_PLACES = ("lat", "lon")
_NUMBERS = ("ele", "speed", "course", "hdop")


def read_gpx(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read every track and segment of a GPX file.

    Segments keep their order in the file, or are put in order of time where they do not overlap.
    Speed (m/s) and course (degrees) are taken from the elements GPX 1.0 has for them, or from any
    element of that local name inside a point, such as an extension of GPX 1.1.  Other numbers in
    extensions, or in elements of other namespaces, are channels.  A point's dilution of precision
    is kept as it is and not turned into an accuracy: it describes the geometry of the satellites
    only, and the range error to multiply it with is not in the file.

    Raises
    ------
    NoTimesError
        No track point has a time.
    RecordingError
        The file is broken or holds no track point.
    """
    # Counted before they are parsed: a point in memory takes many times its characters.
    require("fixes", data.count(b"<trkpt"), RecordingError, "holds", file=path, remedy="split it")
    columns: dict[str, array[float]] = {name: array("d") for name in (*_PLACES, *_NUMBERS)}
    texts: list[str] = []
    segments: list[int] = []
    others = PointChannels()
    before = None
    for point in elements_of_xml(data, path, "trkpt"):
        segment = point.getparent()
        if not _is_of_a_track(segment):
            continue
        if segment is not before:
            before = segment
            segments.append(0)
        segments[-1] += 1
        numbers, text, rest = _point_values(point)
        others.add(len(texts), point, rest)
        texts.append(text)
        for name, values in columns.items():
            values.append(numbers.get(name, np.nan))
    if not segments:
        routes = [r for r in _children(parse_xml(data, path), "rte") if _children(r, "rtept")]
        raise RecordingError(
            "holds no track point" + (f", only {counted(len(routes), 'route')}" if routes else ""),
            file=path,
            remedy=AS_A_LINE if routes else None,
        )
    time, remarks = _times(texts)
    if np.all(np.isnat(time)):
        raise NoTimesError("holds positions but no times", file=path, remedy=AS_A_LINE)

    def column(name: str) -> Floats:
        return np.array(columns[name], dtype=float)

    raw = RawFixes(
        time=time,
        longitude_deg=column("lon"),
        latitude_deg=column("lat"),
        speed_mps=some_or_none(column("speed")),
        course_deg=some_or_none(column("course")),
        elevation_m=some_or_none(column("ele")),
        hdop=some_or_none(column("hdop")),
        segment=np.repeat(np.arange(len(segments)), segments).astype(np.intp),
        place=np.arange(1, len(texts) + 1),
        place_kind="track point",
        remarks=(*remarks, *others.remarks),
        channels=others.raw_channels(time),
    )
    return segments_by_time(raw)


def _is_of_a_track(segment: Any) -> bool:
    """Whether an element is a segment of a track of the document."""
    if segment is None or local_name(segment) != "trkseg":
        return False
    track = segment.getparent()
    return (
        track is not None
        and local_name(track) == "trk"
        and track.getparent() is not None
        and track.getparent().getparent() is None
    )


def _children(element: Any, name: str) -> list[Any]:
    return [child for child in element if local_name(child) == name]


def _point_values(point: Any) -> tuple[dict[str, float], str, list[Any]]:
    """Take from a point numbers, the text of its time, "" without, and the other elements."""
    rest = []
    numbers: dict[str, float] = {}
    time = ""
    for attribute in _PLACES:
        number = _number(point.get(attribute))
        numbers[attribute] = np.nan if number is None else number
    for element in point.iterdescendants():
        if not element.text:
            continue
        name = local_name(element)
        if name == "time" and not time and element.getparent() is point:
            time = element.text.strip()
        elif name in _NUMBERS and name not in numbers:
            number = _number(element.text)
            if number is not None:
                numbers[name] = number
        elif name not in _NUMBERS and name != "time":
            rest.append(element)
    return numbers, time, rest


def _times(text: list[str]) -> tuple[Times, tuple[str, ...]]:
    """Turn the texts of times into UTC, NaT where a text is no time as gpxpy reads it."""
    from gpxpy.gpxfield import TIME_TYPE

    if (ordinary := ordinary_times(text)) is not None:
        return ordinary.value, ordinary.remarks
    moments = [TIME_TYPE.from_string(cell) for cell in text]
    zoneless = any(moment is not None and moment.tzinfo is None for moment in moments)
    time = np.array(
        [None if moment is None else in_utc(moment) for moment in moments], dtype="datetime64[us]"
    )
    return nanoseconds(time), (TAKEN_AS_UTC,) if zoneless else ()


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
        raise RecordingError(f"its GPX cannot be read ({single_line(error)})", file=path) from error


def _reduce_point(point: Any, target: Any) -> None:
    from lxml import etree

    numbers, time, _ = _point_values(point)
    texts = {name: str(value) for name, value in numbers.items()} | ({"time": time} if time else {})
    for name, text in texts.items():
        if name in _PLACES:
            target.set(name, text)
        else:
            etree.SubElement(target, name).text = text


def _number(text: str | None) -> float | None:
    try:
        return float(text) if text else None
    except ValueError:
        return None
