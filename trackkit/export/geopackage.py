"""A track as a GeoPackage (OGC 12-128r17), by GDAL."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from trackkit.errors import OutputError
from trackkit.export.layers import Layer, layers_of
from trackkit.files import whole_file
from trackkit.recordings.xml import xml_text
from trackkit.track.model import Track

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def write_geopackage(track: Track, path: str | os.PathLike[str], *, force: bool) -> None:
    """Write a track as a GeoPackage, whole or not at all.

    Raises
    ------
    OutputError
        When the file exists and `force` is false, or cannot be written.
    """
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    with whole_file(path, force=force) as scratch:
        # GDAL goes by the suffix, whatever name the user chose.
        own = scratch.with_name("layers.gpkg")
        try:
            for name, layer in layers_of(track).items():
                frame = _frame(layer)
                pyogrio.write_dataframe(frame, own, layer=name, driver="GPKG", append=own.exists())
        except (DataSourceError, DataLayerError) as error:
            raise OutputError(f"cannot be written ({error})", file=path) from error
        own.replace(scratch)


def _frame(layer: Layer) -> GeoDataFrame:
    from geopandas import GeoDataFrame
    from shapely.geometry import LineString, MultiLineString, Point

    rows = [
        {key: xml_text(value) if isinstance(value, str) else value for key, value in row.items()}
        for row in layer.rows
    ]
    geometry = [
        MultiLineString(shape)
        if len(shape) > 1
        else LineString(shape[0])
        if len(shape[0]) > 1
        else Point(shape[0][0])
        for shape in layer.shapes
    ]
    frame = GeoDataFrame(rows, geometry=geometry, crs="EPSG:4326")
    # A column of nothing but None has no type, and would become text.
    return frame.astype({key: "float64" for key in frame if key.endswith("_m")})
