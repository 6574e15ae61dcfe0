"""Shapes that a map draws and a track does not hold: the band's outline, arrows, bridges.

Everything is computed on the track's plane and given as (latitude, longitude), the order in which
Leaflet wants it.  Longitudes are continuous around the plane's origin, so that a track astride the
antimeridian is drawn in one piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from trackkit.curve import Curve
from trackkit.geodesy import Floats, bearing_deg
from trackkit.track import Crossover, Track

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

LatLon = list[float]
LINE_CHORD_ERROR_M = 0.05
BAND_SPACING_M = 2.0
BRIDGE_OVERHANG_M = 4.0


@dataclass(frozen=True)
class Arrow:
    """A place on the centreline and the bearing of travel there, degrees from north."""

    place: LatLon
    bearing_deg: float


def to_map(track: Track, position_m: Floats) -> list[LatLon]:
    """Turn plane positions, shape (n, 2) metres, into (latitude, longitude) to about 1 cm."""
    longitude, latitude = track.plane.to_geographic(position_m)
    pairs = np.round(np.stack([latitude, longitude], axis=-1), 7)
    return [[float(a), float(b)] for a, b in pairs]


def centreline(track: Track) -> list[LatLon]:
    """Sample the centreline, closed where the track is."""
    curve = track.curve
    position = curve.position(curve.sampled(chord_error_m=LINE_CHORD_ERROR_M))
    if curve.closed:
        position = np.vstack([position, position[:1]])
    return to_map(track, position)


def band_sides(track: Track, chainage_m: Floats) -> tuple[Floats, Floats]:
    """Reach of the band to the left and to the right of the centreline, metres, shape (n,)."""
    profile = track.centreline.width_profile
    if not profile:
        half = np.full(len(chainage_m), 0.5 * track.band_m)
        return half, half
    rows = np.asarray(sorted(profile), dtype=float)
    period = track.curve.length_m if track.closed else None
    left = np.interp(chainage_m, rows[:, 0], rows[:, 1], period=period)
    right = np.interp(chainage_m, rows[:, 0], rows[:, 2], period=period)
    return left, right


def band(track: Track) -> list[list[list[LatLon]]]:
    """Outline of the band: polygons, each an outer ring followed by its holes."""
    import shapely

    return [
        [to_map(track, shapely.get_coordinates(ring)) for ring in (part.exterior, *part.interiors)]
        for part in shapely.get_parts(band_area(track))
        if part.geom_type == "Polygon"
    ]


def band_area(track: Track) -> BaseGeometry:
    """Lay out the band on the plane, in metres.

    It is the union of what lies between neighbouring cross-sections, so that it stays whole where
    a tight corner's inside edge folds over itself.
    """
    import shapely

    curve = track.curve
    chainage = _even_chainages(curve)
    left, right = band_sides(track, chainage)
    middle, aside = curve.position(chainage), curve.left(chainage)
    section = np.stack([middle + left[:, None] * aside, middle - right[:, None] * aside], axis=1)
    corners = np.concatenate([section[:-1], section[1:]], axis=1)
    pieces = shapely.convex_hull(shapely.multipoints(corners))
    return shapely.simplify(shapely.union_all(pieces), LINE_CHORD_ERROR_M)


def _even_chainages(curve: Curve) -> Floats:
    """Chainages of cross-sections from end to end; a closed curve's first one comes again."""
    chainage = curve.chainages(BAND_SPACING_M)
    return np.append(chainage, curve.length_m) if curve.closed else chainage


def arrows(track: Track) -> list[Arrow]:
    """Places for arrows in racing direction; the page shows as many as have room.

    They stand at least 20 m apart, at most 160 on a lap, halfway between their spacings so that
    none stands on the finish gate.
    """
    curve = track.curve
    spacing = max(20.0, curve.length_m / 160)
    count = max(1, int(curve.length_m / spacing))
    chainage = (np.arange(count) + 0.5) * (curve.length_m / count)
    bearing = bearing_deg(curve.direction(chainage))
    places = to_map(track, curve.position(chainage))
    return [Arrow(place, round(float(b), 1)) for place, b in zip(places, bearing, strict=True)]


def bridge_edges(track: Track, crossover: Crossover) -> list[list[LatLon]]:
    """Both edges of the upper track where it passes over the lower one."""
    return [to_map(track, side) for side in bridge_sides(track, crossover)]


def bridge_sides(track: Track, crossover: Crossover) -> tuple[Floats, Floats]:
    """Lay out both edges of a bridge on the plane, shape (k, 2) each, metres."""
    curve = track.curve
    under_left, under_right = band_sides(track, np.array([crossover.under_m]))
    reach = max(float(under_left[0]), float(under_right[0])) + BRIDGE_OVERHANG_M
    chainage = crossover.over_m + np.linspace(-reach, reach, 9)
    left, right = band_sides(track, curve.wrap(chainage))
    middle, aside = curve.position(chainage), curve.left(chainage)
    return middle + left[:, None] * aside, middle - right[:, None] * aside
