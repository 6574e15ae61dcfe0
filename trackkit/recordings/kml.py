"""KML: the fixes of `gx:Track`, the extension that KML 2.3 took in as `Track`.

Of OGC 12-007r2 (KML 2.3), sections on Track, MultiTrack and SimpleArrayData, and of the reference
of the `gx` extension, both from memory.
"""

from __future__ import annotations

import os
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.csv.columns import recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS
from trackkit.recordings.raw import AS_A_LINE, Dropped, RawFixes, counted, some_or_none
from trackkit.recordings.segments import numbered, segments_by_time
from trackkit.recordings.times import read_moments
from trackkit.recordings.units import LENGTH_M, SPEED_MPS
from trackkit.recordings.xml import elements_of_xml, local_name

_ROLES = ("speed", "course", "accuracy", "speed_accuracy", "hdop")


class _Track:
    """What stands in one track: texts of its elements, in their order."""

    def __init__(self) -> None:
        self.when: list[str] = []
        self.coord: list[str] = []
        self.angles: list[str] = []
        self.arrays: dict[str, list[str]] = {}


def read_kml(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read every `gx:Track` of a KML document.

    A track has one `when` for each `gx:coord` (longitude, latitude, height), in the same order;
    an empty `gx:coord` is a moment without a position.  Headings of `gx:angles` are taken as
    courses, unless all are 0.  Arrays of its extended data are speed (m/s where the name tells no
    unit), course, accuracy and the like where their names say so, by the words of CSV headers.
    Each track, also of a `gx:MultiTrack`, is a segment.

    Raises
    ------
    NoTimesError
        The document has no `gx:Track`: KML's lines have no times.
    RecordingError
        The document is broken, or a track has not as many times as positions.
    """
    count = data.count(b":coord>") + data.count(b"<coord>")
    require("fixes", count // 2, RecordingError, "holds", file=path, remedy="split it")
    tracks = [track for track in _tracks(data, path) if track.when]
    if not tracks:
        raise NoTimesError(
            "is KML without a gx:Track, and so without times", file=path, remedy=AS_A_LINE
        )
    for number, track in enumerate(tracks, start=1):
        if len(track.when) != len(track.coord):
            raise RecordingError(
                f"has {counted(len(track.when), 'time')} but "
                f"{counted(len(track.coord), 'position')}, which must be as many",
                file=path,
                place=f"track {number}",
                remedy="export it again",
            )
    if not any(text for track in tracks for text in track.coord):
        raise RecordingError("holds a gx:Track without a position", file=path)
    return _fixes(tracks)


def _tracks(data: bytes, path: str | os.PathLike[str]) -> list[_Track]:
    tracks: list[_Track] = []
    here = _Track()
    for element in elements_of_xml(data, path, "when", "coord", "angles", "value", "Track"):
        name = local_name(element)
        if name == "Track":
            tracks.append(here)
            here = _Track()
            continue
        parent = element.getparent()
        if parent is None:
            continue
        text = (element.text or "").strip()
        if name == "value":
            if local_name(parent) == "SimpleArrayData":
                here.arrays.setdefault(parent.get("name") or "", []).append(text)
        elif local_name(parent) == "Track":
            getattr(here, name).append(text)
    return tracks


def _fixes(tracks: list[_Track]) -> RawFixes:
    read = read_moments([text for track in tracks for text in track.when])
    texts = [text for track in tracks for text in track.coord]
    there = np.array([bool(text) for text in texts])
    lost = int(np.count_nonzero(~there))
    words = counted(lost, "moment without a position", "moments without a position")
    position = _rows(texts)[there]
    columns = {role: np.concatenate([_array(track, role) for track in tracks]) for role in _ROLES}
    if not np.isfinite(columns["course"]).any():
        columns["course"] = np.concatenate([_headings(track) for track in tracks])
    lengths = [len(track.when) for track in tracks]
    columns = {role: column[there] for role, column in columns.items()}
    raw = RawFixes(
        time=read.value[there],
        longitude_deg=position[:, 0],
        latitude_deg=position[:, 1],
        elevation_m=some_or_none(position[:, 2]),
        speed_mps=some_or_none(columns["speed"]),
        course_deg=some_or_none(columns["course"]),
        accuracy_m=some_or_none(columns["accuracy"]),
        hdop=some_or_none(columns["hdop"]),
        segment=numbered(np.repeat(np.arange(len(tracks)), lengths)[there]),
        place=np.flatnonzero(there) + 1,
        place_kind="position",
        dropped=(Dropped("no fix", lost, words),) if lost else (),
        remarks=read.remarks,
        speed_accuracy_mps=some_or_none(columns["speed_accuracy"]),
    )
    return segments_by_time(raw)


def _rows(texts: list[str]) -> Floats:
    """Read three numbers each, NaN where they are not there."""
    rows = np.full((len(texts), 3), np.nan)
    for row, text in zip(rows, texts, strict=True):
        # Commas are no KML here, but are written.
        for place, cell in enumerate(text.replace(",", " ").split()[:3]):
            row[place] = _number(cell)
    return rows


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return np.nan


def _headings(track: _Track) -> Floats:
    nothing = np.full(len(track.when), np.nan)
    if len(track.angles) != len(track.when):
        return nothing
    heading = _rows(track.angles)[:, 0]
    return np.mod(heading, 360.0) if np.nan_to_num(heading).any() else nothing


def _array(track: _Track, role: str) -> Floats:
    for name, values in track.arrays.items():
        meant = recognise_header(name, FIX_WORDS)
        if meant is None or meant[0] != role or len(values) != len(track.when):
            continue
        return np.array([_number(cell) for cell in values]) * _factor(role, meant[1])
    return np.full(len(track.when), np.nan)


def _factor(role: str, unit: Any) -> float:
    if role in ("speed", "speed_accuracy"):
        return SPEED_MPS[unit or "m/s"]
    return LENGTH_M[unit or "m"] if role == "accuracy" else 1.0
