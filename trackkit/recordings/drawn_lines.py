"""Lines already drawn, for `build --from-line`: of GeoJSON, KML, GPX, GIS layers and drawings."""

from __future__ import annotations

import io
import os
import re
import reprlib
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import PlaceError, RecordingError
from trackkit.geometry.geodesy import polyline_length, unwrap_longitude
from trackkit.recordings.possible import HIGHEST_M, LOWEST_M, within
from trackkit.remedies import Remedy

if TYPE_CHECKING:
    from gpxpy.gpx import GPXRoutePoint, GPXTrackPoint


LISTED_LINES = 8
CLEARLY_LONGER = 10.0
"""A line this many times as long as every other one in the file is the track."""
_OF_LAYERS = ("gpkg", "fgb", "parquet")
_CENTRELINES = ("centreline", "centerline")
_CLOSE_DEG = 1e-9
_TOO_FEW = "its line has fewer than two different positions"


_SPACED_POSITION = re.compile(r"(?<!\S)([^\s,]+),\s+([^\s,]+)")
"""A longitude and a latitude with space between them."""


@dataclass(frozen=True, eq=False)
class DrawnLine:
    """A line somebody drew, without times.

    Parameters
    ----------
    longitude_deg, latitude_deg
        WGS 84 positions in the order drawn, degrees, shape (n,), n >= 2, no two neighbours the
        same; longitudes continuous across the antimeridian.  A ring repeats its first position at
        its end.
    elevation_m
        Heights, metres, shape (n,) with NaN where there is none, or None.
    name
        The line's name in the file, if it has one.
    remarks
        Sentences about what was assumed or left out.

    Examples
    --------
    >>> import trackkit
    >>> drawn = trackkit.DrawnLine([5.0, 5.004, 5.004], [24.0, 24.0, 24.003], name="sketch")
    >>> drawn.name, drawn.elevation_m is None
    ('sketch', True)
    """

    longitude_deg: Floats
    latitude_deg: Floats
    elevation_m: Floats | None = None
    name: str | None = None
    remarks: tuple[str, ...] = ()

    def __repr__(self) -> str:
        name = "" if self.name is None else f"{reprlib.repr(self.name)}, "
        return f"DrawnLine({name}{len(self.longitude_deg):,} positions)"


class _Line(NamedTuple):
    """A line as the file has it, in the file's coordinates."""

    name: str | None
    x: Floats
    y: Floats
    elevation_m: Floats
    has_times: bool = False


def read_line(path: str | os.PathLike[str], *, crs: str | None = None) -> DrawnLine:
    """Read the one line of a GeoJSON, KML, GPX, GeoPackage, Shapefile, FlatGeobuf or DXF file.

    GeoParquet, CSV with WKT, and folders and ZIP archives of such files, are read as well.

    Parameters
    ----------
    path
        The file; its format is recognised from what it holds, and gzip is unpacked.
    crs
        The grid the coordinates are in, such as "EPSG:25832"; not for GPX and KML, which are WGS 84
        by their standards.  None for what the file says, or WGS 84; DXF says nothing.

    Returns
    -------
    DrawnLine
        The line.  Neighbouring positions that are the same are made one.

    Raises
    ------
    RecordingError
        The file holds no line, or several (the sentence lists them), or positions that are not on
        earth.
    PlaceError
        `crs` is no grid that PROJ knows.

    Examples
    --------
    >>> import json
    >>> import pathlib
    >>> import trackkit
    >>> points = [[5.0, 24.0], [5.004, 24.0], [5.004, 24.003]]
    >>> drawn = {"type": "LineString", "coordinates": points}
    >>> _ = pathlib.Path("drawn.geojson").write_text(json.dumps(drawn))
    >>> trackkit.read_line("drawn.geojson").longitude_deg.tolist()
    [5.0, 5.004, 5.004]
    """
    from trackkit.recordings import detect
    from trackkit.recordings.drawn.read import is_drawing_only
    from trackkit.recordings.drawn.wkt import holds_shapes

    if is_drawing_only(path):
        return _of_drawing(path, crs)
    data, chosen = detect.recognised(path)
    kind = chosen.key
    if kind in _OF_LAYERS or (kind == "text" and holds_shapes(data)):
        return _of_drawing(path, crs)
    if kind not in _READERS:
        words = f"a recording, {chosen.name}" if chosen.is_for_recordings else chosen.name
        raise RecordingError(
            f"is {words}, not a drawn line",
            file=path,
            remedy=Remedy(
                "lines are read from GeoJSON, KML, GPX and GIS layers; read this as a recording",
                do="read as recording",
            ),
        )
    if crs is not None and kind != "json":
        raise RecordingError(
            f"is {chosen.name}, which is always in WGS 84",
            file=path,
            remedy=Remedy("name no grid", do="leave out", value={"argument": "crs"}),
        )
    lines = list(_READERS[kind](data, path))
    line = _the_only(lines, path, crs)
    x, y = line.x, line.y
    if len(x) < 2:
        raise RecordingError(_TOO_FEW, file=path)
    remarks: list[str] = []
    if crs is not None:
        from trackkit.geometry.grids import grid_to_wgs84

        try:
            x, y, from_grid = grid_to_wgs84(x, y, crs)
        except PlaceError as error:
            raise PlaceError(error.what, file=path, remedy=error.remedy) from error
        remarks.extend(from_grid)
    elif kind == "json":
        _refuse_grid(data, path, x, y)
    _refuse_bad(x, y, path)
    if line.has_times:
        remarks.append(
            "its times were not used, since it was read as a drawn line and not as a recording"
        )
    return _drawn(line, x, y, tuple(remarks), path)


