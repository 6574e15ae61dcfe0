"""What a centreline tells by itself: lengths, way round, bridges, corners, where gates cross."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.errors import PlaceError, TrackFileError
from trackkit.geometry.bends import find_bends
from trackkit.geometry.curve import COINCIDENT_M, Curve
from trackkit.geometry.geodesy import geodesic_distance, unwrap_longitude
from trackkit.geometry.shape import Direction, direction_of, self_crossings, surface_length
from trackkit.track.features import Centreline, Corner, Crossover, Position, require_positions
from trackkit.track.ids import drawn_id

_CROSSING_ANGLE_DEG = 20.0
_MOST_BRIDGES = 100
"""A line that crosses itself more often goes several times round: no bridge leads it there."""
_SAME_CORNER_M = 15.0
_FEWEST_POSITIONS = 4
_ACROSS = 0.5
"""A gate turned from square to a piece of track by less than 60 degrees lies across it."""
_ONE_PLACE_M = 2.0
"""Where a gate crosses two pieces of track this near to each other, one leads over the other."""


def line_of(
    longitude_deg: ArrayLike,
    latitude_deg: ArrayLike,
    height_m: ArrayLike | None = None,
    *,
    closed: bool,
    width_m: float | None = None,
    name: str,
) -> Centreline:
    """Make a centreline of lists or arrays; see `Track.from_arrays`.

    Parameters
    ----------
    longitude_deg, latitude_deg
        Degrees, shape (n,).
    height_m
        Metres, shape (n,), or None.
    closed
        Whether the line leads back to its first position, repeated at the end or not.
    width_m
        Width of the band where cars run, metres, or None.
    name
        What errors call the track.

    Returns
    -------
    Centreline
        A closed one repeats its first position at the end.

    Raises
    ------
    TrackFileError
        When the columns are no line.
    """
    place = f"track {name!r}"
    if not name.strip():
        raise TrackFileError("a track needs a name", place=place)
    if width_m is not None and not 0.0 < width_m < np.inf:
        raise TrackFileError(f"a width of {width_m:g} m is not above 0", place=place)
    columns = [
        _column(longitude_deg, "longitude_deg", place),
        _column(latitude_deg, "latitude_deg", place),
    ]
    if height_m is not None:
        columns.append(_column(height_m, "height_m", place))
        if not np.isfinite(columns[-1]).all():
            raise TrackFileError(
                "has a height that is not a number",
                place=place,
                remedy="give one for every position, or none at all",
            )
    if len({len(column) for column in columns}) > 1:
        counts = ", ".join(f"{len(column)}" for column in columns)
        raise TrackFileError(f"has columns of {counts} values instead of one length", place=place)
    require_positions(columns[0], columns[1], place)
    columns[0] = unwrap_longitude(columns[0])
    apart = geodesic_distance(
        columns[0], columns[1], np.roll(columns[0], -1), np.roll(columns[1], -1)
    )
    if closed and len(apart) > 1 and apart[-1] <= COINCIDENT_M:
        columns, apart = [column[:-1] for column in columns], apart[:-1]
    if len(columns[0]) < _FEWEST_POSITIONS:
        raise TrackFileError(
            f"{len(columns[0])} positions are too few for a track",
            place=place,
            remedy=f"give {_FEWEST_POSITIONS} or more that differ",
        )
    if np.any(apart[:-1] <= COINCIDENT_M):
        first = int(np.argmax(apart[:-1] <= COINCIDENT_M))
        raise TrackFileError(
            f"positions {first + 1} and {first + 2} are the same",
            place=place,
            remedy="leave one of them out",
        )
    if closed:
        columns = [np.append(column, column[0]) for column in columns]
        columns[0] = unwrap_longitude(columns[0])
    return Centreline(
        columns[0],
        columns[1],
        closed,
        height_m=columns[2] if height_m is not None else None,
        width_m=width_m,
    )


def _column(values: ArrayLike, label: str, place: str) -> Floats:
    try:
        numbers = np.array(values, dtype=float)
    except (TypeError, ValueError, OverflowError) as error:
        raise TrackFileError(
            f"has {label} that is not one number a position", place=place
        ) from error
    if numbers.ndim != 1:
        raise TrackFileError(
            f"has {label} of shape {numbers.shape} instead of one number a position", place=place
        )
    return numbers


class Measures(NamedTuple):
    """Lengths of a centreline, metres, its racing direction and its bridges."""

    length_m: float
    length_surface_m: float | None
    direction: Direction | None
    crossovers: tuple[Crossover, ...]


def measure(line: Centreline) -> Measures:
    """Measure a centreline.

    Parameters
    ----------
    line
        The centreline.

    Returns
    -------
    Measures
        The length along the surface is None where the line has no heights.
    """
    curve = line.curve
    chainage = curve.chainages(1.0)
    height = np.full(len(chainage), np.nan)
    if line.height_m is not None:
        vertex_height_m = line.height_m[: len(curve.vertex_chainage_m)]
        period = curve.length_m if curve.closed else None
        height = np.interp(chainage, curve.vertex_chainage_m, vertex_height_m, period=period)
    crossovers, _ = bridges(curve, chainage, height)
    return Measures(
        curve.length_m, surface_length(curve, chainage, height), direction_of(curve), crossovers
    )


def bridges(
    curve: Curve, chainage_m: Floats, height_m: Floats
) -> tuple[tuple[Crossover, ...], list[str]]:
    """Declare a bridge where a line crosses itself at an angle.

    Returns
    -------
    crossovers, remarks
        Which passage is above is read from the heights; where they cannot tell, the earlier
        passage is taken to be above and a remark says so.  Of a line that crosses itself more
        than 100 times none is a bridge.
    """
    crossings = [
        (first, second)
        for first, second, angle in self_crossings(curve)
        if angle >= _CROSSING_ANGLE_DEG
    ]
    if len(crossings) > _MOST_BRIDGES:
        return (), [f"the line crosses itself {len(crossings):,} times: none is taken as a bridge"]
    crossovers, remarks = [], []
    for first, second in crossings:
        heights = np.interp([first, second], chainage_m, height_m)
        heights_differ = bool(np.all(np.isfinite(heights))) and abs(heights[0] - heights[1]) > 2.0
        second_over = heights_differ and heights[1] > heights[0]
        over, under = (second, first) if second_over else (first, second)
        crossovers.append(Crossover(over, under))
        remarks.append(
            f"the line crosses itself at {first:.0f} m and {second:.0f} m: taken as a bridge"
            + ("" if heights_differ else " (heights do not tell which passage is above)")
        )
    return tuple(crossovers), remarks


def find_corners(
    line: Centreline, previous: Sequence[Corner], *, seed: str, taken: Sequence[str]
) -> tuple[Corner, ...]:
    """Find the corners of a centreline.

    Parameters
    ----------
    line
        The centreline.
    previous
        Corners it had: one found where one was keeps its id and name.
    seed
        What ids of new corners are drawn from, besides where the corners are.
    taken
        Ids that no new corner may have.

    Returns
    -------
    tuple of Corner
        In racing direction, numbered from 1.
    """
    curve, plane = line.curve, line.plane
    bends, _ = find_bends(curve)
    left = list(previous)
    ids = set(taken)
    corners: list[Corner] = []
    for number, bend in enumerate(bends, start=1):
        apex = curve.position(bend.apex_m)
        old = _nearest_corner(line, left, apex)
        if old is not None:
            left.remove(old)
        longitude, latitude = (float(degrees) for degrees in plane.to_geographic(apex))
        salt = f"{longitude:.5f},{latitude:.5f}"
        corner_id = old.id if old else drawn_id("corner", salt, seed=seed, taken=ids)
        ids.add(corner_id)
        corners.append(
            Corner(
                number=number,
                name=old.name if old else "",
                turn=bend.turn,
                apex=(longitude, latitude),
                entry_m=bend.entry_m,
                apex_m=bend.apex_m,
                exit_m=bend.exit_m,
                min_radius_m=bend.min_radius_m,
                id=corner_id,
                properties=old.properties if old else {},
                members=old.members if old else {},
            )
        )
    return tuple(corners)


def _nearest_corner(line: Centreline, previous: Sequence[Corner], apex_m: Floats) -> Corner | None:
    if not previous:
        return None
    apexes = line.plane.to_plane([c.apex[0] for c in previous], [c.apex[1] for c in previous])
    away = np.linalg.norm(apexes - np.asarray(apex_m), axis=1)
    nearest = int(np.argmin(away))
    return previous[nearest] if away[nearest] <= _SAME_CORNER_M else None


def ends_chainage(
    line: Centreline,
    left: Position,
    right: Position,
    near_m: float | None = None,
    *,
    must_cross: bool = True,
) -> float:
    """Chainage at which the line between two gate ends crosses the centreline, metres.

    Parameters
    ----------
    line
        The centreline.
    left, right
        The ends, (longitude, latitude), degrees.
    near_m
        Where the file or the user says it is, metres.  It decides between two levels at a bridge
        that fit alike, and nothing else.
    must_cross
        Whether the gate has to cross the centreline.  A gate across the pit lane need not: its
        chainage is then that of the place on the centreline nearest to its middle.

    Returns
    -------
    float
        The chainage, metres.  Of several crossings it is one that a driver in racing direction
        meets with the left end on his left, of these the one nearest to the middle of the gate,
        and of two at one place the one nearer to `near_m`, or else squarer.

    Raises
    ------
    PlaceError
        When the line between the ends does not cross the centreline.
    """
    curve = line.curve
    ends = line.plane.to_plane([left[0], right[0]], [left[1], right[1]])
    crossings = curve.crossed_by(ends[0], ends[1])
    middle = ends.mean(axis=0)
    aside = (ends[0] - ends[1]) / np.linalg.norm(ends[0] - ends[1])
    if len(crossings) == 0:
        if not must_cross:
            return float(curve.project(middle, np.array([aside[1], -aside[0]]))[0])
        _, offset = curve.project(np.vstack([ends, middle]))
        raise PlaceError(
            "the line between the two ends does not cross the centreline (it passes "
            f"{abs(offset).min():.1f} m from it)",
            remedy="give ends on both sides of the track",
        )
    square = curve.left(crossings) @ aside
    for least in (_ACROSS, 0.0):
        if np.any(square > least):
            crossings, square = crossings[square > least], square[square > least]
            break
    place = curve.position(crossings)
    nearest = place[np.linalg.norm(place - middle, axis=1).argmin()]
    levels = np.linalg.norm(place - nearest, axis=1) <= _ONE_PLACE_M
    crossings, square = crossings[levels], square[levels]
    if near_m is not None:
        return float(crossings[curve.separation(crossings, near_m).argmin()])
    return float(crossings[square.argmax()])
