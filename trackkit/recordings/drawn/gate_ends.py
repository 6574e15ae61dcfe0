"""Tables of gates, a row each: two ends as longitude and latitude, or easting and northing."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from trackkit.errors import RecordingError
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
    moved, remarks = in_wgs84(features, crs or "OGC:CRS84", path)
    return Drawing(moved, "CSV", remarks=remarks)


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
