"""Lay out a road through corner points, with bends whose curvature changes without jumps.

Between two corner points the road is straight; at each it turns on a clothoid (curvature in
proportion to distance), an arc and a clothoid, as roads are laid out.  Everything is in metres
on a plane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from trackkit.arrays import Floats

EASING = 0.5
"""Share of a bend's angle that is turned on its two clothoids together."""

_NODE, _WEIGHT = np.polynomial.legendre.leggauss(5)
_LONGEST_STEP_M = 1.0


@dataclass(frozen=True)
class CornerPoint:
    """Where two straights would meet, and the radius of the arc that joins them, metres."""

    east_m: float
    north_m: float
    radius_m: float


def laid_out(points: Sequence[CornerPoint], *, closed: bool) -> Floats:
    """Lay a road out.

    Parameters
    ----------
    points
        In driving order.  A closed road begins half way between the last and the first; an open
        one begins at the first and ends at the last, whose radii do not count.
    closed
        Whether the road leads back to where it began.

    Returns
    -------
    ndarray
        Shape (n, 2): positions at most 1 m apart, metres; the first is not repeated.

    Raises
    ------
    ValueError
        When a straight is too short for the bends at its ends.
    """
    place = np.array([(p.east_m, p.north_m) for p in points])
    if closed:
        middle = 0.5 * (place[-1] + place[0])
        place = np.vstack([middle, place, middle])
        radius = [p.radius_m for p in points]
    else:
        radius = [p.radius_m for p in points[1:-1]]
    step = np.diff(place, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = (np.diff(heading) + np.pi) % (2 * np.pi) - np.pi
    bends = [_bend(angle, bend_m) for angle, bend_m in zip(turn.tolist(), radius, strict=True)]
    taken = np.array([0.0, *(tangent for _, tangent in bends), 0.0])
    room = length - taken[:-1] - taken[1:]
    if room.min() < 0:
        at = int(np.argmin(room))
        raise ValueError(f"the straight into point {at} is {-room[at]:.1f} m too short")

    rows = []
    for index, angle in enumerate(heading.tolist()):
        ahead = np.array([np.cos(angle), np.sin(angle)])
        begin = place[index] + taken[index] * ahead
        count = max(1, int(np.ceil(room[index] / _LONGEST_STEP_M)))
        rows.append(begin + np.linspace(0.0, room[index], count, endpoint=False)[:, None] * ahead)
        if index < len(bends):
            bend, _ = bends[index]
            begin = begin + room[index] * ahead
            rows.append(begin + bend @ np.array([ahead, [-ahead[1], ahead[0]]]))
    if not closed:
        rows.append(place[-1:])
    return np.vstack(rows)


def _bend(turn_rad: float, radius_m: float) -> tuple[Floats, float]:
    """Trace a bend that begins at the origin heading east.

    The heading is the exact integral of the curvature; positions are its integral by five-point
    Gauss-Legendre quadrature on steps of at most a metre.

    Returns
    -------
    position_m, tangent_m
        Shape (n, 2), without the last position; and how far the corner point is from either end.
    """
    clothoid_m = EASING * abs(turn_rad) * radius_m
    arc_m = (1.0 - EASING) * abs(turn_rad) * radius_m
    knot = np.cumsum([0.0, clothoid_m, arc_m, clothoid_m])
    edges = np.concatenate(
        [
            np.linspace(begin, end, max(2, int(np.ceil((end - begin) / _LONGEST_STEP_M))) + 1)[:-1]
            for begin, end in pairwise(knot)
        ]
        + [knot[-1:]]
    )
    step = np.diff(edges)
    along = edges[:-1, None] + 0.5 * step[:, None] * (1.0 + _NODE)
    angle = np.sign(turn_rad) * _turned(along, clothoid_m, arc_m, radius_m)
    moved = 0.5 * step[:, None] * np.stack([np.cos(angle) @ _WEIGHT, np.sin(angle) @ _WEIGHT], -1)
    position = np.vstack([np.zeros((1, 2)), np.cumsum(moved, axis=0)])
    east, north = position[-1].tolist()
    return position[:-1], float(east - north / np.tan(turn_rad))


def _turned(along_m: Floats, clothoid_m: float, arc_m: float, radius_m: float) -> Floats:
    """Angle turned, radians, after a distance into a bend."""
    rate = 1.0 / (radius_m * clothoid_m)
    into = np.minimum(along_m, clothoid_m)
    arc = np.clip(along_m - clothoid_m, 0.0, arc_m)
    out = np.maximum(along_m - clothoid_m - arc_m, 0.0)
    return np.asarray(0.5 * rate * into**2 + arc / radius_m + out / radius_m - 0.5 * rate * out**2)