def _of_drawing(path: str | os.PathLike[str], crs: str | None) -> DrawnLine:
    """Read the one line of layers or of a drawing; one called centreline goes before others."""
    from trackkit.recordings.drawn.read import read_drawing

    drawing = read_drawing(path, crs=crs)
    lines: list[tuple[str, _Line]] = []
    for feature in drawing.features:
        name = str(feature.fields.get("name") or feature.layer)
        parts = feature.parts[:1] if feature.kind == "area" else feature.parts
        if feature.kind == "area":
            _refuse_holes(len(feature.parts) - 1, name, path)
        pieces = [_Line(name, *part.T) for part in parts]
        if feature.kind != "point":
            lines += [(feature.layer, line) for line in _joined(pieces)]
    called = [line for layer, line in lines if layer.casefold() in _CENTRELINES]
    line = _the_only(called or [line for _, line in lines], path, None)
    if len(line.x) < 2:
        raise RecordingError(_TOO_FEW, file=path)
    return _drawn(line, line.x, line.y, drawing.remarks, path)


def _drawn(
    line: _Line, x: Floats, y: Floats, remarks: tuple[str, ...], path: str | os.PathLike[str]
) -> DrawnLine:
    longitude = unwrap_longitude(x)
    new = np.ones(len(longitude), dtype=bool)
    new[1:] = (np.diff(longitude) != 0) | (np.diff(y) != 0)
    if np.count_nonzero(new) < 2:
        raise RecordingError(_TOO_FEW, file=path)
    longitude, latitude = longitude[new], y[new]
    elevation = within(line.elevation_m[new], LOWEST_M, HIGHEST_M)
    require("vertices", len(longitude), RecordingError, "has a line of", file=path)
    length_m = polyline_length(longitude, latitude)
    require("length_m", length_m, RecordingError, "has a line of", file=path)
    return DrawnLine(
        longitude_deg=longitude,
        latitude_deg=latitude,
        elevation_m=elevation if np.any(np.isfinite(elevation)) else None,
        name=line.name,
        remarks=remarks,
    )


def _the_only(lines: list[_Line], path: str | os.PathLike[str], crs: str | None) -> _Line:
    if not lines:
        raise RecordingError("holds no line", file=path, remedy="draw the circuit as one line")
    if len(lines) == 1:
        return lines[0]
    lengths = sorted(_metres(line, crs) for line in lines)
    if lengths[-1] >= CLEARLY_LONGER * lengths[-2]:
        # Gates drawn beside a track are far shorter than the track.
        return max(lines, key=lambda line: _metres(line, crs))
    listed = "; ".join(
        f"{line.name or f'line {number}'}: {_length(line, crs)}"
        for number, line in enumerate(lines[:LISTED_LINES], start=1)
    )
    more = "; ..." if len(lines) > LISTED_LINES else ""
    raise RecordingError(
        f"holds {len(lines):,} lines and which one is the track is not clear ({listed}{more})",
        file=path,
        remedy="keep only the one wanted in the file",
    )


