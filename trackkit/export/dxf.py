"""A track as a drawing for surveyors: DXF, in a grid, by ezdxf."""

from __future__ import annotations

import io
import math
from importlib import import_module
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import OutputError, PlaceError
from trackkit.export.features import line_of, pit_line_of, title
from trackkit.geometry.geodesy import unwrap_longitude, wrap_longitude
from trackkit.geometry.grids import Grid, horizontal_crs
from trackkit.recordings.xml import xml_text
from trackkit.track.band import band_sides
from trackkit.track.credit import credits_of
from trackkit.track.features import Position
from trackkit.track.model import Track

if TYPE_CHECKING:
    from pyproj import CRS

# Numbers of the AutoCAD Color Index, 7 being black on white paper and white on a black screen.
LAYERS = {
    "centreline": 5,
    "edge-left": 7,
    "edge-right": 7,
    "gates": 1,
    "pit-lane": 4,
    "corners": 3,
}
"""Layers by name, and their colours."""
_FORMAT = "R2010"
_TEXT_M = 2.0
_EDGE_STEP_M = 0.5
_EDGE_CHORD_ERROR_M = 0.005
_FOLD_M = 0.01
"""A place of an edge that is nearer to the line than its width by more than this is folded over."""
_LONGEST_STEP_M = 1e6
_UNIT_CODES = {"metre": 6, "foot": 2, "US survey foot": 21}
"""Of the header variable $INSUNITS (DXF reference; from memory)."""
_TO_TELL = 5e-5
"""A difference of lengths on the grid and on the ground that is worth a sentence: 5 cm a km."""


class Drawing(NamedTuple):
    """A DXF file as text, and what there is to say of it."""

    text: str
    remarks: tuple[str, ...]


def dxf_drawing(track: Track, crs: str | None = None) -> Drawing:
    """Draw a track in a grid.

    Layers are centreline, edge-left, edge-right, gates, pit-lane and corners, as far as the track
    has any.  Lines are polylines, the centreline a three-dimensional one where heights are known;
    a gate is a line from its left to its right end with its name beside it.  The coordinate system
    is named in the header (custom property CRS).

    Parameters
    ----------
    track
        What to draw.
    crs
        A grid, as PROJ understands it; the zone of UTM on WGS 84 that the track lies in when None.

    Raises
    ------
    OutputError
        When ezdxf is not installed.
    PlaceError
        When the system is no grid, cannot hold the track, or tears it apart.
    """
    ezdxf = _ezdxf()
    name = crs or utm_zone(track)
    _check_is_grid(name)
    line = track.centreline
    grid = Grid.around(name, line.longitude_deg, line.latitude_deg)
    unit_m = _unit_m(grid.crs)
    document = ezdxf.new(_FORMAT)
    unit = grid.crs.axis_info[0].unit_name
    document.header["$INSUNITS"] = _UNIT_CODES.get(unit, 0)
    properties = [("Track", title(track)), ("CRS", f"{name} ({grid.crs.name})")]
    if track.licence:
        properties.append(("Licence", track.licence))
    for key, value in [*properties, *(("Credit", text) for text in credits_of(track))]:
        document.header.custom_vars.append(key, " ".join(xml_text(value).split()))
    for layer, colour in LAYERS.items():
        document.layers.add(layer, color=colour)
    space = document.modelspace()

    def laid(places: Floats) -> Floats:
        return _laid(grid, places, unit_m)

    def write(text: str, at: Floats, layer: str) -> None:
        words = " ".join(xml_text(text).split())
        added = space.add_text(words, height=_TEXT_M / unit_m, dxfattribs={"layer": layer})
        added.set_placement(tuple(at[:2]))

    _add_line(space, laid(line_of(track)), "centreline", closed=track.closed)
    remarks = _remarks(track, grid, crs)
    sides = edges_of(track)
    for side, places in zip(("edge-left", "edge-right"), sides or (), strict=False):
        _add_line(space, laid(places), side, closed=track.closed)
    if sides is None:
        remarks.append("edges are left out: the track file does not say how wide the track is")
    for gate in track.gates:
        ends = laid(_places([gate.left, gate.right]))
        space.add_line(tuple(ends[0]), tuple(ends[1]), dxfattribs={"layer": "gates"})
        write(gate.name or gate.id, ends[1], "gates")
    for pit_lane in track.pit_lanes:
        _add_line(space, laid(pit_line_of(pit_lane)), "pit-lane", closed=False)
    for corner in track.corners:
        (apex,) = laid(_places([corner.apex]))
        space.add_point(tuple(apex), dxfattribs={"layer": "corners"})
        write(corner.name or f"Corner {corner.number}", apex, "corners")
    text = io.StringIO()
    document.write(text)
    return Drawing(text.getvalue(), tuple(remarks))


