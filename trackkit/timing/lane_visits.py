"""Visits of a pit lane that has no gates at both ends, told by where the vehicle drove."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.geometry.runs import runs_of
from trackkit.motion.drive import Drive
from trackkit.timing.laps import Lap
from trackkit.track.model import Track

_SHARE = 0.5
"""Of the lane's length clear of the track, so much is driven on a visit; less was a slide."""
_POINT_M = 5.0
_WITHIN_M = 15.0
"""Boxes lie this far beside the lane at most; farther off a vehicle is elsewhere."""


def with_lane_visits(
    track: Track,
    drive: Drive,
    laps: Sequence[Lap],
    time_s: Floats,
    position_m: Floats,
    aside: Floats,
) -> list[Lap]:
    """Call laps that went through a pit lane without gates "pit", as those between gates are.

    Parameters
    ----------
    track, drive
        What was timed.
    laps
        In order of time.
    time_s, position_m, aside
        Samples of the drive: times, places on its plane, shape (n, 2), and distances from the
        centreline, metres.
    """
    if track.gates_of_kind("pit-entry") and track.gates_of_kind("pit-exit"):
        return list(laps)
    visits = [
        visit
        for lane in track.pit_lanes
        for visit in _visits(
            track,
            drive.plane.to_plane(lane.longitude_deg, lane.latitude_deg),
            drive.plane.to_plane(track.centreline.longitude_deg, track.centreline.latitude_deg),
            time_s,
            position_m,
            aside,
        )
    ]

    def visited(lap: Lap) -> bool:
        if lap.start_s is None or lap.time_s is None or lap.kind != "flying":
            return False
        end_s = lap.start_s + lap.time_s
        return any(begin < end_s and end > lap.start_s for begin, end in visits)

    return [replace(lap, kind="pit") if visited(lap) else lap for lap in laps]


def _visits(
    track: Track,
    lane: Floats,
    line: Floats,
    time_s: Floats,
    position_m: Floats,
    aside: Floats,
) -> list[tuple[float, float]]:
    """List begin and end of visits of one lane, seconds."""
    half = 0.5 * track.band_m
    point, along = _points(lane)
    clear = _nearest(point, _points(line)[0])[1] > half
    clear_m = _POINT_M * int(np.count_nonzero(clear))
    off = np.flatnonzero(aside > half)
    if not clear_m or not len(off):
        return []
    nearest, away = _nearest(position_m[off], point)
    inside, where = np.zeros(len(aside), dtype=bool), np.zeros(len(aside))
    inside[off] = (away < aside[off]) & (away < _WITHIN_M)
    where[off] = along[nearest]
    return [
        (float(time_s[first]), float(time_s[last - 1]))
        for first, last in runs_of(inside)
        if np.ptp(where[first:last]) >= _SHARE * clear_m
    ]


def _points(line: Floats) -> tuple[Floats, Floats]:
    """Places a few metres apart along a line, and how far along it they are."""
    chord = np.linalg.norm(np.diff(line, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(chord)])
    along = np.linspace(0.0, at[-1], max(2, int(np.ceil(at[-1] / _POINT_M)) + 1))
    return np.column_stack([np.interp(along, at, line[:, axis]) for axis in (0, 1)]), along


def _nearest(place: Floats, point: Floats) -> tuple[Indices, Floats]:
    """Which point is nearest to each place, and how far away it is, metres."""
    squared = (point**2).sum(axis=1) - 2.0 * place @ point.T
    nearest = np.argmin(squared, axis=1)
    return nearest, np.linalg.norm(place - point[nearest], axis=1)