def _length(line: _Line, crs: str | None) -> str:
    return f"{_metres(line, crs):,.0f} {'m' if _on_earth(line, crs) else 'grid units'}"


def _metres(line: _Line, crs: str | None) -> float:
    """Length of a line, metres or, in a grid, its units; 0 beyond all numbers."""
    if _on_earth(line, crs):
        return polyline_length(line.x, line.y)
    with np.errstate(over="ignore", invalid="ignore"):
        length = float(np.hypot(np.diff(line.x), np.diff(line.y)).sum())
    return length if np.isfinite(length) else 0.0


def _on_earth(line: _Line, crs: str | None) -> bool:
    inside = np.all(np.abs(line.x) <= 180) and np.all(np.abs(line.y) <= 90)
    return crs is None and bool(inside)


def _refuse_bad(x: Floats, y: Floats, path: str | os.PathLike[str]) -> None:
    with np.errstate(invalid="ignore"):
        bad = ~((np.abs(y) <= 90.0) & (np.abs(x) <= 540.0))
    if np.any(bad):
        first = int(np.flatnonzero(bad)[0])
        raise RecordingError(
            f"{x[first]:.10g}, {y[first]:.10g} is no longitude and latitude",
            file=path,
            place=f"position {first + 1}",
        )


def _refuse_grid(data: bytes, path: str | os.PathLike[str], x: Floats, y: Floats) -> None:
    """Ask for the grid where a file is in one, by the old `crs` member or by its numbers."""
    from trackkit.recordings.detect import load_json

    declared = load_json(data, path).get("crs")
    properties = declared.get("properties") if isinstance(declared, dict) else None
    name = str(properties.get("name", "")) if isinstance(properties, dict) else ""
    code = name.rpartition(":")[2]
    if name and code not in ("CRS84", "4326"):
        raise RecordingError(
            f"says its coordinates are in {name}, not WGS 84",
            file=path,
            remedy=Remedy(
                "name the grid",
                do="name grid",
                value={"crs": f"EPSG:{code}"} if code.isdigit() else None,
            ),
        )
    if np.any(np.abs(x) > 540.0) or np.any(np.abs(y) > 90.0):
        raise RecordingError(
            f"its coordinates, such as {x[0]:.10g}, {y[0]:.10g}, are not degrees",
            file=path,
            remedy=Remedy("name the grid they are in", do="name grid"),
        )


def _gpx_lines(data: bytes, path: str | os.PathLike[str]) -> Iterator[_Line]:
    from trackkit.recordings.gpx import parse_gpx

    gpx = parse_gpx(data, path)
    parts: list[tuple[str | None, Sequence[GPXTrackPoint | GPXRoutePoint]]] = [
        (track.name, segment.points) for track in gpx.tracks for segment in track.segments
    ]
    parts.extend((route.name, route.points) for route in gpx.routes)
    for name, points in parts:
        if len(points) > 1:
            heights = [np.nan if p.elevation is None else p.elevation for p in points]
            yield _Line(
                name,
                np.array([p.longitude for p in points], dtype=float),
                np.array([p.latitude for p in points], dtype=float),
                np.array(heights, dtype=float),
                has_times=any(p.time is not None for p in points),
            )


def _kml_lines(data: bytes, path: str | os.PathLike[str]) -> Iterator[_Line]:
    """Read KML with GDAL, which is given only what `parse_xml` has accepted."""
    import pyogrio
    import shapely
    from lxml import etree
    from pyogrio.errors import DataLayerError, DataSourceError
    from pyogrio.raw import read
    from shapely.errors import ShapelyError

    from trackkit.recordings.raw import single_line
    from trackkit.recordings.xml import parse_xml

    root = parse_xml(data, path)
    for coordinates in root.iter("{*}coordinates"):
        # Space within a position is no KML (OGC 12-007r2, from memory), but is written; some
        # versions of GDAL, 3.8.5 among them, then take the latitude for 0.
        coordinates.text = _SPACED_POSITION.sub(r"\1,\2", coordinates.text or "")
    safe = etree.tostring(root, encoding="utf-8", xml_declaration=True)
    try:
        # By number: a document without a name is named after a passing file of GDAL's.
        for layer in range(len(pyogrio.list_layers(io.BytesIO(safe)))):
            with warnings.catch_warnings():
                # Of fields that nobody asks for here.
                warnings.simplefilter("ignore")
                meta, _, geometry, columns = read(io.BytesIO(safe), layer=layer, columns=["Name"])
            names = columns[0] if "Name" in list(meta["fields"]) else [None] * len(geometry)
            # Coordinates that are no numbers are refused later, with their place.
            with np.errstate(invalid="ignore"):
                shapes = shapely.from_wkb(geometry)
            for name, shape in zip(names, shapes, strict=True):
                yield from _shape_lines(str(name) if name else None, shape, path)
    except (DataSourceError, DataLayerError, ShapelyError) as error:
        # GDAL hands on rings of too few positions in a form that GEOS does not read.
        raise RecordingError(f"its KML cannot be read ({single_line(error)})", file=path) from error


