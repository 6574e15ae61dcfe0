"""Positions of points as geographic systems write them."""

from __future__ import annotations

import os
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import PlaceError, RecordingError
from trackkit.recordings.tables import PLACES

_POINT = 0
_WGS84 = ("OGC:CRS84", "EPSG:4326", "EPSG:4979")


def short_name(crs: str) -> str:
    """Name a coordinate system by its authority's code, where it has one.

    Raises
    ------
    PlaceError
        PROJ knows no such system.
    """
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        system = CRS.from_user_input(crs)
    except CRSError as error:
        raise PlaceError("is in a coordinate system that PROJ does not know") from error
    code = system.to_authority()
    return ":".join(code) if code else crs


def to_wgs84(
    x: Floats, y: Floats, crs: str | None, path: str | os.PathLike[str]
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Bring positions of a file to WGS 84.

    Parameters
    ----------
    x, y
        Longitude or easting, and latitude or northing.
    crs
        The system, as PROJ takes it; None where the file names none, which is taken as WGS 84.
    path
        The file, for sentences.

    Returns
    -------
    Longitudes, continuous across the antimeridian, latitudes, and sentences about the grid.

    Raises
    ------
    PlaceError
        PROJ knows no such system, or no way from it to WGS 84.
    """
    from trackkit.geometry.grids import grid_to_wgs84

    try:
        name = _WGS84[0] if crs is None else short_name(crs)
        if name in _WGS84 or not len(x):
            return x, y, ()
        there = np.isfinite(x) & np.isfinite(y)
        longitude, latitude = np.full(len(x), np.nan), np.full(len(x), np.nan)
        longitude[there], latitude[there], remarks = grid_to_wgs84(x[there], y[there], name)
    except PlaceError as error:
        raise PlaceError(error.what, file=path, remedy=error.remedy) from error
    return longitude, latitude, remarks


def positions_of_points(
    wkb: Any, crs: str | None, path: str | os.PathLike[str]
) -> tuple[dict[str, Floats], tuple[str, ...]]:
    """Read points written as WKB.

    Parameters
    ----------
    wkb
        Shape (n,), None where a feature has no geometry.
    crs
        As for `to_wgs84`.
    path
        The file, for sentences.

    Returns
    -------
    Longitudes, latitudes and heights by `trackkit.recordings.tables.PLACES`, NaN where there are
    none; and sentences about the grid.

    Raises
    ------
    RecordingError
        A geometry is no point.
    """
    import shapely
    from shapely.errors import ShapelyError

    try:
        shapes = shapely.from_wkb(wkb)
    except (ShapelyError, TypeError) as error:
        raise RecordingError("holds geometry that cannot be read", file=path) from error
    kind = shapely.get_type_id(shapes)
    other = np.flatnonzero((kind != _POINT) & (kind >= 0))
    if len(other):
        raise RecordingError(
            f"holds a {shapes[other[0]].geom_type}, where fixes are points",
            file=path,
            place=f"feature {other[0] + 1}",
        )
    if not np.any(kind == _POINT):
        raise RecordingError("holds no point that can be read", file=path)
    place = np.stack([shapely.get_x(shapes), shapely.get_y(shapes), shapely.get_z(shapes)])
    x, y, height = place
    longitude, latitude, remarks = to_wgs84(x, y, crs, path)
    columns = dict(zip(PLACES, (longitude, latitude, height), strict=True))
    if not np.isfinite(height).any():
        del columns["elevation"]
    return columns, remarks
