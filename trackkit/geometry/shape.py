"""The shape of a line: direction, crossings of itself, length on the ground."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Flags, Floats, Indices
from trackkit.geometry.curve import Curve
from trackkit.geometry.ellipsoid import (
    ECCENTRICITY_SQUARED,
    MEAN_RADIUS_M,
    SEMI_MAJOR_AXIS_M,
)

_MOST_PAIRS = 10_000
"""So many pieces of a line that come near each other are looked at: a line that was drawn over
itself again and again has the square of that number."""
_MOST_NEAR = 5_000_000
_SAMPLED = 32
"""So many pairs of pieces are held in memory at once; how many there are, so many pieces tell."""


def surface_length(curve: Curve, chainage_m: Floats, height_m: Floats) -> float | None:
    """Length of the line at its height and along its slope, metres, or None without heights.

    A line h above the ellipsoid is longer by h / R, R being the earth's mean radius.
    """
    if not np.all(np.isfinite(height_m)):
        return None
    chainage, height = chainage_m, height_m
    if curve.closed:
        chainage = np.append(chainage_m, curve.length_m)
        height = np.append(height_m, height_m[0])
    level = np.diff(chainage) * (1.0 + 0.5 * (height[:-1] + height[1:]) / MEAN_RADIUS_M)
    return float(np.hypot(level, np.diff(height)).sum())


def direction_of(curve: Curve) -> Direction | None:
    """Racing direction of a closed line, or None for an open one or a figure of eight.

    By the turning number (Whitney 1937; from memory): a simple loop driven anticlockwise turns
    once to the left, a figure of eight not at all.
    """
    if not curve.closed:
        return None
    return direction_by_turns(curve.turning())


def direction_by_turns(turning: float) -> Direction | None:
    """Racing direction of a line that makes so many whole turns, positive to the left."""
    turns = round(turning)
    if turns == 0:
        return None
    return "anticlockwise" if turns > 0 else "clockwise"


def metres_a_degree(latitude_deg: ArrayLike) -> Floats:
    """Metres that a degree of longitude and one of latitude measure, by the radii of curvature.

    Parameters
    ----------
    latitude_deg
        Any shape.

    Returns
    -------
    ndarray
        Of the parallel and of the meridian, shape (..., 2).
    """
    latitude = np.radians(latitude_deg)
    squeeze = 1.0 - ECCENTRICITY_SQUARED * np.sin(latitude) ** 2
    across = SEMI_MAJOR_AXIS_M / np.sqrt(squeeze)
    along = across * (1.0 - ECCENTRICITY_SQUARED) / squeeze
    return np.asarray(np.radians(np.stack([np.cos(latitude) * across, along], axis=-1)))


def chords_of(longitude_deg: Floats, latitude_deg: Floats) -> tuple[float, float]:
    """Length and turns of a line that is straight between its vertices, without a projection.

    Each step is measured with the radii of curvature of the ellipsoid at its middle, which is
    right to 1 part in a million for steps of less than a kilometre away from the poles.

    Parameters
    ----------
    longitude_deg, latitude_deg
        Vertices, degrees, shape (n,), longitudes continuous; a closed line repeats its first.

    Returns
    -------
    length_m, turning
        Metres; whole turns to the left, from the last step to the first one included.
    """
    east_m, north_m = metres_a_degree(0.5 * (latitude_deg[1:] + latitude_deg[:-1])).T
    east, north = np.diff(longitude_deg) * east_m, np.diff(latitude_deg) * north_m
    length = np.hypot(east, north)
    moved = length > 0.0
    heading = np.arctan2(north[moved], east[moved])
    turn = np.diff(heading, append=heading[:1])
    turn -= 2.0 * np.pi * np.round(turn / (2.0 * np.pi))
    return float(length.sum()), float(turn.sum() / (2.0 * np.pi))


def self_crossings(curve: Curve) -> list[tuple[float, float, float]]:
    """Find where a line crosses itself.

    Returns
    -------
    list of (first_m, second_m, angle_deg)
        The two chainages of each crossing and the angle between the two passages, 0 to 90.  Of a
        line that goes over itself throughout, some thousands of them.
    """
    import shapely

    chainage = curve.chainages(min(1.0, curve.length_m / 400))
    edges = np.append(chainage, curve.length_m) if curve.closed else chainage
    position = curve.position(edges)
    if curve.closed:
        position[-1] = position[0]
    segment = np.asarray(shapely.linestrings(np.stack([position[:-1], position[1:]], axis=1)))
    first, second = _near(segment)
    apart = second - first
    pair = np.flatnonzero((apart > 1) & ~(curve.closed & (apart == len(segment) - 1)))
    pair = pair[:: 1 + len(pair) // _MOST_PAIRS]
    pair = pair[shapely.intersects(segment[first[pair]], segment[second[pair]])]
    step = float(edges[1])
    first, second = first[pair], second[pair]
    met = shapely.intersection(segment[first], segment[second])
    points, of_pair = shapely.get_coordinates(met, return_index=True)
    point = points[np.searchsorted(of_pair, np.arange(len(first)))]
    here = edges[first] + np.linalg.norm(point - position[first], axis=1)
    there = edges[second] + np.linalg.norm(point - position[second], axis=1)
    # Where the lines cross at a vertex, up to four pairs of segments only touch there.
    real = shapely.crosses(segment[first], segment[second])
    real[~real] = _passes(curve, here[~real], there[~real], step)
    first, second, here, there = first[real], second[real], here[real], there[real]
    if curve.closed:
        over = there > curve.length_m - 0.5 * step
        here, there = (
            np.where(over, np.maximum(there - curve.length_m, 0.0), here),
            np.where(over, here, there),
        )
    kept = _apart(curve, here, there, step)
    ahead, across = (np.diff(position, axis=0)[side[kept]] for side in (first, second))
    cosine = np.abs((ahead * across).sum(axis=1)) / (
        np.linalg.norm(ahead, axis=1) * np.linalg.norm(across, axis=1)
    )
    angle_deg = np.degrees(np.arccos(np.minimum(1.0, cosine)))
    return sorted(zip(here[kept].tolist(), there[kept].tolist(), angle_deg.tolist(), strict=True))


def _near(segment: NDArray[np.object_]) -> tuple[Indices, Indices]:
    """List pairs of segments whose boxes meet, by their places; of too many, those of some."""
    import shapely

    tree = shapely.STRtree(segment)
    count = len(segment)
    some = np.arange(0, count, -(-count // _SAMPLED))
    expected = tree.query(segment[some]).shape[1] / len(some) * count
    asked = np.arange(0, count, 1 + int(expected // _MOST_NEAR))
    first, second = tree.query(segment[asked])
    return asked[first], second


def _apart(curve: Curve, here_m: Floats, there_m: Floats, step_m: float) -> Flags:
    """Keep of crossings that lie within a step of each other, on both passages, just the first.

    Each is compared with those kept in its own cell of a lattice and the cells around it, so that
    a line driven over twice, which meets itself everywhere, takes no time that grows as the square.
    """
    cells = max(1, int(curve.length_m / step_m))
    columns, rows = (
        np.minimum((side / curve.length_m * cells).astype(int), cells - 1).tolist()
        for side in (here_m, there_m)
    )
    kept_in: dict[tuple[int, int], list[int]] = {}
    kept = np.zeros(len(here_m), dtype=bool)
    for k, (column, row) in enumerate(zip(columns, rows, strict=True)):
        around = {
            ((column + right) % cells, (row + up) % cells)
            for right in (-1, 0, 1)
            for up in (-1, 0, 1)
        }
        near = [j for cell in around for j in kept_in.get(cell, ())]
        apart_m = np.maximum(
            curve.separation(here_m[k], here_m[near]), curve.separation(there_m[k], there_m[near])
        )
        if not np.any(apart_m < step_m):
            kept[k] = True
            kept_in.setdefault((column, row), []).append(k)
    return kept


def _passes(curve: Curve, here_m: Floats, there_m: Floats, step_m: float) -> Flags:
    """Whether a line goes from one side to the other of another passage that it touches."""
    at = here_m + step_m * np.array([[-1.0], [1.0]])
    if not curve.closed:
        at = np.clip(at, 0.0, curve.length_m)
    sides = ((curve.position(at) - curve.position(there_m)) * curve.left(there_m)).sum(axis=-1)
    return np.asarray(sides[0] * sides[1] < 0)


Direction = Literal["clockwise", "anticlockwise"]
