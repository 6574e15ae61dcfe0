"""Tables with a column of well-known text, a feature a row, as GDAL and programs of maps write."""

from __future__ import annotations

import io
import os
import re
from pathlib import Path
from typing import Any

from trackkit.errors import RecordingError
from trackkit.recordings.csv.layout import DELIMITERS
from trackkit.recordings.drawn.features import (
    Drawing,
    DrawnFeature,
    Kind,
    chosen_crs,
    in_wgs84,
    parts_of_shape,
    require_size,
)
from trackkit.recordings.formats import decode
from trackkit.recordings.raw import single_line

_SHAPE = (
    r"(?:SRID=(?P<srid>\d{1,9});\s{0,9})?"
    r"(?P<wkt>(?:(?:MULTI)?(?:POINT|LINESTRING|POLYGON)|GEOMETRYCOLLECTION)\s{0,9}Z?M?\s{0,9}\()"
)
"""How well-known text begins (OGC 06-103r4, section 7), also with what PostGIS puts before it."""
# So many blanks and no more: each of a million tabs may be where a cell begins.
_CELL_BEGINS = r'\s{0,9}(?:"\s{0,9})?'
_CELL = re.compile(rf"{_CELL_BEGINS}{_SHAPE}", re.IGNORECASE)
_LATER_CELL = re.compile(rf"(?:^|[,;|\t]){_CELL_BEGINS}{_SHAPE}", re.IGNORECASE)
_LINES_SEARCHED = 20


def holds_shapes(data: bytes) -> bool:
    """Tell whether a table has a cell of well-known text in its first rows.

    Parameters
    ----------
    data
        The table, or its beginning.
    """
    lines = decode(data[:65_536]).splitlines()[1 : 1 + _LINES_SEARCHED]
    return any(_LATER_CELL.search(line) for line in lines)


def read_shapes(data: bytes, path: str | os.PathLike[str], crs: str | None) -> Drawing:
    """Read a table with a header, whose rows are features.

    Parameters
    ----------
    data, path
        The file.
    crs
        The coordinate system of its positions; None for what its cells say, or WGS 84.

    Raises
    ------
    RecordingError
        The table or a geometry in it cannot be read.
    PlaceError
        PROJ knows no way from the coordinate system to WGS 84.
    """
    import pandas as pd

    text = decode(data)
    first = text.lstrip("\n").partition("\n")[0]
    try:
        table = pd.read_csv(
            io.StringIO(text),
            sep=max(DELIMITERS, key=first.count),
            dtype=str,
            keep_default_na=False,
            index_col=False,
            skipinitialspace=True,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RecordingError(
            f"is no table that can be read ({single_line(error)})", file=path
        ) from error
    require_size(len(table), path)
    rows: list[dict[Any, Any]] = table.fillna("").to_dict("records")
    column = next((c for c in table.columns if any(_CELL.match(row[c]) for row in rows)), None)
    if column is None:
        raise RecordingError(
            "is a table without a column of WKT", file=path, remedy="write its geometry as WKT"
        )
    systems: set[str | None] = set()
    features = []
    for number, row in enumerate(rows, start=1):
        fields = {str(name).strip(): cell for name, cell in row.items() if name != column}
        kind, parts, srid = _shape(row[column], number, path)
        if kind is not None:
            systems.add(srid)
        features.append(DrawnFeature(kind, parts, fields, Path(path).stem, number))
    if len(systems) > 1:
        raise RecordingError(
            "has positions in several coordinate systems",
            file=path,
            place=f"column {column}",
            remedy="write all of them in one",
        )
    srid = systems.pop() if systems else None
    own = "OGC:CRS84" if srid in (None, "4326") else f"EPSG:{srid}"
    system, remarks = (crs, ()) if crs and srid is None else chosen_crs(own, crs, "CSV", path)
    moved, more = in_wgs84(features, system, path)
    return Drawing(moved, "CSV", remarks=(*remarks, *more))


def _shape(
    cell: str, number: int, path: str | os.PathLike[str]
) -> tuple[Kind | None, tuple[Any, ...], str | None]:
    import shapely
    from shapely.errors import ShapelyError

    if not cell.strip():
        return None, (), None
    begin = _CELL.match(cell)
    try:
        shape = shapely.from_wkt(cell if begin is None else cell[begin.start("wkt") :])
    except ShapelyError as error:
        raise RecordingError(
            f"its geometry cannot be read ({single_line(error)})",
            file=path,
            place=f"row {number} below the header",
            remedy="write it once more, as WKT",
        ) from error
    kind, parts = parts_of_shape(shape)
    return kind, parts, None if begin is None else begin["srid"]