def _shape_lines(name: str | None, shape: Any, path: str | os.PathLike[str]) -> Iterator[_Line]:
    import shapely

    if shape is None or shape.is_empty:
        return
    kind = shape.geom_type
    if kind in ("LineString", "LinearRing"):
        x, y, z = shapely.get_coordinates(shape, include_z=True).T
        yield _Line(name, x, y, z)
    elif kind == "Polygon":
        _refuse_holes(len(shape.interiors), name, path)
        yield from _shape_lines(name, shape.exterior, path)
    elif kind in ("MultiLineString", "MultiPolygon", "GeometryCollection"):
        yield from _joined([part for g in shape.geoms for part in _shape_lines(name, g, path)])


def _geojson_lines(data: bytes, path: str | os.PathLike[str]) -> Iterator[_Line]:
    from trackkit.recordings.detect import is_track_file, load_json
    from trackkit.recordings.geojson import features

    document = load_json(data, path)
    if is_track_file(document):
        raise RecordingError(
            "is a track file already, not a drawn line", file=path, remedy="use it as TRACK"
        )
    for feature in features(document, path):
        geometry, properties = feature["geometry"], feature["properties"]
        kind, coordinates = geometry.get("type"), geometry["coordinates"]
        label = properties.get("name") or feature.get("id")
        name = str(label) if label else None
        timed = "coordTimes" in properties
        if kind == "LineString":
            yield _positions_line(name, coordinates, timed)
        elif kind == "MultiLineString":
            yield from _joined([_positions_line(name, part, timed) for part in coordinates])
        elif kind in ("Polygon", "MultiPolygon"):
            for rings in [coordinates] if kind == "Polygon" else coordinates:
                edges = rings if isinstance(rings, list) else []
                _refuse_holes(len(edges) - 1, name, path)
                yield _positions_line(name, edges[0] if edges else [], timed)


def _positions_line(name: str | None, positions: Any, has_times: bool) -> _Line:
    from trackkit.recordings.geojson import position_columns

    x, y, z = position_columns(positions if isinstance(positions, list) else [])
    return _Line(name, x, y, z, has_times)


def _refuse_holes(holes: int, name: str | None, path: str | os.PathLike[str]) -> None:
    if holes > 0:
        raise RecordingError(
            "its area has an inner edge as well, and neither edge is the line cars drive",
            file=path,
            place=name,
            remedy="draw the centreline as one line",
        )


def _joined(parts: list[_Line]) -> list[_Line]:
    """Join parts that go on where the one before ends, as lines cut at the antimeridian do."""
    joined: list[_Line] = []
    for part in parts:
        if joined and len(part.x) and len(joined[-1].x) and _goes_on(joined[-1], part):
            before = joined.pop()
            joined.append(
                _Line(
                    before.name,
                    np.concatenate([before.x, part.x]),
                    np.concatenate([before.y, part.y]),
                    np.concatenate([before.elevation_m, part.elevation_m]),
                    before.has_times or part.has_times,
                )
            )
        else:
            joined.append(part)
    return joined


def _goes_on(before: _Line, after: _Line) -> bool:
    across = abs(before.x[-1] - after.x[0])
    same_x = min(across, abs(across - 360.0)) <= _CLOSE_DEG
    return bool(same_x and abs(before.y[-1] - after.y[0]) <= _CLOSE_DEG)


_READERS = {"gpx": _gpx_lines, "kml": _kml_lines, "json": _geojson_lines}
