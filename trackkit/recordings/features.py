"""GeoPackage (OGC 12-128r17) and FlatGeobuf: points with times, read by GDAL."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from trackkit.budgets import require
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.csv.columns import recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS
from trackkit.recordings.gpx_channels import reordered
from trackkit.recordings.points import positions_of_points
from trackkit.recordings.raw import AS_A_LINE, RawFixes, single_line
from trackkit.recordings.tables import fixes_of_table

_OWN = {"centreline", "gates"}
"""Layers of a track that trackkit has exported."""
_STROKES = re.compile(r"^(\d{4})/(\d\d)/(\d\d)(?= \d\d:)")


class _Layer(NamedTuple):
    name: str
    kind: str | None
    fields: tuple[str, ...]
    size: int
    crs: str | None


def read_features(
    data: bytes, path: str | os.PathLike[str], columns: Mapping[str, str]
) -> RawFixes:
    """Read the one layer of points, or of rows without geometry, that has times.

    Raises
    ------
    NoTimesError
        There are positions, but no layer has times.
    RecordingError
        The file is damaged, several layers could be the recording, or what a column holds is
        ambiguous.
    """
    from pyogrio.errors import DataLayerError, DataSourceError
    from pyogrio.raw import read

    try:
        with TemporaryDirectory() as folder:
            # GDAL goes by suffixes.
            copy = Path(folder) / ("points.gpkg" if data.startswith(b"SQLite") else "points.fgb")
            copy.write_bytes(data)
            layer = _the_timed(_layers(copy), columns, path)
            require("fixes", layer.size, RecordingError, "holds features for", file=path)
            meta, _, wkb, values = read(copy, layer=layer.name, datetime_as_string=True)
    except (DataSourceError, DataLayerError, UnicodeDecodeError) as error:
        raise RecordingError(
            f"is damaged or breaks off ({single_line(error)})",
            file=path,
            remedy="copy or download it again",
        ) from error
    names = [str(name) for name in meta["fields"]]
    values = [_with_iso_dates(column) if column.dtype.kind == "O" else column for column in values]
    if wkb is None or layer.kind is None:
        return fixes_of_table(names, values, columns, path)
    positions, remarks = positions_of_points(wkb, layer.crs, path)
    raw = fixes_of_table(names, values, columns, path, positions=positions, place_kind="feature")
    lost = layer.size - len(wkb)
    if lost > 0:
        remarks = (*remarks, f"{lost:,} of {layer.size:,} features could not be read")
    return _in_order(raw).with_remarks(remarks)


def _with_iso_dates(column: NDArray[np.object_]) -> NDArray[np.object_]:
    """Write dates with hyphens: pyogrio 0.9 hands on texts of moments with strokes."""
    return np.array(
        [_STROKES.sub(r"\1-\2-\3", cell) if isinstance(cell, str) else cell for cell in column],
        dtype=object,
    )


def _in_order(raw: RawFixes) -> RawFixes:
    """Put features in order of time: a FlatGeobuf with an index has them in order of place."""
    order = np.argsort(raw.time, kind="stable")
    if np.all(order[1:] > order[:-1]):
        return raw
    channels = raw.channels
    if channels is not None:
        rows = np.argsort(channels.time, kind="stable")
        is_fix = np.diff(channels.fixes_before, append=len(raw))[rows]
        channels = replace(reordered(channels, rows), fixes_before=np.cumsum(is_fix) - is_fix)
    ordered = replace(raw.picked(order), channels=channels)
    return ordered.with_remarks(["features were put in order of time"])


def _layers(file: Path) -> list[_Layer]:
    import pyogrio

    layers = []
    for name, kind in pyogrio.list_layers(file).tolist():
        info: dict[str, Any] = pyogrio.read_info(file, layer=name)
        fields = tuple(str(field) for field in info["fields"])
        layers.append(_Layer(name, kind, fields, info["features"], info["crs"]))
    return layers


def _the_timed(
    layers: list[_Layer], columns: Mapping[str, str], path: str | os.PathLike[str]
) -> _Layer:
    if {layer.name for layer in layers} >= _OWN:
        raise RecordingError(
            "is a track that was exported, not a recording",
            file=path,
            remedy="import it as a track, or give the recording to be read",
        )
    points = [layer for layer in layers if layer.kind is None or layer.kind.startswith("Point")]
    timed = [layer for layer in points if "time" in columns or _has_time(layer)]
    if len(timed) == 1:
        return timed[0]
    if timed:
        listed = ", ".join(f"'{layer.name}'" for layer in timed[:8])
        raise RecordingError(
            f"holds {len(timed)} layers of points with times ({listed})",
            file=path,
            remedy="keep only the one wanted in the file",
        )
    if not layers:
        raise RecordingError("holds no layer", file=path)
    raise NoTimesError("holds positions but no times", file=path, remedy=AS_A_LINE)


def _has_time(layer: _Layer) -> bool:
    recognised = [recognise_header(field, FIX_WORDS) for field in layer.fields]
    return any(pair is not None and pair[0] in ("time", "date") for pair in recognised)
