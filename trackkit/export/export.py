"""Tracks written in other open formats."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import OutputError
from trackkit.files import spreadsheet_text, whole_file, write_whole
from trackkit.geometry.antimeridian import cut_line
from trackkit.geometry.geodesy import WGS84, wrap_longitude
from trackkit.recordings.write import gpx_longitude
from trackkit.recordings.xml import xml_text
from trackkit.track.file import write_track
from trackkit.track.model import Gate, Position, Track

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from gpxpy.gpx import GPXTrack


ExportFormat = Literal["geojson", "gpx", "kml", "gpkg", "csv"]
EXPORT_FORMATS: tuple[ExportFormat, ...] = get_args(ExportFormat)

_DECIMALS = 9
_KML = "http://www.opengis.net/kml/2.2"

Shape = list[Floats]
"""Positions of a point or line, or of the parts of a line cut at the antimeridian."""


def export_track(
    track: Track, path: str | os.PathLike[str], fmt: str, *, force: bool = False
) -> None:
    """Write a track in an open format, whole or not at all.

    ``geojson`` is the track file itself.  ``gpx`` (GPX 1.1) has the centreline and pit lanes as
    tracks, each gate as a route from its left to its right end and as a waypoint at its middle,
    each corner as a waypoint.  ``kml`` and ``gpkg`` (GeoPackage) have the layers centreline,
    gates, corners and pit_lane, as far as the track has any, with their properties as fields.
    ``csv`` has one row a gate.

    Longitudes are always within [-180, 180] degrees.  Across the antimeridian a GPX track is cut
    into two segments, and a KML or GeoPackage line into the two parts of a multi-line; a
    GPX route and a CSV row keep both ends as they are, one on each side.

    Parameters
    ----------
    track
        What to write.
    path
        The file.
    fmt
        One of `EXPORT_FORMATS`.
    force
        Whether a file that exists may be replaced.

    Raises
    ------
    OutputError
        When the format is unknown, the file exists and `force` is false, or cannot be written.
    """
    if fmt == "geojson":
        write_track(track, path, force=force)
    elif fmt == "gpx":
        write_whole(path, _gpx(track), force=force)
    elif fmt == "csv":
        write_whole(path, _gates_csv(track), force=force)
    elif fmt == "kml":
        write_whole(path, _kml(track), force=force)
    elif fmt == "gpkg":
        _write_geopackage(track, path, force=force)
    else:
        raise OutputError(
            f"no format is called {fmt!r}", remedy=f"use one of {', '.join(EXPORT_FORMATS)}"
        )


def gate_middle(gate: Gate) -> Position:
    """Find the middle of a gate on the ellipsoid, (longitude, latitude), degrees."""
    azimuth, _, width = WGS84.inv(*gate.left, *gate.right)
    longitude, latitude, _ = WGS84.fwd(*gate.left, azimuth, 0.5 * width)
    return float(longitude), float(latitude)


def gate_bearing_deg(gate: Gate) -> float:
    """Find the true bearing in which a gate is crossed, degrees clockwise from north.

    It is square to the gate, at its middle: a quarter turn left of the way from the left to the
    right end.
    """
    azimuth, _, _ = WGS84.inv(*gate_middle(gate), *gate.right)
    return float((azimuth - 90.0) % 360.0)


def _gates_csv(track: Track) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        [
            "id", "kind", "order", "name", "chainage_m",
            "left_longitude_deg", "left_latitude_deg",
            "right_longitude_deg", "right_latitude_deg",
            "middle_longitude_deg", "middle_latitude_deg",
            "bearing_deg", "width_m",
        ]
    )  # fmt: skip
    for gate in track.gates:
        places = (gate.left, gate.right, gate_middle(gate))
        writer.writerow(
            [
                spreadsheet_text(xml_text(gate.id)),
                gate.kind,
                gate.order,
                spreadsheet_text(xml_text(gate.name)),
                f"{gate.chainage_m:.2f}",
                *(f"{value:.{_DECIMALS}f}" for place in places for value in _wrapped(place)),
                f"{round(gate_bearing_deg(gate), 2) % 360.0:.2f}",
                f"{gate.width_m:.3f}",
            ]
        )
    return text.getvalue()


def _wrapped(place: Position) -> Position:
    return float(wrap_longitude(place[0])), place[1]


def _summary(gate: Gate) -> str:
    return (
        f"{gate.kind} gate at {gate.chainage_m:.1f} m, {gate.width_m:.1f} m wide, "
        f"crossed on a bearing of {gate_bearing_deg(gate):.1f} degrees"
    )


def _gpx(track: Track) -> str:
    from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXWaypoint

    gpx = GPX()
    gpx.creator = "trackkit"
    gpx.name = xml_text(_title(track))
    gpx.description = xml_text(track.notes) or None
    gpx.tracks.append(_gpx_track(_title(track), "centreline", _line_of(track)))
    for pit_lane in track.pit_lanes:
        line = np.column_stack([pit_lane.longitude_deg, pit_lane.latitude_deg])
        gpx.tracks.append(_gpx_track(pit_lane.id, "pit-lane", line))
    for gate in track.gates:
        name = xml_text(gate.name or gate.id)
        route = GPXRoute(name=name, description=_summary(gate))
        route.type = "gate"
        for end, place in (("left", gate.left), ("right", gate.right)):
            longitude, latitude = _gpx_place(place)
            route.points.append(GPXRoutePoint(latitude, longitude, name=f"{name}, {end} end"))
        gpx.routes.append(route)
        longitude, latitude = _gpx_place(gate_middle(gate))
        gpx.waypoints.append(
            GPXWaypoint(
                latitude, longitude, name=name, description=_summary(gate), type=f"{gate.kind} gate"
            )
        )
    for corner in track.corners:
        longitude, latitude = _gpx_place(corner.apex)
        gpx.waypoints.append(
            GPXWaypoint(
                latitude,
                longitude,
                name=xml_text(corner.name or f"Corner {corner.number}"),
                description=f"corner {corner.number}, {corner.turn}, at {corner.apex_m:.1f} m, "
                f"smallest radius {corner.min_radius_m:.1f} m",
                type="corner",
            )
        )
    return str(gpx.to_xml(version="1.1"))


def _title(track: Track) -> str:
    return f"{track.name}, {track.layout}" if track.layout else track.name


def _gpx_place(place: Position) -> Position:
    longitude = float(gpx_longitude(np.array([place[0]]))[0])
    return longitude, round(place[1], _DECIMALS)


def _gpx_track(name: str, kind: str, line: Floats) -> GPXTrack:
    from gpxpy.gpx import GPXTrack, GPXTrackPoint, GPXTrackSegment

    track = GPXTrack(name=xml_text(name))
    # gpxpy's own annotation says that this is always None.
    track.type = kind  # type: ignore[assignment]
    for part in cut_line(line):
        # GPX has no longitude of 180: a part that ends there stops a tenth of a millimetre short.
        rounded = np.round(part, _DECIMALS)
        rounded[:, 0] = np.clip(rounded[:, 0], -180.0, 180.0 - 10.0**-_DECIMALS)
        points = [
            GPXTrackPoint(latitude, longitude, elevation=round(height[0], 3) if height else None)
            for longitude, latitude, *height in rounded.tolist()
        ]
        track.segments.append(GPXTrackSegment(points))
    return track


def _line_of(track: Track) -> Floats:
    line = track.centreline
    columns = [line.longitude_deg, line.latitude_deg]
    if line.height_m is not None:
        columns.append(line.height_m)
    return np.column_stack(columns)


def _write_geopackage(track: Track, path: str | os.PathLike[str], *, force: bool) -> None:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    with whole_file(path, force=force) as scratch:
        # GDAL goes by the suffix, whatever name the user chose.
        own = scratch.with_name("layers.gpkg")
        try:
            for name, (rows, shapes) in _layers(track).items():
                frame = _frame(rows, shapes)
                pyogrio.write_dataframe(frame, own, layer=name, driver="GPKG", append=own.exists())
        except (DataSourceError, DataLayerError) as error:
            raise OutputError(f"cannot be written ({error})", file=path) from error
        own.replace(scratch)


def _kml(track: Track) -> bytes:
    """Write KML 2.2: a folder a layer, names as names, all other fields as typed data.

    Not by GDAL: of its two drivers, older builds of pyogrio have only the one that keeps one
    layer a file, and mix up its fields.
    """
    from lxml import etree
    from lxml.builder import ElementMaker

    make = ElementMaker(namespace=_KML, nsmap={None: _KML})
    schemas, folders = [], []
    for layer, (rows, shapes) in _layers(track).items():
        types: dict[str, str] = {}
        folder = make.Folder(make.name(layer))
        for row, shape in zip(rows, shapes, strict=True):
            known = {key: value for key, value in row.items() if value is not None}
            name = known.pop("name")
            data = []
            for key, value in known.items():
                types[key], text = _kml_field(key, value)
                data.append(make.SimpleData(text, name=key))
            folder.append(
                make.Placemark(
                    make.name(xml_text(name)),
                    make.ExtendedData(make.SchemaData(*data, schemaUrl=f"#{layer}")),
                    _kml_geometry(make, shape),
                )
            )
        fields = [make.SimpleField(name=key, type=kind) for key, kind in types.items()]
        schemas.append(make.Schema(*fields, name=layer, id=layer))
        folders.append(folder)
    document = make.kml(make.Document(make.name(xml_text(_title(track))), *schemas, *folders))
    data_bytes: bytes = etree.tostring(
        document, xml_declaration=True, encoding="UTF-8", pretty_print=True
    )
    return data_bytes


def _kml_field(key: str, value: Any) -> tuple[str, str]:
    if isinstance(value, str):
        return "string", xml_text(value)
    if isinstance(value, bool):
        return "bool", str(int(value))
    if key in ("order", "number"):
        return "int", str(int(value))
    return "double", repr(float(value))


def _kml_geometry(make: Any, shape: Shape) -> Any:
    if len(shape) > 1:
        return make.MultiGeometry(*(_kml_geometry(make, [part]) for part in shape))
    coordinates = " ".join(",".join(repr(value) for value in row) for row in shape[0].tolist())
    kind = make.LineString if len(shape[0]) > 1 else make.Point
    return kind(make.coordinates(coordinates))


def _layers(track: Track) -> dict[str, tuple[Sequence[Mapping[str, Any]], Sequence[Shape]]]:
    """Lay a track out as tables, one a kind of feature; kinds it has none of are left out."""
    line = track.centreline
    # The schema's own names, but for `id`, which GDAL and KML take for themselves.
    centreline = {
        "feature_id": "centreline",
        "track_id": track.id,
        "name": track.name,
        "layout": track.layout,
        "closed": track.closed,
        "direction": track.direction,
        "length_m": track.length_m,
        "length_surface_m": track.length_surface_m,
        "width_m": line.width_m,
        "line": track.line,
        "accuracy_m": track.accuracy_m,
        "country": track.country,
        "timezone": track.timezone,
        "licence": track.licence,
        "revised": track.revised,
        "notes": track.notes,
        **_others(line.properties),
    }
    gates = [
        {
            "feature_id": gate.id,
            "kind": gate.kind,
            "order": gate.order,
            "name": gate.name,
            "chainage_m": gate.chainage_m,
            "width_m": gate.width_m,
            "bearing_deg": gate_bearing_deg(gate),
            "surveyed": gate.surveyed,
            **_others(gate.properties),
        }
        for gate in track.gates
    ]
    corners = [
        {
            "feature_id": corner.id or f"corner-{corner.number}",
            "number": corner.number,
            "name": corner.name,
            "turn": corner.turn,
            "entry_m": corner.entry_m,
            "apex_m": corner.apex_m,
            "exit_m": corner.exit_m,
            "min_radius_m": corner.min_radius_m,
            **_others(corner.properties),
        }
        for corner in track.corners
    ]
    pit_lanes = [
        {"feature_id": lane.id, "name": lane.id, **_others(lane.properties)}
        for lane in track.pit_lanes
    ]
    tables: dict[str, tuple[Sequence[Mapping[str, Any]], Sequence[Shape]]] = {
        "centreline": ([centreline], [_shape(_line_of(track))]),
        "gates": (gates, [_shape(np.array([g.left, g.right])) for g in track.gates]),
        "corners": (corners, [_shape(np.array([corner.apex])) for corner in track.corners]),
        "pit_lane": (
            pit_lanes,
            [
                _shape(np.column_stack([lane.longitude_deg, lane.latitude_deg]))
                for lane in track.pit_lanes
            ],
        ),
    }
    return {name: (rows, shapes) for name, (rows, shapes) in tables.items() if rows}


def _others(properties: Mapping[str, Any]) -> dict[str, str]:
    """Keep properties trackkit does not know, together in one field of JSON."""
    return {"other": json.dumps(dict(properties), ensure_ascii=False)} if properties else {}


def _shape(line: Floats) -> Shape:
    return [np.round(part, _DECIMALS) for part in cut_line(line)]


def _frame(rows: Sequence[Mapping[str, Any]], shapes: Sequence[Shape]) -> GeoDataFrame:
    from geopandas import GeoDataFrame
    from shapely.geometry import LineString, MultiLineString, Point

    cleaned = [
        {key: xml_text(value) if isinstance(value, str) else value for key, value in row.items()}
        for row in rows
    ]
    geometry = [
        MultiLineString(shape)
        if len(shape) > 1
        else LineString(shape[0])
        if len(shape[0]) > 1
        else Point(shape[0][0])
        for shape in shapes
    ]
    frame = GeoDataFrame(cleaned, geometry=geometry, crs="EPSG:4326")
    # A column of nothing but None has no type, and would become text.
    return frame.astype({key: "float64" for key in frame if key.endswith("_m")})
