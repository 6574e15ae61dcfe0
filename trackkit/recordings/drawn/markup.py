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
_SPDX = re.compile(r"https?://spdx\.org/licenses/([A-Za-z0-9.+-]+?)(?:\.html)?")
_LAYERS_OF_GPX = {"trk": "tracks", "rte": "routes", "wpt": "waypoints"}
_KIND_OF_GATE = re.compile(r"(finish|start|sector|speed|pit-entry|pit-exit) gate\b")
_CORNER = re.compile(
    r"corner (?P<number>\d+), (?P<turn>left|right)\b"
    r"(?:, from (?P<entry_m>[\d.]+) m to (?P<exit_m>[\d.]+) m, apex at (?P<apex_m>[\d.]+) m, "
    r"smallest radius (?P<min_radius_m>[\d.]+) m)?"
)
"""How descriptions begin that trackkit gives routes of gates, and waypoints of corners."""


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
    kinds: tuple[Kind, ...] = ("line", "area", "point")
    for wanted in kinds:
        parts = tuple(
            _coordinates(element, f"layer {layer}, feature {number}", path)
            for shape, element in shapes
            if shape == wanted
        )
        if parts:
            kind = wanted
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
    """Read tracks, routes and waypoints of GPX 1.1, as trackkit writes a track or anybody else.

    Raises
    ------
    RecordingError
        The document is broken, or a position is none.
    """
    root = parse_xml(data, path)
    about = root.find("{*}metadata")
    about = root if about is None else about
    rights = _rights(about)
    elements = [element for element in root if local_name(element) in _LAYERS_OF_GPX]
    require_size(len(elements), path)
    count: dict[str, int] = {}
    rows = []
    for element in elements:
        name = local_name(element)
        layer = _LAYERS_OF_GPX[name]
        count[layer] = count.get(layer, 0) + 1
        stated = _child_text(element, "type")
        if name == "wpt" and (stated or "").endswith(" gate"):
            # The middle of a gate, which its route has too.
            continue
        described = _child_text(element, "desc") or ""
        kind, corner = _KIND_OF_GATE.match(described), _CORNER.match(described)
        fields = {
            "name": _child_text(element, "name"),
            "id": _child_text(element, "cmt"),
            "role": stated,
            "kind": kind[1] if kind else None,
            **(corner.groupdict() if corner else {}),
            **(rights if name == "trk" else {}),
        }
        place = f"layer {layer}, feature {count[layer]}"
        points = [[element]] if name == "wpt" else _point_lists(element, name)
        parts = tuple(_gpx_points(some, place, path) for some in points if some)
        shape: Kind = "point" if name == "wpt" else "line"
        rows.append(DrawnFeature(shape if parts else None, parts, fields, layer, count[layer]))
    moved, _ = in_wgs84(rows, _WGS84, path)
    return Drawing(moved, "GPX", name=_child_text(about, "name"), notes=_child_text(about, "desc"))


def _rights(about: Any) -> dict[str, str]:
    """Read who holds the rights in a GPX file, and its licence."""
    held = about.find("{*}copyright")
    author = None if held is None else (held.get("author") or "").strip()
    if not author:
        return {}
    licence = (_child_text(held, "license") or "").strip()
    # The short name that addresses of the SPDX list end with.
    short = _SPDX.fullmatch(licence)
    return {"credit": author, **({"licence": short[1] if short else licence} if licence else {})}


def _point_lists(element: Any, name: str) -> list[list[Any]]:
    if name == "rte":
        return [element.findall("{*}rtept")]
    return [segment.findall("{*}trkpt") for segment in element.findall("{*}trkseg")]


def _gpx_points(points: Sequence[Any], place: str, path: str | os.PathLike[str]) -> Floats:
    rows = []
    for point in points:
        texts = point.get("lon"), point.get("lat"), _child_text(point, "ele") or "nan"
        try:
            rows.append([float(text or "") for text in texts])
        except ValueError as error:
            raise RecordingError(
                f"has a point at {texts[1]!r}, {texts[0]!r}, which is no latitude and longitude",
                file=path,
                place=place,
                remedy="export it again",
            ) from error
    return np.array(rows, dtype=float)
