"""TCX, the training files of sport watches.

Of the schemas TrainingCenterDatabase v2 and ActivityExtension v2 (from memory).
"""

from __future__ import annotations

import os
from typing import Any

import numpy as np

from trackkit.budgets import require
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.raw import AS_A_LINE, Dropped, RawFixes, counted, some_or_none
from trackkit.recordings.segments import numbered, segments_by_time
from trackkit.recordings.times import read_moments
from trackkit.recordings.xml import elements_of_xml, local_name

_NUMBERS = {
    "LatitudeDegrees": "latitude",
    "LongitudeDegrees": "longitude",
    "AltitudeMeters": "elevation",
    "Speed": "speed",
}


def read_tcx(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read the trackpoints of all activities and courses of a TCX file.

    Speed (m/s) is taken from the activity extension.  A watch's laps follow each other without a
    break; a second track within one of them, and another activity, begin a new segment.
    Trackpoints without a position, which watches write indoors and under bridges, are counted.

    Raises
    ------
    NoTimesError
        No trackpoint with a position has a time.
    RecordingError
        The file is broken, or holds no trackpoint.
    """
    count = data.count(b"<Trackpoint")
    require("fixes", count, RecordingError, "holds", file=path, remedy="split it")
    columns: dict[str, list[float]] = {name: [] for name in _NUMBERS.values()}
    texts: list[str] = []
    segment: list[int] = []
    place: list[int] = []
    # Elements are held while they are compared: a freed one's address is used again.
    track: Any = None
    lap: Any = None
    number, lost = -1, 0
    for order, point in enumerate(elements_of_xml(data, path, "Trackpoint"), start=1):
        holder = point.getparent()
        if holder is not track:
            before, track, lap_before, lap = track, holder, lap, _parent(holder)
            goes_on = (
                before is not None
                and lap is not lap_before
                and local_name(lap) == "Lap"
                and _parent(lap) is _parent(lap_before)
            )
            number += 0 if goes_on else 1
        values, text = _values(point)
        if np.isnan(values.get("latitude", np.nan)) or np.isnan(values.get("longitude", np.nan)):
            lost += 1
            continue
        for name, column in columns.items():
            column.append(values.get(name, np.nan))
        texts.append(text)
        segment.append(number)
        place.append(order)
    if not texts:
        what = (
            f"holds {counted(lost, 'trackpoint')}, none with a position"
            if lost
            else ("holds no trackpoint")
        )
        raise RecordingError(what, file=path)
    read = read_moments(texts)
    if np.all(np.isnat(read.value)):
        raise NoTimesError("holds positions but no times", file=path, remedy=AS_A_LINE)
    words = counted(lost, "trackpoint without a position", "trackpoints without a position")
    array = {name: np.array(values) for name, values in columns.items()}
    raw = RawFixes(
        time=read.value,
        longitude_deg=array["longitude"],
        latitude_deg=array["latitude"],
        speed_mps=some_or_none(array["speed"]),
        elevation_m=some_or_none(array["elevation"]),
        segment=numbered(segment),
        place=np.array(place, dtype=np.intp),
        place_kind="trackpoint",
        dropped=(Dropped("no fix", lost, words),) if lost else (),
        remarks=read.remarks,
    )
    return segments_by_time(raw)


def _parent(element: Any) -> Any:
    return None if element is None else element.getparent()


def _values(point: Any) -> tuple[dict[str, float], str]:
    values: dict[str, float] = {}
    time = ""
    for element in point.iter():
        if not element.text:
            continue
        name = local_name(element)
        if name == "Time":
            time = time or element.text.strip()
        elif name in _NUMBERS:
            try:
                values.setdefault(_NUMBERS[name], float(element.text))
            except ValueError:
                continue
    return values, time
