"""Shapes that a picture draws and a track does not hold: the band's outline, bridges."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve
from trackkit.track.model import Crossover, Track

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


LINE_CHORD_ERROR_M = 0.05
BAND_SPACING_M = 2.0
BRIDGE_OVERHANG_M = 4.0


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


def bridge_reach_m(track: Track, crossover: Crossover) -> float:
    """Tell how far a bridge reaches either way from where the lines cross, metres."""
    left, right = band_sides(track, np.array([crossover.under_m]))
    return max(float(left[0]), float(right[0])) + BRIDGE_OVERHANG_M


def bridge_sides(track: Track, crossover: Crossover) -> tuple[Floats, Floats]:
    """Lay out both edges of a bridge on the plane, shape (k, 2) each, metres."""
    curve = track.curve
    reach = bridge_reach_m(track, crossover)
    chainage = crossover.over_m + np.linspace(-reach, reach, 9)
    left, right = band_sides(track, curve.wrap(chainage))
    middle, aside = curve.position(chainage), curve.left(chainage)
    return middle + left[:, None] * aside, middle - right[:, None] * aside
