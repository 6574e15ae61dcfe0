"""Tables of gates, a row each: two ends as longitude and latitude, or easting and northing."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from trackkit.errors import RecordingError, reading_failed
from trackkit.geometry.grids import horizontal_crs
from trackkit.recordings.csv.layout import DELIMITERS, cells_of, lines_of, rows_of
from trackkit.recordings.drawn.features import (
    Drawing,
    DrawnFeature,
    columns_of,
    in_wgs84,
    require_size,
)
from trackkit.recordings.formats import decode
from trackkit.remedies import Remedy

ENDS = (
    "left_longitude_deg",
    "left_latitude_deg",
    "right_longitude_deg",
    "right_latitude_deg",
)
"""The columns that a gate is made of, as trackkit writes them; in a grid eastings and northings."""
_SIDES = {"left": "left", "l": "left", "right": "right", "r": "right"}
_AXES = {
    **dict.fromkeys(("longitude", "lon", "long", "lng", "x", "easting", "east", "e"), "longitude"),
    **dict.fromkeys(("latitude", "lat", "y", "northing", "north", "n"), "latitude"),
}
_WGS84 = "OGC:CRS84"
_LONGEST_HEADER = 65_536
_WORDS = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])")


def read_gate_ends(
    data: bytes, path: str | os.PathLike[str], crs: str | None, named: Mapping[str, str]
) -> Drawing:
    """Read a table of gates with a header.

    Parameters
    ----------
    data, path
        The file.
    crs
        The grid of the ends; None for WGS 84.
    named
        The columns of the ends that a user has named, by `ENDS`.

    Raises
    ------
    RecordingError
        No header names the ends, or a cell of an end is no number.
    PlaceError
        PROJ knows no way from the grid to WGS 84.
    """
    rows = rows_of(lines_of(decode(data)))
    if not rows:
        raise RecordingError("holds no row", file=path)
    delimiter = max(DELIMITERS, key=rows[0][1].count)
    header = cells_of(rows[0][1], delimiter)
    ends = _end_columns(header, named, path)
    require_size(len(rows) - 1, path)
    layer = Path(path).stem
    features = []
    for number, (line, text) in enumerate(rows[1:], start=1):
        cells = cells_of(text, delimiter)
        place = [_number(cells, column, line, path, comma=delimiter != ",") for column in ends]
        part = columns_of(place[::2], place[1::2])
        fields = dict(zip(header, cells, strict=False))
        for column in ends:
            fields.pop(header[column], None)
        features.append(DrawnFeature("line", (part,), {"role": "gate", **fields}, layer, number))
    system, remarks = _system(crs, [header[column] for column in ends], features)
    moved, more = in_wgs84(features, system, path)
    return Drawing(moved, "CSV", remarks=(*remarks, *more))


def _system(
    crs: str | None, columns: Sequence[str], features: Sequence[DrawnFeature]
) -> tuple[str, tuple[str, ...]]:
    """Choose the system of the ends: degrees stay degrees beside a drawing that is in a grid."""
    if crs is None or not features:
        return _WGS84, ()
    called = all("deg" in _WORDS.findall(c.lower()) for c in columns)
    ends = np.abs([part[:, :2] for feature in features for part in feature.parts])
    if not called or not np.all(ends <= [180.0, 90.0]) or horizontal_crs(crs).is_geographic:
        return crs, ()
    return _WGS84, (f"its columns hold degrees: its ends were taken in WGS 84, not in {crs}",)


def holds_gate_ends(path: str | os.PathLike[str], named: Mapping[str, str]) -> bool:
    """Tell whether a file is a table whose header names the two ends of a gate."""
    try:
        with Path(path).open("rb") as file:
            header = decode(file.readline(_LONGEST_HEADER))
    except OSError as error:
        raise RecordingError(reading_failed(path, error), file=path) from error
    cells = cells_of(header.strip(), max(DELIMITERS, key=header.count))
    own = {_end(cell) for cell in cells} - {None}
    return len(own | {end for end, name in named.items() if name in cells}) == len(ENDS)


def _end_columns(
    header: Sequence[str], named: Mapping[str, str], path: str | os.PathLike[str]
) -> list[int]:
    chosen: dict[str, int] = {}
    for index, name in enumerate(header):
        end = _end(name)
        if end is not None:
            chosen.setdefault(end, index)
    for end, name in named.items():
        if name not in header:
            raise RecordingError(
                f"has no column called {name!r}",
                file=path,
                remedy=f"its columns are: {', '.join(header)}",
            )
        chosen[end] = header.index(name)
    if len(chosen) < len(ENDS):
        raise RecordingError(
            f"is a table that does not say which columns hold the two ends of a gate (its first "
            f"line: {', '.join(header)})",
            file=path,
            remedy=Remedy("name them", do="name fields", value={"fields": list(ENDS)}),
        )
    return [chosen[end] for end in ENDS]


def _end(header: str) -> str | None:
    """Tell which end and axis a header names: ``left_longitude_deg``, ``RightX``, ``north (l)``."""
    words = [word.lower() for word in _WORDS.findall(header)]
    sides = {_SIDES[word] for word in words if word in _SIDES}
    axes = {_AXES[word] for word in words if word in _AXES}
    if len(sides) != 1 or len(axes) != 1:
        return None
    return f"{sides.pop()}_{axes.pop()}_deg"


def _number(
    cells: Sequence[str], column: int, line: int, path: str | os.PathLike[str], *, comma: bool
) -> float:
    text = cells[column] if column < len(cells) else ""
    try:
        value = float(text.replace(",", ".") if comma else text)
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise RecordingError(
            f"{text!r} is no number, where an end of a gate is needed",
            file=path,
            place=f"line {line}",
            remedy="write it there, or delete the line",
        )
    return value
