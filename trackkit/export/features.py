"""Names and places of a track's features, as every format writes them."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.geodesy import WGS84
from trackkit.track.features import Gate, PitLane, Position
from trackkit.track.model import Track


def title(track: Track) -> str:
    """Name a track and its layout."""
    return f"{track.name}, {track.layout}" if track.layout else track.name


def line_of(track: Track) -> Floats:
    """Lay out the centreline: longitude, latitude and, where known, height, shape (n, 2 or 3)."""
    line = track.centreline
    columns = [line.longitude_deg, line.latitude_deg]
    if line.height_m is not None:
        columns.append(line.height_m)
    return np.column_stack(columns)


def pit_line_of(pit_lane: PitLane) -> Floats:
    """Lay out a pit lane: longitude, latitude and, where known, height, shape (n, 2 or 3)."""
    columns = [pit_lane.longitude_deg, pit_lane.latitude_deg]
    if pit_lane.height_m is not None:
        columns.append(pit_lane.height_m)
    return np.column_stack(columns)


def gate_middle(gate: Gate) -> Position:
    """Find the middle of a gate on the ellipsoid, (longitude, latitude), degrees."""
    azimuth, _, width = WGS84.inv(*gate.left, *gate.right)
    longitude, latitude, _ = WGS84.fwd(*gate.left, azimuth, 0.5 * width)
    return float(longitude), float(latitude)


def gate_bearing_deg(gate: Gate) -> float:
    """Find the true bearing in which a gate is crossed, degrees clockwise from north.

    It is square to the gate, at its middle: a quarter turn left of the way from the left to the
    right end.
    """
    azimuth, _, _ = WGS84.inv(*gate_middle(gate), *gate.right)
    return float((azimuth - 90.0) % 360.0)
