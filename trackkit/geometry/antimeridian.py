"""Lines cut at the antimeridian and joined again (RFC 7946 section 3.1.9), and their boxes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.geodesy import longitude_near, unwrap_longitude, wrap_longitude

_ON_CHORD_DEG = 3e-8
"""How far, in degrees, rounding can take a cut point off its chord (about 3 mm)."""


def cut_line(coordinates: Floats) -> list[Floats]:
    """Cut a line where it crosses the antimeridian.

    Parameters
    ----------
    coordinates
        Shape (n, 2) or (n, 3): longitude (continuous), latitude[, height].

    Returns
    -------
    list of ndarray
        The parts, each with longitudes in [-180, 180]; a line that crosses nothing gives one.
    """
    line = np.asarray(coordinates, dtype=float)
    world = np.floor((line[:, 0] + 180.0) / 360.0)
    # Positions on the antimeridian itself belong to the side the line came from, or goes to.
    edge = (line[:, 0] + 180.0) % 360.0 == 0
    beside = np.flatnonzero(~edge)
    if len(beside):
        last = np.searchsorted(beside, np.arange(len(line)), side="right") - 1
        world = world[beside[np.maximum(last, 0)]]
    parts: list[Floats] = []
    begin, head = 0, line[:0]
    for index in np.flatnonzero(np.diff(world) != 0).tolist():
        before, after = line[index], line[index + 1]
        meridian = 360.0 * max(world[index], world[index + 1]) - 180.0
        share = (meridian - before[0]) / (after[0] - before[0])
        cut = before + share * (after - before)
        cut[0] = meridian
        body = line[begin : index + 1]
        parts.append(_shifted(np.vstack([head, body, cut]), world[index]))
        begin, head = index + 1, cut[None, :]
    parts.append(_shifted(np.vstack([head, line[begin:]]), world[-1]))
    return parts


def _shifted(part: Floats, world: float) -> Floats:
    moved = part.copy()
    moved[:, 0] -= 360.0 * world
    return moved


def join_line(parts: Sequence[Floats]) -> Floats:
    """Join the parts of a cut line, with continuous longitudes.

    The two copies of a cut point are dropped where they lie on the chord between their
    neighbours, that is, where cutting the line made them.
    """
    line = np.asarray(parts[0], dtype=float).copy()
    line[:, 0] = unwrap_longitude(line[:, 0])
    for part in parts[1:]:
        following = np.asarray(part, dtype=float).copy()
        following[:, 0] = unwrap_longitude(following[:, 0])
        following[:, 0] += 360.0 * np.round((line[-1, 0] - following[0, 0]) / 360.0)
        joined_here = np.allclose(line[-1, :2], following[0, :2], rtol=0, atol=1e-9)
        if joined_here and len(line) > 1 and len(following) > 1:
            before, cut, after = line[-2, :2], line[-1, :2], following[1, :2]
            chord = after - before
            away = abs(chord[0] * (cut[1] - before[1]) - chord[1] * (cut[0] - before[0]))
            if away <= _ON_CHORD_DEG * np.hypot(*chord):
                line = line[:-1]
            following = following[1:]
        line = np.vstack([line, following])
    return line


def bounding_box(lines: Sequence[Floats]) -> list[float]:
    """RFC 7946 section 5 bounding box of lines with continuous longitudes.

    West is larger than east where the box spans the antimeridian.  Heights are included when
    every position has one.
    """
    dimensions = min(line.shape[1] for line in lines)
    middle = float(lines[0][0, 0])
    stacked = np.vstack([line[:, :dimensions] for line in lines])
    stacked[:, 0] = longitude_near(stacked[:, 0], middle)
    low, high = stacked.min(axis=0), stacked.max(axis=0)
    low[0], high[0] = wrap_longitude(low[0]), wrap_longitude(high[0])
    return [*low.tolist(), *high.tolist()]
