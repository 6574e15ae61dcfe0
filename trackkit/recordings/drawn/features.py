"""What somebody drew: points, lines and areas with fields, in layers."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import RecordingError
from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.recordings.points import short_name, to_wgs84
from trackkit.remedies import Remedy

Kind = Literal["point", "line", "area"]


@dataclass(frozen=True, eq=False)
class DrawnFeature:
    """A feature that somebody drew.

    Parameters
    ----------
    kind
        What it is; None where it has no geometry, or one that cannot be read.
    parts
        Positions of its parts, each of shape (n, 3): longitude, latitude (degrees; easting and
        northing before they are brought to WGS 84) and height, metres, NaN where there is none.  Of
        an area the first is the outer edge.
    fields
        By their names in the file.
    layer
        The layer it is in.
    number
        Its place in the layer, from 1.
    id
        What the format itself has as its id, or None.
    source
        The feature as GeoJSON has it, or None.
    """

    kind: Kind | None
    parts: tuple[Floats, ...]
    fields: Mapping[str, Any]
    layer: str
    number: int
    id: str | None = None
    source: Mapping[str, Any] | None = None

    @property
    def place(self) -> str:
        """Where it stands in its file, for sentences."""
        return f"layer {self.layer}, feature {self.number}"

    @property
    def members(self) -> dict[str, Any]:
        """What GeoJSON has in the feature besides its geometry and properties."""
        own = ("type", "id", "bbox", "geometry", "properties")
        return {name: value for name, value in (self.source or {}).items() if name not in own}


@dataclass(frozen=True, eq=False)
class Drawing:
    """All that somebody drew in a file or a folder.

    Parameters
    ----------
    features
        In the order of the file, in WGS 84.
    what
        What people call its format.
    name, notes
        Of the whole file, where its format has them.
    members
        Members of a GeoJSON document besides its features.
    remarks
        Sentences about what was assumed.
    """

    features: tuple[DrawnFeature, ...]
    what: str
    name: str | None = None
    notes: str | None = None
    members: Mapping[str, Any] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


def columns_of(x: Any, y: Any, z: Any = None) -> Floats:
    """Lay out positions, shape (n, 3), with NaN for heights that are not there."""
    height = np.full(len(x), np.nan) if z is None else np.asarray(z, dtype=float)
    return np.column_stack([np.asarray(x, dtype=float), np.asarray(y, dtype=float), height])


def parts_of_shape(shape: Any) -> tuple[Kind | None, tuple[Floats, ...]]:
    """Take the positions out of one of shapely's geometries; of a mixture its lines count."""
    import shapely

    if shape is None or shape.is_empty:
        return None, ()
    kind = shape.geom_type
    if kind in ("LineString", "LinearRing"):
        return "line", (_positions(shape),)
    if kind == "Polygon":
        return "area", (_positions(shape.exterior), *map(_positions, shape.interiors))
    if kind == "Point":
        return "point", (_positions(shape),)
    inner = [parts_of_shape(part) for part in shapely.get_parts(shape)]
    kinds: tuple[Kind, ...] = ("line", "area", "point")
    for wanted in kinds:
        parts = [part for part_kind, some in inner if part_kind == wanted for part in some]
        if parts:
            return wanted, tuple(parts)
    return None, ()


def _positions(shape: Any) -> Floats:
    import shapely

    return np.asarray(shapely.get_coordinates(shape, include_z=True), dtype=float)


def require_size(count: int, path: str | os.PathLike[str]) -> None:
    """Refuse a file of far more features than a track has.

    Raises
    ------
    RecordingError
        When it holds more than the budget of a track file.
    """
    require(
        "features",
        count,
        RecordingError,
        "holds",
        file=path,
        remedy="keep only those of the track in it",
    )


def in_wgs84(
    features: Iterable[DrawnFeature], crs: str | None, path: str | os.PathLike[str]
) -> tuple[tuple[DrawnFeature, ...], tuple[str, ...]]:
    """Bring features to WGS 84.

    Parameters
    ----------
    features
        All those that are in one coordinate system.
    crs
        The system, as PROJ takes it.
    path
        The file, for sentences.

    Returns
    -------
    features, remarks
        Longitudes of each part are continuous across the antimeridian.

    Raises
    ------
    PlaceError
        PROJ knows no such system, or no way from it to WGS 84.
    RecordingError
        A position is none.
    """
    every = tuple(features)
    parts = [part for feature in every for part in feature.parts]
    if not parts:
        return every, ()
    stacked = np.vstack(parts)
    _refuse_no_numbers(every, path)
    longitude, latitude, remarks = to_wgs84(stacked[:, 0], stacked[:, 1], crs, path)
    ends = np.cumsum([len(part) for part in parts])[:-1]
    moved = iter(
        np.split(np.column_stack([longitude, latitude, stacked[:, 2]]), ends),
    )
    result = []
    for feature in every:
        own = tuple(_continuous(next(moved)) for _ in feature.parts)
        _refuse_off_earth(own, feature, path)
        result.append(replace(feature, parts=own))
    return tuple(result), remarks


def _continuous(part: Floats) -> Floats:
    return np.column_stack([unwrap_longitude(part[:, 0]), part[:, 1:]])


def _refuse_no_numbers(features: Iterable[DrawnFeature], path: str | os.PathLike[str]) -> None:
    for feature in features:
        for part in feature.parts:
            if not np.isfinite(part[:, :2]).all():
                raise RecordingError(
                    "has a position that is no pair of numbers", file=path, place=feature.place
                )


def _refuse_off_earth(
    parts: Iterable[Floats], feature: DrawnFeature, path: str | os.PathLike[str]
) -> None:
    for part in parts:
        bad = (np.abs(part[:, 1]) > 90.0) | (np.abs(part[:, 0]) > 540.0)
        if bad.any():
            x, y = part[int(np.argmax(bad)), :2]
            raise RecordingError(
                f"{x:.10g}, {y:.10g} is no longitude and latitude",
                file=path,
                place=feature.place,
                remedy=Remedy("name the grid they are in", do="name grid"),
            )


def chosen_crs(
    own: str | None, given: str | None, what: str, path: str | os.PathLike[str]
) -> tuple[str, tuple[str, ...]]:
    """Choose between the coordinate system of a file and the one that a user names.

    Raises
    ------
    RecordingError
        When there is neither.
    PlaceError
        PROJ does not know the file's.
    """
    if given is not None:
        if own is None or short_name(own) == given.upper():
            return given, ()
        return given, (f"positions were taken in {given}, though the file says {short_name(own)}",)
    if own is None:
        raise RecordingError(
            f"is {what} that names no coordinate system",
            file=path,
            remedy=Remedy("name the one that its positions are in", do="name grid"),
        )
    return own, ()


def refuse_crs(given: str | None, what: str, path: str | os.PathLike[str]) -> None:
    """Refuse a grid for a format that is always in WGS 84.

    Raises
    ------
    RecordingError
        When one is given.
    """
    if given is not None:
        raise RecordingError(
            f"is {what}, which is always in WGS 84",
            file=path,
            remedy=Remedy("name no grid", do="leave out", value={"argument": "crs"}),
        )
