"""Parquet tables of fixes, and GeoParquet points (version 1.1; geoparquet.org, from memory)."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trackkit.budgets import require
from trackkit.errors import RecordingError
from trackkit.recordings.devices import library
from trackkit.recordings.points import positions_of_points
from trackkit.recordings.raw import RawFixes, single_line
from trackkit.recordings.tables import fixes_of_table

_WGS84 = "OGC:CRS84"
"""What GeoParquet takes where it names no system."""


def read_parquet(data: bytes, path: str | os.PathLike[str], columns: Mapping[str, str]) -> RawFixes:
    """Read a Parquet table by its column names, or its points where it is GeoParquet.

    Raises
    ------
    NoTimesError
        No column holds a time.
    RecordingError
        pyarrow is not installed, the file is damaged, or what a column holds is ambiguous.
    """
    pyarrow = library("pyarrow", "Parquet", path)
    library("pyarrow.parquet", "Parquet", path)
    try:
        file = pyarrow.parquet.ParquetFile(pyarrow.BufferReader(data))
        size = sum(
            file.metadata.row_group(n).total_byte_size for n in range(file.metadata.num_row_groups)
        )
        require("unpacked_bytes", size, RecordingError, "unpacks to", file=path, remedy="split it")
        require("fixes", file.metadata.num_rows, RecordingError, "holds rows for", file=path)
        table = file.read()
        geometry, crs = geometry_column(table, path)
        kept = [name for name in table.column_names if name != geometry]
        values = [_array(table.column(table.column_names.index(name))) for name in kept]
        shapes = None if geometry is None else table.column(geometry).to_numpy(zero_copy_only=False)
    except (pyarrow.ArrowException, OSError, ValueError) as error:
        raise RecordingError(
            f"its Parquet is damaged or breaks off ({single_line(error)})",
            file=path,
            remedy="copy or download it again",
        ) from error
    if shapes is None:
        return fixes_of_table(kept, values, columns, path)
    positions, remarks = positions_of_points(shapes, crs, path)
    raw = fixes_of_table(kept, values, columns, path, positions=positions)
    return raw.with_remarks(remarks)


def geometry_column(table: Any, path: str | os.PathLike[str]) -> tuple[str | None, str | None]:
    """Find the column of positions, and the system they are in."""
    described = (table.schema.metadata or {}).get(b"geo")
    if described is None:
        return None, None
    try:
        geo = json.loads(described)
        name = geo["primary_column"]
        column = geo["columns"][name]
        encoding, crs = column["encoding"], column.get("crs", _WGS84)
    except (ValueError, LookupError, TypeError, AttributeError) as error:
        raise RecordingError(
            "is GeoParquet whose description of itself cannot be read", file=path
        ) from error
    if encoding != "WKB" or table.column_names.count(name) != 1:
        raise RecordingError(
            f"is GeoParquet with geometry written as {encoding}, not as WKB",
            file=path,
            remedy="write it again, with geometry as WKB",
        )
    return name, crs if isinstance(crs, str) or crs is None else json.dumps(crs)


def _array(column: Any) -> NDArray[np.generic]:
    import pyarrow as pa

    kind = column.type
    if pa.types.is_timestamp(kind):
        # Arrow counts moments with a zone in UTC.
        column = column.cast(pa.timestamp("us"), safe=False)
    if pa.types.is_decimal(kind):
        column = column.cast(pa.float64())
    array: NDArray[np.generic] = column.to_numpy()
    return array
