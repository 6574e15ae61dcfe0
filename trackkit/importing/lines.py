"""Lines of a drawing made whole: pieces joined, heights kept where there are any."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import TrackFileError
from trackkit.geometry.antimeridian import join_line
from trackkit.geometry.geodesy import LocalPlane, geodesic_distance, longitude_near

JOIN_M = 0.05
"""Pieces of a line whose ends are this near to each other go on there."""
UNMOVED_M = 0.01
"""What lies this near to where it was has not been moved: other programs round positions."""
_CUT_DEG = 1e-6


def joined(parts: Sequence[Floats], place: str) -> Floats:
    """Join the pieces of a line.

    Parameters
    ----------
    parts
        Shape (n, 3) each: longitude, latitude, height.  Pieces that follow each other are joined
        as they are, also where the antimeridian has cut them; others end to end in the direction of
        the first, turned round where they need to be.
    place
        Where they stand, for sentences.

    Returns
    -------
    ndarray
        Shape (n, 3), longitudes continuous.

    Raises
    ------
    TrackFileError
        When they do not make one line.
    """
    line, *left = parts
    at_end = True
    while left:
        ends = line[-1] if at_end else line[0]
        index, turned = _next(ends, left, forward=at_end)
        if index is None:
            if at_end:
                at_end = False
                continue
            gap_m = min(
                _apart_m(end, corner)
                for end in (line[0], line[-1])
                for part in left
                for corner in (part[0], part[-1])
            )
            raise TrackFileError(
                f"the line is in pieces, of which {len(left):,} of {len(parts):,} do not join the "
                f"others (the nearest end is {gap_m:,.2f} m away)",
                place=place,
                remedy="draw it as one line, or bring the ends of its pieces together",
            )
        part = left.pop(index)
        part = part[::-1] if turned else part
        line = _with(line, part) if at_end else _with(part, line)
    return line


def _next(end: Floats, parts: Sequence[Floats], *, forward: bool) -> tuple[int | None, bool]:
    """Find the piece that goes on from an end, and whether it has to be turned round."""
    for turned in (False, True):
        for index, part in enumerate(parts):
            near = part[0] if forward != turned else part[-1]
            if _apart_m(end, near) <= JOIN_M:
                return index, turned
    return None, False


def _apart_m(a: Floats, b: Floats) -> float:
    return float(geodesic_distance(a[0], a[1], b[0], b[1]))


def _with(line: Floats, following: Floats) -> Floats:
    moved = following.copy()
    moved[:, 0] += 360.0 * np.round((line[-1, 0] - moved[0, 0]) / 360.0)
    if abs(abs((line[-1, 0] + 180.0) % 360.0 - 180.0) - 180.0) <= _CUT_DEG:
        # The same position twice, which formats write a little differently.
        moved[0, :2] = line[-1, :2]
        return join_line([line, moved])
    return np.vstack([line, moved[1:]])


def heights_of(line: Floats) -> tuple[Floats | None, str | None]:
    """Take the heights of a line that has any.

    Returns
    -------
    heights, remark
        Metres, shape (n,), or None; and what was left out.
    """
    heights = line[:, 2]
    there = np.isfinite(heights)
    if not there.any():
        return None, None
    if not np.any(heights[there]):
        return None, "heights of the line are all 0, and were left out"
    if not there.all():
        return None, "only some positions of the line have heights, and these were left out"
    return heights, None


def without_repeats(line: Floats) -> Floats:
    """Leave out positions that are at the same place as the one before."""
    apart = geodesic_distance(line[:-1, 0], line[:-1, 1], line[1:, 0], line[1:, 1])
    kept: Floats = line[np.concatenate([[True], np.asarray(apart) > 1e-3])]
    return kept


def same_line(longitude_deg: Floats, latitude_deg: Floats, before: tuple[Floats, Floats]) -> bool:
    """Tell whether a line is where another was, from its first position on.

    Parameters
    ----------
    longitude_deg, latitude_deg
        Degrees, shape (n,).
    before
        The other line's, shape (m,) each.
    """
    import shapely

    plane = LocalPlane.around(*before)
    old = plane.to_plane(*before)
    new = plane.to_plane(longitude_near(longitude_deg, float(before[0][0])), latitude_deg)
    if len(old) == len(new):
        return bool(np.linalg.norm(new - old, axis=1).max() <= UNMOVED_M)
    ends = np.linalg.norm(new[[0, 1, -1]] - old[[0, 1, -1]], axis=1)
    if max(ends[0], ends[2]) > UNMOVED_M:
        return False
    # Of two vertices where there was one, or the other way round, the way still is the same.
    lengths = [np.linalg.norm(np.diff(way, axis=0), axis=1).cumsum() for way in (old, new)]
    shares = np.linspace(0.0, 1.0, 401)
    places = [
        np.column_stack(
            [np.interp(shares * sum_m[-1], np.append(0.0, sum_m), way[:, axis]) for axis in (0, 1)]
        )
        for way, sum_m in zip((old, new), lengths, strict=True)
    ]
    if np.linalg.norm(places[1] - places[0], axis=1).max() > 10.0 * UNMOVED_M:
        return False
    apart = shapely.hausdorff_distance(shapely.LineString(old), shapely.LineString(new))
    return bool(apart <= UNMOVED_M)
