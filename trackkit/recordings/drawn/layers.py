"""GeoPackage, Shapefile, FlatGeobuf and GeoParquet: layers that GDAL or pyarrow reads."""

from __future__ import annotations

import os
import warnings
from collections.abc import Sequence
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from trackkit.errors import RecordingError
from trackkit.recordings.devices import library
from trackkit.recordings.drawn.features import (
    Drawing,
    DrawnFeature,
    chosen_crs,
    in_wgs84,
    parts_of_shape,
    require_size,
)
from trackkit.recordings.raw import single_line

DAMAGED = "copy or download it again"
_SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def read_layers(path: str | os.PathLike[str], what: str, crs: str | None) -> Drawing:
    """Read every layer of a GeoPackage, a FlatGeobuf or a Shapefile by GDAL.

    Raises
    ------
    RecordingError
        The file is damaged, holds far too many features, or names no coordinate system and none
        is given.
    PlaceError
        PROJ knows no way from the coordinate system to WGS 84.
    """
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    features: list[DrawnFeature] = []
    remarks: list[str] = []
    try:
        with TemporaryDirectory() as folder:
            copy = _copied(Path(path), Path(folder), what)
            for name, kind in pyogrio.list_layers(copy).tolist():
                if kind is None:
                    continue
                layer, texts = _layer(copy, str(name), what, crs, path)
                features += layer
                remarks += texts
    except (DataSourceError, DataLayerError, UnicodeDecodeError, OSError) as error:
        raise RecordingError(
            f"is damaged or breaks off ({single_line(error)})", file=path, remedy=DAMAGED
        ) from error
    return Drawing(tuple(features), what, remarks=tuple(dict.fromkeys(remarks)))


def _copied(path: Path, folder: Path, what: str) -> Path:
    """Copy a file to where GDAL may write beside it, under a suffix that GDAL goes by."""
    if what == "Shapefile":
        for beside in path.parent.iterdir():
            suffix = beside.suffix.lower()
            if beside.stem == path.stem and suffix in _SHAPEFILE_PARTS:
                copyfile(beside, folder / f"{path.stem}{suffix}")
        return folder / f"{path.stem}.shp"
    suffix = {"GeoPackage": ".gpkg", "FlatGeobuf": ".fgb"}[what]
    copy = folder / f"{path.stem}{suffix}"
    copyfile(path, copy)
    # What a program that still has it open has not yet put into the file itself (sqlite.org/wal).
    log = path.with_name(f"{path.name}-wal")
    if what == "GeoPackage" and log.exists():
        copyfile(log, copy.with_name(f"{copy.name}-wal"))
    return copy


def _layer(
    copy: Path, name: str, what: str, crs: str | None, path: str | os.PathLike[str]
) -> tuple[Sequence[DrawnFeature], Sequence[str]]:
    import pyogrio
    from pyogrio.raw import read

    require_size(int(pyogrio.read_info(copy, layer=name)["features"]), path)
    with warnings.catch_warnings():
        # A position that is no number is refused with its place.
        warnings.simplefilter("ignore")
        meta, _, wkb, columns = read(copy, layer=name)
    names = [str(field) for field in meta["fields"]]
    rows = _features(name, names, columns, wkb)
    if not any(row.parts for row in rows):
        return rows, ()
    system, remarks = chosen_crs(meta["crs"], crs, what, path)
    moved, more = in_wgs84(rows, system, path)
    return moved, (*remarks, *more)


def _features(
    layer: str, names: Sequence[str], columns: Sequence[Any], wkb: Any
) -> list[DrawnFeature]:
    import shapely

    with np.errstate(invalid="ignore"):
        shapes = shapely.from_wkb(wkb, on_invalid="ignore")
    rows = []
    for index, shape in enumerate(shapes):
        kind, parts = parts_of_shape(shape)
        fields = {name: column[index] for name, column in zip(names, columns, strict=True)}
        rows.append(DrawnFeature(kind, parts, fields, layer, index + 1))
    return rows