def utm_zone(track: Track) -> str:
    """Name the zone of UTM on WGS 84 that most of a track lies in, without its exceptions."""
    line = track.centreline
    middle = 0.5 * (float(line.longitude_deg.min()) + float(line.longitude_deg.max()))
    zone = min(int((float(wrap_longitude(middle)) + 180.0) // 6.0) + 1, 60)
    north = float(np.mean(line.latitude_deg)) >= 0.0
    return f"EPSG:{(32600 if north else 32700) + zone}"


def edges_of(track: Track) -> tuple[Floats, Floats] | None:
    """Lay out the left and the right edge: longitude and latitude, shape (n, 2) each.

    They are as far from the centreline as the track file says; None where it says nothing.  Inside
    of bends that are tighter than the track is wide, what would fold over is left out.
    """
    line = track.centreline
    if line.width_m is None and not line.width_profile:
        return None
    import shapely

    curve = track.curve
    chainage = curve.chainages(_EDGE_STEP_M)
    middle, left = curve.position(chainage), curve.left(chainage)
    edges = []
    for side, reach in zip((1.0, -1.0), band_sides(track, chainage), strict=True):
        edge = middle + side * reach[:, None] * left
        edge = edge[~_folded(edge, middle, reach, closed=track.closed)]
        if track.closed:
            edge = np.vstack([edge, edge[:1]])
        thinned = shapely.simplify(shapely.linestrings(edge), _EDGE_CHORD_ERROR_M)
        longitude, latitude = track.plane.to_geographic(shapely.get_coordinates(thinned))
        edges.append(np.column_stack([unwrap_longitude(longitude), latitude]))
    return edges[0], edges[1]


def _folded(edge: Floats, middle: Floats, reach: Floats, *, closed: bool) -> Any:
    """Tell which places of an edge are nearer to the line close by than they ought to be."""
    around = math.ceil(2.0 * math.pi * float(reach.max()) / _EDGE_STEP_M)
    nearest = reach.copy()
    place = np.arange(len(edge))
    for step in range(-around, around + 1):
        other = place + step
        other = other % len(edge) if closed else np.clip(other, 0, len(edge) - 1)
        nearest = np.minimum(nearest, np.hypot(*(edge - middle[other]).T))
    return nearest < reach - _FOLD_M


def _places(positions: list[Position]) -> Floats:
    places = np.array(positions, dtype=float)
    places[:, 0] = unwrap_longitude(places[:, 0])
    return places


def _laid(grid: Grid, places: Floats, unit_m: float) -> Floats:
    """Lay positions out in a grid: easting, northing and, where there is one, height."""
    east, north = grid.from_wgs84(places[:, 0], places[:, 1])
    # A grid that goes round the world puts what is beyond the antimeridian at its other end.
    step_m = unit_m * np.hypot(np.diff(east), np.diff(north))
    if np.any(step_m > _LONGEST_STEP_M):
        raise PlaceError(
            f"{grid.name} ends at the antimeridian, and the track goes on beyond it",
            remedy="choose a grid that is made for this place",
        )
    return np.column_stack([east, north, *(places[:, 2:].T / unit_m)])


def _add_line(space: Any, line: Floats, layer: str, *, closed: bool) -> None:
    """Add a polyline; a closed one has no second copy of its first place."""
    kept = line[:-1] if closed and np.allclose(line[0], line[-1]) else line
    attributes = {"layer": layer}
    if line.shape[1] == 3:
        space.add_polyline3d(kept.tolist(), close=closed, dxfattribs=attributes)
    else:
        space.add_lwpolyline(kept.tolist(), close=closed, dxfattribs=attributes)


def _check_is_grid(name: str) -> None:
    crs = horizontal_crs(name)
    if not crs.is_projected:
        raise PlaceError(
            f"a drawing is in metres or feet, and {name} ({crs.name}) is in degrees",
            remedy="give a grid such as EPSG:25832",
        )


def _unit_m(crs: CRS) -> float:
    return float(crs.axis_info[0].unit_conversion_factor)


def _remarks(track: Track, grid: Grid, crs: str | None) -> list[str]:
    from pyproj import Proj

    unit = grid.crs.axis_info[0].unit_name
    remarks = [f"the drawing is in {grid.name} ({grid.crs.name}), unit {unit}"]
    if crs is not None:
        # Beside its zone UTM is as good: nothing is said of a track astride two of them.
        remarks += grid.remarks
    line = track.centreline
    middle = float(wrap_longitude(np.mean(line.longitude_deg))), float(np.mean(line.latitude_deg))
    factors = Proj(grid.crs).get_factors(*middle)
    stretched = math.sqrt(factors.areal_scale) - 1.0
    if abs(stretched) > _TO_TELL:
        how = "longer" if stretched > 0 else "shorter"
        remarks.append(
            f"lengths in this grid are {abs(stretched) * 1e3:.2f} m in a kilometre {how} than on "
            "the ellipsoid here"
        )
    return remarks


def _ezdxf() -> Any:
    try:
        return import_module("ezdxf")
    except ImportError as error:
        raise OutputError(
            "a drawing needs ezdxf to be written",
            remedy="install it: pip install 'trackkit[dxf]'",
        ) from error
