"""Ways out of trackkit and back: an export, a program that is not ours, and the import.

The programs are GDAL's ogr2ogr, geopandas, pyogrio, fiona, fastkml, gpxpy and pandas.
"""

from __future__ import annotations

import json
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from foreign_programs import ogr2ogr

from trackkit.export.export import export_track
from trackkit.track.file import track_text
from trackkit.track.model import Track

if TYPE_CHECKING:
    import geopandas


def exported(track: Track, folder: Path, fmt: str) -> Path:
    path = folder / f"exported.{fmt}"
    export_track(track, path, fmt)
    return path


def _by_ogr2ogr(fmt: str, made: str, *options: str) -> Callable[[Track, Path], Path]:
    def way(track: Track, folder: Path) -> Path:
        return ogr2ogr(folder / made, exported(track, folder, fmt), *options)

    return way


def _geojson_by_geopandas(track: Track, folder: Path) -> Path:
    import geopandas

    frame = geopandas.read_file(exported(track, folder, "geojson"))
    frame.to_file(folder / "back.geojson", driver="GeoJSON")
    return folder / "back.geojson"


def _plain(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Write lists and objects as JSON, which neither Arrow nor geopandas' JSON has in a column."""
    for column in frame.columns.difference(["geometry"]):
        nested = frame[column].map(lambda cell: isinstance(cell, list | dict | np.ndarray))
        if nested.any():
            frame[column] = [
                json.dumps(cell, default=lambda array: array.tolist()) if is_nested else cell
                for cell, is_nested in zip(frame[column], nested, strict=True)
            ]
    return frame


def _geojson_as_text_of_geopandas(track: Track, folder: Path) -> Path:
    import geopandas

    frame = geopandas.read_file(exported(track, folder, "geojson"))
    frame = _plain(frame).to_crs("EPSG:3857")
    (folder / "back.geojson").write_text(frame.to_crs("EPSG:4326").to_json(), "utf-8")
    return folder / "back.geojson"


def _geoparquet_by_geopandas(track: Track, folder: Path) -> Path:
    import geopandas

    pytest.importorskip("pyarrow")
    frame = geopandas.read_file(exported(track, folder, "geojson"))
    _plain(frame).to_crs("EPSG:6933").to_parquet(folder / "back.parquet")
    return folder / "back.parquet"


def _geopackage_by_geopandas(track: Track, folder: Path) -> Path:
    import geopandas
    import pyogrio

    path = exported(track, folder, "gpkg")
    for layer, _ in pyogrio.list_layers(path):
        frame = geopandas.read_file(path, layer=layer).astype({"geometry": object})
        geopandas.GeoDataFrame(frame, geometry="geometry", crs="EPSG:4326").to_file(
            folder / "back.gpkg", layer=layer
        )
    return folder / "back.gpkg"


def _geopackage_by_fiona(track: Track, folder: Path) -> Path:
    fiona = pytest.importorskip("fiona")
    path = exported(track, folder, "gpkg")
    for layer in fiona.listlayers(path):
        with (
            fiona.open(path, layer=layer) as source,
            fiona.open(folder / "back.gpkg", "w", layer=layer, **source.meta) as sink,
        ):
            sink.writerecords(source)
    return folder / "back.gpkg"


def _kml_by_fastkml(track: Track, folder: Path) -> Path:
    fastkml = pytest.importorskip("fastkml")
    path = exported(track, folder, "kml")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        document = fastkml.KML.parse(path)
        (folder / "back.kml").write_text(document.to_string(), "utf-8")
    return folder / "back.kml"


def _gpx_by_gpxpy(track: Track, folder: Path) -> Path:
    import gpxpy

    document = gpxpy.parse(exported(track, folder, "gpx").read_text("utf-8"))
    (folder / "back.gpx").write_text(document.to_xml(), "utf-8")
    return folder / "back.gpx"


def _csv_by_pandas(track: Track, folder: Path) -> Path:
    import pandas as pd

    table = pd.read_csv(exported(track, folder, "csv"))
    table.drop(columns=["order", "width_m"]).to_csv(folder / "back.csv", index=False, sep=";")
    return folder / "back.csv"


_IN_A_GRID = ("-t_srs", "EPSG:3832", "-dim", "XYZ", "-nlt", "PROMOTE_TO_MULTI")

ROUND_TRIPS: dict[str, Callable[[Track, Path], Path]] = {
    "geojson by geopandas": _geojson_by_geopandas,
    "geojson through a grid": _geojson_as_text_of_geopandas,
    "geojson by ogr2ogr": _by_ogr2ogr("geojson", "back.geojson", "-f", "GeoJSON"),
    "geojson by ogr2ogr, as RFC 7946": _by_ogr2ogr(
        "geojson", "back.geojson", "-f", "GeoJSON", "-lco", "RFC7946=YES"
    ),
    "geoparquet by geopandas": _geoparquet_by_geopandas,
    "geopackage by geopandas": _geopackage_by_geopandas,
    "geopackage by fiona": _geopackage_by_fiona,
    "geopackage by ogr2ogr, in a grid": _by_ogr2ogr("gpkg", "back.gpkg", "-f", "GPKG", *_IN_A_GRID),
    "shapefile by ogr2ogr": _by_ogr2ogr("gpkg", "back", "-f", "ESRI Shapefile"),
    "flatgeobuf by ogr2ogr": _by_ogr2ogr("gpkg", "back", "-f", "FlatGeobuf"),
    "kml by ogr2ogr": _by_ogr2ogr("kml", "back.kml", "-f", "LIBKML"),
    "kmz by ogr2ogr": _by_ogr2ogr("gpkg", "back.kmz", "-f", "LIBKML"),
    "kml by fastkml": _kml_by_fastkml,
    "gpx by gpxpy": _gpx_by_gpxpy,
    "csv by pandas": _csv_by_pandas,
}
"""Each makes a file, or folder, of a track in a folder of its own."""


def as_file(track: Track) -> str:
    """Write what a track's file would hold."""
    return track_text(track)
