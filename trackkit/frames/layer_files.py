"""Frames with geometry written to files of layers, a part at a time."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.errors import OutputError
from trackkit.files import csv_text
from trackkit.recordings.xml import xml_text

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

Add = Callable[[str, "GeoDataFrame"], None]
"""Adds rows to a layer; the first of a layer say which columns it has."""
GEOMETRY_TYPES = {"laps": "MultiLineString", "traces": "Point", "crossings": "Point"}
WKT_DECIMALS = {True: 8, False: 4}
"""Of coordinates in CSV, by whether they are degrees: a millimetre and finer."""
_DECIMALS = {"_deg": 8, "_s": 6, "_m": 4, "_mps": 5, "_mps2": 4}
_BATCH_ROWS = 65_536


@contextmanager
def geopackage_layers(paths: Mapping[str, Path]) -> Iterator[Add]:
    """Write a GeoPackage of all layers; all paths are that of the one file."""
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    (path,) = set(paths.values())
    # GDAL goes by the suffix, whatever name the user chose.
    own = path.with_name("layers.gpkg")

    def add(layer: str, frame: GeoDataFrame) -> None:
        try:
            pyogrio.write_dataframe(
                _plain(frame),
                own,
                layer=layer,
                driver="GPKG",
                geometry_type=GEOMETRY_TYPES[layer],
                append=own.exists(),
            )
        except (DataSourceError, DataLayerError) as error:
            raise OutputError(f"cannot be written ({error})", file=path) from error

    yield add
    own.replace(path)


@contextmanager
def csv_layers(paths: Mapping[str, Path]) -> Iterator[Add]:
    """Write a CSV file a layer, its geometry as well-known text in a last column ``WKT``."""
    import shapely

    begun: set[str] = set()

    def add(layer: str, frame: GeoDataFrame) -> None:
        table = _plain(frame.drop(columns="geometry"))
        for name in table.columns:
            if str(table[name].dtype).startswith("datetime64"):
                table[name] = _rfc3339(table[name])
        decimals = WKT_DECIMALS[bool(frame.crs.is_geographic)]
        shapes = frame.geometry.to_numpy()
        places = shapely.to_wkt(shapes, rounding_precision=decimals) if len(frame) else []
        columns = [*(table[name].tolist() for name in table.columns), list(places)]
        header = [*table.columns, "WKT"]
        text = csv_text(header, zip(*columns, strict=True), _decimals(header))
        if layer in begun:
            text = text.partition("\n")[2]
        begun.add(layer)
        with paths[layer].open("a", encoding="utf-8", newline="") as file:
            file.write(text)

    yield add


@contextmanager
def parquet_layers(paths: Mapping[str, Path]) -> Iterator[Add]:
    """Write a Parquet file a layer, a row group a part, without the geometry."""
    with _parquet(paths, with_geometry=False) as add:
        yield add


@contextmanager
def geoparquet_layers(paths: Mapping[str, Path]) -> Iterator[Add]:
    """Write a GeoParquet file (version 1.0) a layer, a row group a part."""
    with _parquet(paths, with_geometry=True) as add:
        yield add


@contextmanager
def flatgeobuf_layers(paths: Mapping[str, Path]) -> Iterator[Add]:
    """Write a FlatGeobuf file a layer, which takes all rows of it at once, from the disk."""
    from pyogrio.errors import DataLayerError, DataSourceError
    from pyogrio.raw import write_arrow

    parquet = _pyarrow("pyarrow.parquet")
    arrow = _pyarrow("pyarrow")
    spools = {layer: path.with_name(f"{layer}.spool") for layer, path in paths.items()}
    systems: dict[str, str] = {}
    with _parquet(spools, with_geometry=True) as add_to_spool:

        def add(layer: str, frame: GeoDataFrame) -> None:
            systems[layer] = frame.crs.to_wkt()
            add_to_spool(layer, frame)

        yield add
    for layer, crs in systems.items():
        own = paths[layer].with_name(f"{layer}.fgb")
        with parquet.ParquetFile(spools[layer]) as spool:
            rows = spool.iter_batches(batch_size=_BATCH_ROWS)
            reader = arrow.RecordBatchReader.from_batches(spool.schema_arrow, rows)
            try:
                write_arrow(
                    reader,
                    own,
                    layer=layer,
                    driver="FlatGeobuf",
                    geometry_name="geometry",
                    geometry_type=GEOMETRY_TYPES[layer],
                    crs=crs,
                )
            except (DataSourceError, DataLayerError) as error:
                raise OutputError(f"cannot be written ({error})", file=paths[layer]) from error
        own.replace(paths[layer])


@contextmanager
def _parquet(paths: Mapping[str, Path], *, with_geometry: bool) -> Iterator[Add]:
    arrow, parquet = _pyarrow("pyarrow"), _pyarrow("pyarrow.parquet")
    writers: dict[str, Any] = {}
    with ExitStack() as opened:

        def add(layer: str, frame: GeoDataFrame) -> None:
            table = _arrow_table(arrow, frame, with_geometry=with_geometry)
            if layer not in writers:
                schema = table.schema
                if with_geometry:
                    schema = schema.with_metadata({"geo": _geo(layer, frame)})
                writer = parquet.ParquetWriter(paths[layer], schema)
                writers[layer] = opened.enter_context(writer)
            writers[layer].write_table(table.cast(writers[layer].schema))

        yield add


def _arrow_table(arrow: Any, frame: GeoDataFrame, *, with_geometry: bool) -> Any:
    """Lay a frame out as a table of Arrow, its geometry as well-known binary."""
    table = _plain(frame.drop(columns="geometry"))
    columns = {
        name: arrow.array(table[name], type=arrow.string() if table[name].dtype == object else None)
        for name in table.columns
    }
    if with_geometry:
        columns["geometry"] = arrow.array(frame.geometry.to_wkb(), type=arrow.binary())
    return arrow.table(columns)


def _geo(layer: str, frame: GeoDataFrame) -> str:
    """Describe the geometry as GeoParquet 1.0.0 asks (geoparquet.org; from memory)."""
    column = {
        "encoding": "WKB",
        "geometry_types": [GEOMETRY_TYPES[layer]],
        "crs": frame.crs.to_json_dict(),
    }
    geo = {"version": "1.0.0", "primary_column": "geometry", "columns": {"geometry": column}}
    return json.dumps(geo)


def _pyarrow(module: str) -> Any:
    try:
        return import_module(module)
    except ImportError as error:
        raise OutputError(
            "this format needs pyarrow to be written",
            remedy="install it: pip install 'trackkit[parquet]'",
        ) from error


def _plain(frame: Any) -> Any:
    """Turn categories into texts, which formats hold, and texts into what XML and GDAL take."""
    plain = frame.copy(deep=False)
    for name in plain.columns:
        if str(plain[name].dtype) in ("category", "object", "str") and name != "geometry":
            texts = plain[name].astype(object).to_numpy()
            plain[name] = np.array(
                [xml_text(text) if isinstance(text, str) else None for text in texts], dtype=object
            )
    return plain


def _rfc3339(times: Any) -> list[str | None]:
    """Write times of day as RFC 3339 has them, to the microsecond; None where missing."""
    return [
        None if time is None else f"{time}Z"
        for time in np.datetime_as_string(
            times.dt.tz_localize(None).dt.round("us").to_numpy().astype("datetime64[us]")
        )
        .astype(object)
        .tolist()
    ]


def _decimals(names: list[str]) -> dict[str, int]:
    """How many decimals each column has, by the unit in its name."""
    return {
        name: places for name in names for unit, places in _DECIMALS.items() if name.endswith(unit)
    }
