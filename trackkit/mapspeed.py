"""A recording's drive cut into stretches by class of speed, for drawing."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trackkit.geodesy import Floats, LocalPlane, geodesic_distance, wrap_longitude
from trackkit.recording import Recording
from trackkit.track import Track

CLASS_COUNT = 5
SIMPLIFY_M = 0.1
STANDSTILL_MPS = 1.0
"""Slower than this is standing (walking pace); it does not stretch the scale of speeds."""
WINDOW_S = 1.0
"""Speed is worked out from positions over this time: over one interval of a fast receiver the
noise of a position, 0.15 m, would be several metres a second."""
_STEPS_KMH = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500)


@dataclass(frozen=True)
class SpeedScale:
    """Classes of speed, slowest first, parted by `bounds_kmh`."""

    bounds_kmh: tuple[int, ...]

    def labels(self) -> list[str]:
        """Each class in words and units."""
        first, last = self.bounds_kmh[0], self.bounds_kmh[-1]
        between = [f"{a} to {b} km/h" for a, b in pairwise(self.bounds_kmh)]
        return [f"under {first} km/h", *between, f"{last} km/h and over"]


@dataclass(frozen=True)
class Drive:
    """A recording ready to be drawn.

    `lines_json` is a JSON array with, for each class of speed, an array of polylines, each an
    array of [latitude, longitude].  `distance_m` is how near it came to the track, roughly: from
    fix to vertex, and not from every one of them.
    """

    name: str
    lines_json: str
    fix_count: int
    duration_s: float
    top_kmh: float
    derived: bool
    distance_m: float


def speed_mps(recording: Recording) -> tuple[Floats, bool]:
    """Speed at each fix, m/s, shape (n,), and whether any of it was worked out from positions.

    Where the receiver gave none it is the distance between the places half a window before and
    after, found on straight lines between fixes within one unbroken stretch.
    """
    given = recording.speed_mps
    speed = np.full(len(recording), np.nan) if given is None else np.array(given, dtype=float)
    missing = ~np.isfinite(speed)
    if not missing.any():
        return speed, False
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    position = plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    for first, last in _stretches(recording):
        stretch = slice(first, last)
        time = recording.time_s[stretch]
        if len(time) < 2:
            speed[stretch] = np.where(missing[stretch], 0.0, speed[stretch])
            continue
        half = 0.5 * max(WINDOW_S, 2.0 * float(np.median(np.diff(time))))
        before, after = np.maximum(time - half, time[0]), np.minimum(time + half, time[-1])
        moved = [
            np.interp(after, time, axis) - np.interp(before, time, axis)
            for axis in position[stretch].T
        ]
        derived = np.hypot(*moved) / (after - before)
        speed[stretch] = np.where(missing[stretch], derived, speed[stretch])
    return speed, True


def speed_scale(speeds_mps: Sequence[Floats]) -> SpeedScale:
    """Choose round class bounds that spread the speeds driven over the classes."""
    pooled = np.concatenate([np.asarray(speed, dtype=float) for speed in speeds_mps])
    moving = 3.6 * pooled[pooled > STANDSTILL_MPS]
    low, high = np.percentile(moving, [3, 97]) if len(moving) else (0.0, 0.0)
    wanted = (high - low) / CLASS_COUNT
    step = next((step for step in _STEPS_KMH if step >= wanted), _STEPS_KMH[-1])
    grain = 5 if step % 5 == 0 else 2 if step % 2 == 0 else 1
    first = round((0.5 * (low + high) - 0.5 * (CLASS_COUNT - 2) * step) / grain) * grain
    first = max(first, grain)
    return SpeedScale(tuple(first + step * n for n in range(CLASS_COUNT - 1)))


def drive(
    recording: Recording, speed: Floats, derived: bool, scale: SpeedScale, track: Track
) -> Drive:
    """Cut a recording into stretches of one class of speed, each simplified by at most 0.1 m.

    Longitudes come out continuous around the track's, not the recording's.
    """
    import shapely

    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    position = plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    first, last, speed_class = _runs(recording, speed, scale)
    lines: list[list[list[list[float]]]] = [[] for _ in range(CLASS_COUNT)]
    if len(first):
        vertex = np.concatenate([np.arange(a, b + 1) for a, b in zip(first, last, strict=True)])
        owner = np.repeat(np.arange(len(first)), last - first + 1)
        drawn = shapely.simplify(shapely.linestrings(position[vertex], indices=owner), SIMPLIFY_M)
        kept, owner = shapely.get_coordinates(drawn, return_index=True)
        longitude, latitude = plane.to_geographic(kept)
        near = track.plane.longitude_deg
        longitude = near + wrap_longitude(longitude - near)
        pairs = np.round(np.stack([latitude, longitude], axis=-1), 7)
        edges = np.flatnonzero(np.diff(owner)) + 1
        for part, run in zip(np.split(pairs, edges), owner[[0, *edges]], strict=True):
            lines[int(speed_class[run])].append(part.tolist())
    return Drive(
        name=recording.name,
        lines_json=json.dumps(lines, separators=(",", ":")),
        fix_count=len(recording),
        duration_s=recording.duration_s,
        top_kmh=3.6 * float(np.nanmax(speed)),
        derived=derived,
        distance_m=_distance_m(recording, track),
    )


def _distance_m(recording: Recording, track: Track) -> float:
    line = track.centreline
    fix = np.linspace(0, len(recording) - 1, 200).astype(int)
    vertex = np.linspace(0, len(line.longitude_deg) - 1, 200).astype(int)
    apart = geodesic_distance(
        recording.longitude_deg[fix][:, None],
        recording.latitude_deg[fix][:, None],
        line.longitude_deg[vertex][None, :],
        line.latitude_deg[vertex][None, :],
    )
    return float(apart.min())


def _segment(recording: Recording) -> NDArray[np.intp]:
    if recording.segment is None:
        return np.zeros(len(recording), dtype=np.intp)
    return recording.segment


def _stretches(recording: Recording) -> list[tuple[int, int]]:
    """First and one-past-last fix of each unbroken stretch."""
    breaks = np.flatnonzero(np.diff(_segment(recording))) + 1
    edges = [0, *breaks.tolist(), len(recording)]
    return list(pairwise(edges))


def _runs(
    recording: Recording, speed: Floats, scale: SpeedScale
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """First fix, last fix and class of each run of steps that share a class and are unbroken."""
    step_kmh = 3.6 * 0.5 * (speed[:-1] + speed[1:])
    step_class = np.searchsorted(np.asarray(scale.bounds_kmh, dtype=float), step_kmh, side="right")
    whole = np.diff(_segment(recording)) == 0
    step = np.flatnonzero(whole)
    if not len(step):
        nothing = np.empty(0, dtype=np.intp)
        return nothing, nothing, nothing
    starts = (np.diff(step) > 1) | (np.diff(step_class[step]) != 0)
    first = np.concatenate([[0], np.flatnonzero(starts) + 1])
    last = np.concatenate([np.flatnonzero(starts), [len(step) - 1]])
    return step[first], step[last] + 1, step_class[step[first]]
