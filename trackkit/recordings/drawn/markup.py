"""KML and GPX: features in folders, or in tracks, routes and waypoints; always in WGS 84."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import RecordingError
from trackkit.recordings.drawn.features import (
    Drawing,
    DrawnFeature,
    Kind,
    columns_of,
    in_wgs84,
    require_size,
)
from trackkit.recordings.xml import local_name, parse_xml

_WGS84 = "OGC:CRS84"
_SPACE_AFTER_COMMA = re.compile(r",\s+")
_SHAPES: Mapping[str, Kind] = {
    "Point": "point",
    "LineString": "line",
    "LinearRing": "line",
    "Polygon": "area",
}
_KIND_OF_GATE = re.compile(r"(finish|start|sector|speed|pit-entry|pit-exit) gate\b")
"""How descriptions begin that trackkit gives routes of gates."""


def read_kml_features(data: bytes, path: str | os.PathLike[str]) -> Drawing:
    """Read the placemarks of KML 2.2 (OGC 07-147r2), each in the folder that is nearest to it.

    Fields are its name, its description, and its extended data, typed or not.

    Raises
    ------
    RecordingError
        The document is broken, or a position is none.
    """
    root = parse_xml(data, path)
    placemarks = list(root.iter("{*}Placemark"))
    require_size(len(placemarks), path)
    count: dict[str, int] = {}
    rows = []
    for placemark in placemarks:
        layer = _folder(placemark) or Path(path).stem
        count[layer] = count.get(layer, 0) + 1
        rows.append(_placemark(placemark, layer, count[layer], path))
    moved, _ = in_wgs84(rows, _WGS84, path)
    document = next(root.iter("{*}Document"), None)
    return Drawing(moved, "KML", name=None if document is None else _child_text(document, "name"))


def _folder(placemark: Any) -> str | None:
    for holder in placemark.iterancestors("{*}Folder", "{*}Document"):
        name = _child_text(holder, "name")
        if name:
            return name
    return None


def _child_text(element: Any, name: str) -> str | None:
    child = element.find(f"{{*}}{name}")
    return None if child is None else (child.text or "").strip() or None


def _placemark(
    placemark: Any, layer: str, number: int, path: str | os.PathLike[str]
) -> DrawnFeature:
    fields: dict[str, Any] = {}
    for name in ("name", "description"):
        text = _child_text(placemark, name)
        if text is not None:
            fields[name] = text
    for data in placemark.iter("{*}Data"):
        value = _child_text(data, "value")
        if data.get("name"):
            fields[data.get("name")] = value
    for data in placemark.iter("{*}SimpleData"):
        if data.get("name"):
            fields[data.get("name")] = (data.text or "").strip() or None
    shapes = list(_shapes(placemark))
    kind: Kind | None = None
    parts: tuple[Floats, ...] = ()
    for wanted in ("line", "area", "point"):
        parts = tuple(
            _coordinates(element, f"layer {layer}, feature {number}", path)
            for shape, element in shapes
            if shape == wanted
        )
        if parts:
            kind = wanted  # type: ignore[assignment]
            break
    return DrawnFeature(kind, parts, fields, layer, number)


def _shapes(placemark: Any) -> Iterator[tuple[Kind, Any]]:
    for element in placemark.iter(*(f"{{*}}{name}" for name in _SHAPES)):
        name = local_name(element)
        if name == "LinearRing" and element.getparent() is not placemark:
            holder = local_name(element.getparent())
            if holder in ("outerBoundaryIs", "innerBoundaryIs"):
                continue
        if name == "Polygon":
            # The outer edge comes first (OGC 07-147r2, section 10.8; from memory).
            for ring in element.iter("{*}LinearRing"):
                yield "area", ring
        else:
            yield _SHAPES[name], element


def _coordinates(element: Any, place: str, path: str | os.PathLike[str]) -> Floats:
    text = _child_text(element, "coordinates") or ""
    rows = []
    for word in _SPACE_AFTER_COMMA.sub(",", text).split():
        cells = word.split(",")
        try:
            numbers = [float(cell) for cell in cells[:3] if cell]
        except ValueError:
            numbers = []
        if len(numbers) < 2:
            raise RecordingError(
                f"has the position {word[:40]!r}, which is no longitude and latitude",
                file=path,
                place=place,
                remedy="save it again, as longitude,latitude[,height]",
            )
        rows.append((*numbers, np.nan)[:3])
    if not rows:
        raise RecordingError("has a geometry without positions", file=path, place=place)
    return np.array(rows, dtype=float)


def read_gpx_features(data: bytes, path: str | os.PathLike[str]) -> Drawing:
    """Read tracks, routes and waypoints of GPX, as trackkit writes a track or anybody else.

    Raises
    ------
    RecordingError
        The document is broken, or a position is none.
    """
    from trackkit.recordings.gpx import parse_gpx

    gpx = parse_gpx(data, path)
    require_size(len(gpx.tracks) + len(gpx.routes) + len(gpx.waypoints), path)
    rows = []
    for number, track in enumerate(gpx.tracks, start=1):
        parts = tuple(_points(segment.points) for segment in track.segments if segment.points)
        fields = {"name": track.name, "id": track.comment, "role": track.type}
        rows.append(DrawnFeature("line", parts, fields, "tracks", number))
    for number, route in enumerate(gpx.routes, start=1):
        kind = _KIND_OF_GATE.match(route.description or "")
        fields = {
            "name": route.name,
            "id": route.comment,
            "role": route.type,
            "kind": kind[1] if kind else None,
        }
        parts = (_points(route.points),) if route.points else ()
        rows.append(DrawnFeature("line", parts, fields, "routes", number))
    for number, point in enumerate(gpx.waypoints, start=1):
        if (point.type or "").endswith(" gate"):
            # The middle of a gate, which its route has too.
            continue
        fields = {"name": point.name, "id": point.comment, "role": point.type}
        parts = (_points([point]),)
        rows.append(DrawnFeature("point", parts, fields, "waypoints", number))
    moved, _ = in_wgs84(rows, _WGS84, path)
    return Drawing(moved, "GPX", name=gpx.name or None, notes=gpx.description or None)


def _points(points: Sequence[Any]) -> Floats:
    heights = [np.nan if point.elevation is None else point.elevation for point in points]
    return columns_of(
        [point.longitude for point in points], [point.latitude for point in points], heights
    )
