"""Shapes that a picture draws and a track does not hold: band, bridges, where a line may be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve
from trackkit.geometry.runs import runs_of
from trackkit.track.accuracy import ACCURACY_KINDS, AccuracyKind
from trackkit.track.features import Crossover
from trackkit.track.model import Track

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


def width_sigma(track: Track, chainage_m: ArrayLike) -> Floats | None:
    """Tell how well the width between recorded edges is known along a track.

    The width is the difference of two lines of which the centreline is the mean, and whose errors
    share nothing: one sigma of it is twice the centreline's.

    Parameters
    ----------
    track
        Any track.
    chainage_m
        Places, metres, any shape.

    Returns
    -------
    ndarray or None
        One sigma, metres, of the shape of `chainage_m`; None where the width was not recorded.
    """
    accuracy = track.centreline.accuracy_at(chainage_m)
    if track.line != "centre" or not track.centreline.width_profile or accuracy is None:
        return None
    if np.any(accuracy[1] == "drawn"):
        return None
    return np.asarray(2.0 * accuracy[0])


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch of a line that is not measured, metres; it may go on over the seam of a lap."""

    begin_m: float
    end_m: float
    kind: AccuracyKind
    sigma_m: float


def uncertain_stretches(track: Track) -> tuple[Stretch, ...]:
    """List where a line is thin, carried or drawn, each with the most of its sigma."""
    chainage = track.curve.chainages(BAND_SPACING_M)
    accuracy = track.centreline.accuracy_at(chainage)
    if accuracy is None:
        return ()
    sigma, kind = accuracy
    stretches = []
    for name in ACCURACY_KINDS[1:]:
        for begin, end in runs_of(kind == name, closed=track.closed):
            inside = np.arange(begin, end) % len(chainage)
            ends = begin * float(chainage[1]), end * float(chainage[1])
            most = float(sigma[inside].max())
            stretches.append(Stretch(ends[0], min(ends[1], ends[0] + track.length_m), name, most))
    return tuple(sorted(stretches, key=lambda stretch: stretch.begin_m))


def stretch_places(track: Track, stretch: Stretch) -> Floats:
    """Lay a stretch of a line on its plane, shape (k, 2), metres."""
    count = max(2, int((stretch.end_m - stretch.begin_m) / BAND_SPACING_M) + 1)
    chainage = np.linspace(stretch.begin_m, stretch.end_m, count)
    return track.curve.position(track.curve.wrap(chainage) if track.closed else chainage)


def doubt_sides(track: Track) -> tuple[Floats, Floats] | None:
    """Lay out two sigma to the left and to the right of a line on its plane, shape (k, 2) each."""
    curve = track.curve
    chainage = _even_chainages(curve)
    accuracy = track.centreline.accuracy_at(chainage)
    if accuracy is None:
        return None
    middle, aside = curve.position(chainage), 2.0 * accuracy[0][:, None] * curve.left(chainage)
    return middle + aside, middle - aside


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