def read_geoparquet(data: bytes, path: str | os.PathLike[str], crs: str | None) -> Drawing:
    """Read GeoParquet (version 1.1; geoparquet.org, from memory) by pyarrow.

    Raises
    ------
    RecordingError
        pyarrow is not installed, or the file is damaged, has no geometry or far too many rows.
    PlaceError
        PROJ knows no way from the coordinate system to WGS 84.
    """
    from trackkit.recordings.parquet import geometry_column

    pyarrow = library("pyarrow", "Parquet", path)
    library("pyarrow.parquet", "Parquet", path)
    try:
        file = pyarrow.parquet.ParquetFile(pyarrow.BufferReader(data))
        require_size(file.metadata.num_rows, path)
        table = file.read()
        geometry, own = geometry_column(table, path)
        if geometry is None:
            raise RecordingError(
                "is a Parquet table without geometry", file=path, remedy="write it as GeoParquet"
            )
        names = [name for name in table.column_names if name != geometry]
        columns = [table.column(name).to_pylist() for name in names]
        wkb = np.array(table.column(geometry).to_pylist(), dtype=object)
    except (pyarrow.ArrowException, OSError, ValueError) as error:
        raise RecordingError(
            f"its Parquet is damaged or breaks off ({single_line(error)})",
            file=path,
            remedy=DAMAGED,
        ) from error
    rows = _features(Path(path).stem, names, columns, wkb)
    system, remarks = chosen_crs(own, crs, "GeoParquet", path)
    moved, more = in_wgs84(rows, system, path)
    return Drawing(moved, "GeoParquet", remarks=(*remarks, *more))


def read_json(document: dict[str, Any], path: str | os.PathLike[str], crs: str | None) -> Drawing:
    """Read the features of a GeoJSON document, those without geometry too.

    A ``crs`` member, which RFC 7946 does away with and programs still write, is followed.

    Raises
    ------
    RecordingError
        It is no GeoJSON, or holds far too many features.
    PlaceError
        PROJ knows no way from the coordinate system to WGS 84.
    """
    members = document.get("features")
    if document.get("type") != "FeatureCollection" or not isinstance(members, list):
        raise RecordingError(
            "is JSON but no GeoJSON FeatureCollection",
            file=path,
            remedy="save it as GeoJSON once more",
        )
    require_size(len(members), path)
    layer = Path(path).stem
    rows = [_json_feature(feature, layer, n, path) for n, feature in enumerate(members, start=1)]
    own = _json_crs(document)
    system, remarks = chosen_crs(own or "OGC:CRS84", crs, "GeoJSON", path)
    moved, more = in_wgs84(rows, system, path)
    rest = {key: value for key, value in document.items() if key not in ("type", "features")}
    return Drawing(moved, "GeoJSON", members=rest, remarks=(*remarks, *more))


def _json_crs(document: dict[str, Any]) -> str | None:
    declared = document.get("crs")
    properties = declared.get("properties") if isinstance(declared, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    return name if isinstance(name, str) and name else None


def _json_feature(
    feature: Any, layer: str, number: int, path: str | os.PathLike[str]
) -> DrawnFeature:
    from shapely.errors import ShapelyError
    from shapely.geometry import shape as shape_of

    place = f"layer {layer}, feature {number}"
    if not isinstance(feature, dict):
        raise RecordingError("is no GeoJSON feature", file=path, place=place)
    geometry, properties = feature.get("geometry"), feature.get("properties")
    try:
        shape = None if geometry is None else shape_of(geometry)
    # Whole numbers may be larger than a float holds.
    except (
        ShapelyError,
        ValueError,
        TypeError,
        LookupError,
        AttributeError,
        OverflowError,
    ) as error:
        raise RecordingError(
            f"its geometry cannot be read ({single_line(error)})", file=path, place=place
        ) from error
    kind, parts = parts_of_shape(shape)
    given = feature.get("id")
    return DrawnFeature(
        kind,
        parts,
        properties if isinstance(properties, dict) else {},
        layer,
        number,
        str(given) if isinstance(given, str | int) and not isinstance(given, bool) else None,
        source=feature,
    )
