"""One smooth line out of the laps found: aligned, averaged, fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.averaging import Average, Reading, averaged, read_lap
from trackkit.curve import Curve
from trackkit.geodesy import MEAN_EARTH_RADIUS_M, Floats, LocalPlane
from trackkit.laps_found import FoundLap, sort_out
from trackkit.linesmoothing import (
    SMOOTHING_WAVELENGTH_M,
    Noise,
    chosen_wavelength,
    low_pass,
    noise_of_laps,
    noise_of_receiver,
    smoothed_curve,
)
from trackkit.track import Centreline, Crossover, Direction

HEIGHT_WAVELENGTH_M = 80.0
_SPACING_M = 1.0
_ROUNDS = 2
_CROSSING_ANGLE_DEG = 20.0
_MOST_WANDER_M = 3.0
_FEWEST_FOR_NOISE = 4
_MOST_HEIGHTS = 0.8
_USUAL_SHARE = 0.1
"""A lap that strays over less than this share of the way is as usual as any."""


@dataclass(frozen=True, eq=False)
class FittedLine:
    """A line fitted to laps.

    Parameters
    ----------
    curve
        The line on its plane.
    laps
        The laps it is made of.
    rejected
        The laps that leave the line for good, each with a sentence.
    chainage_m, spread_m, speed_mps, height_m
        Shape (n,): even chainages along the curve, and at each the standard deviation of the
        laps' sideways places (NaN for one lap), the median speed, and the height (NaN where
        unknown).
    offset_m, weight
        Sideways places of each lap freed of its own shift, and how much each counted; shape
        (laps, n).
    accuracy_m, basis
        One sigma of the line's place on one axis, and how that was estimated.
    wavelength_m
        With what the line was smoothed.
    """

    curve: Curve
    laps: tuple[FoundLap, ...]
    rejected: tuple[tuple[FoundLap, str], ...]
    chainage_m: Floats
    spread_m: Floats
    speed_mps: Floats
    height_m: Floats
    offset_m: Floats
    weight: Floats
    accuracy_m: float
    basis: str
    wavelength_m: float


def fit_line(
    laps: Sequence[FoundLap], *, closed: bool, strays: Sequence[FoundLap] = ()
) -> FittedLine:
    """Average laps into one line.

    The lap most like the others is the first guess.  Each lap's sideways distance from it is read
    by chainage, freed of the lap's own shift and averaged robustly (`averaging.averaged`); the
    mean moves the guess.  Twice over; then the line is smoothed as its noise asks for.

    Parameters
    ----------
    laps
        At least one, all on the same plane.
    closed
        Whether they are laps, or runs of a point-to-point course.
    strays
        More laps, known to leave the line: used only if they turn out to follow it.
    """
    curve, kept, rejected = _guess(laps, strays, closed=closed)
    wavelength = SMOOTHING_WAVELENGTH_M
    for _ in range(_ROUNDS):
        chainage = curve.chainages(_SPACING_M)
        readings = [read_lap(curve, chainage, lap) for lap in kept]
        average = averaged(curve, chainage, kept, readings)
        moved = curve.position(chainage) + average.mean_m[:, None] * curve.left(chainage)
        noise = _noise(kept, average, float(chainage[1] - chainage[0]))
        wavelength = chosen_wavelength(moved, closed=closed, noise=noise)
        curve = smoothed_curve(moved, closed=closed, wavelength_m=wavelength)
    # The line has moved by centimetres since: its chainages stretch with its length.
    chainage = chainage * (curve.length_m / (chainage[-1] + (chainage[1] if closed else 0.0)))
    return FittedLine(
        curve=curve,
        laps=tuple(kept),
        rejected=tuple(rejected),
        chainage_m=chainage,
        spread_m=average.spread_m,
        speed_mps=np.median([reading.speed_mps for reading in readings], axis=0),
        height_m=_heights(curve, readings),
        offset_m=average.offset_m - average.mean_m,
        weight=average.weight,
        accuracy_m=average.accuracy_m,
        basis=average.basis,
        wavelength_m=wavelength,
    )


def _guess(
    laps: Sequence[FoundLap], strays: Sequence[FoundLap], *, closed: bool
) -> tuple[Curve, list[FoundLap], list[tuple[FoundLap, str]]]:
    """Lay a first line along the lap that is most like the others, and sort out the laps by it."""
    first = laps[_most_typical(laps)]
    curve = first_guess(first, closed=closed)
    if len(laps) > 2:
        chainage = curve.chainages(4.0)
        offset = np.array([read_lap(curve, chainage, lap).offset_m for lap in laps])
        known = np.isfinite(offset).any(axis=0)
        middle = np.nanmedian(offset[:, known], axis=0)
        away = np.nanquantile(np.abs(offset[:, known] - middle), 1.0 - _USUAL_SHARE, axis=1)
        # The first lap itself may be the one that went off; the one nearest to the middle is not.
        nearest = laps[int(np.argmin(away + 0.5 * np.nanmax(np.abs(offset[:, known] - middle), 1)))]
        if nearest is not first:
            first, curve = nearest, first_guess(nearest, closed=closed)
    kept, rejected = sort_out([*laps, *strays], curve)
    if first not in kept:
        kept.append(first)
        rejected = [pair for pair in rejected if pair[0] is not first]
    return curve, kept, rejected


def _most_typical(laps: Sequence[FoundLap]) -> int:
    """Index of the lap whose length is the median."""
    lengths = np.array([lap.length_m for lap in laps])
    return int(np.argsort(lengths, kind="stable")[(len(laps) - 1) // 2])


def first_guess(lap: FoundLap, *, closed: bool) -> Curve:
    """Lay a line along one lap, closed where it should be."""
    position = lap.path.position_m[lap.part].copy()
    if closed:
        following = min(lap.end, len(lap.path.position_m) - 1)
        gap = lap.path.position_m[following] - position[0]
        # Only what lies across the direction of travel can be the receiver's wander, and only so
        # much of it; the rest is where the lap was begun or ended, and the spline bridges it.
        ahead = lap.path.direction[lap.begin]
        across = gap - float(gap @ ahead) * ahead
        across *= min(1.0, _MOST_WANDER_M / max(float(np.linalg.norm(across)), 1e-9))
        position -= np.linspace(0.0, 1.0, len(position))[:, None] * across
        while len(position) > 4 and (position[0] - position[-1]) @ ahead < 0.5 * lap.path.step_m:
            position = position[:-1]
    return smoothed_curve(position, closed=closed)


def _noise(laps: list[FoundLap], average: Average, step_m: float) -> Noise:
    if len(laps) >= _FEWEST_FOR_NOISE:
        rest = np.where(average.weight > 0, average.offset_m, average.mean_m)
        return noise_of_laps(rest, average.weight, average.mean_m, step_m)
    drive = laps[0].path.drive
    levels = drive.levels
    return noise_of_receiver(
        speed_mps=float(np.median(laps[0].path.speed_mps[laps[0].part])),
        interval_s=drive.recording.interval_s,
        white_m=levels.white_m,
        doppler_mps=levels.doppler_mps if drive.has_doppler else None,
        laps=len(laps),
    )


def _heights(curve: Curve, readings: list[Reading]) -> Floats:
    rows = []
    for reading in readings:
        good = np.isfinite(reading.elevation_m)
        if good.mean() > _MOST_HEIGHTS:
            at = np.arange(len(good))
            rows.append(np.interp(at, at[good], reading.elevation_m[good]))
    if not rows:
        return np.full(len(readings[0].elevation_m), np.nan)
    mean = np.mean(rows, axis=0)
    return low_pass(mean[:, None], curve.length_m, HEIGHT_WAVELENGTH_M, closed=curve.closed)[:, 0]


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
    level = np.diff(chainage) * (1.0 + 0.5 * (height[:-1] + height[1:]) / MEAN_EARTH_RADIUS_M)
    return float(np.hypot(level, np.diff(height)).sum())


def direction_of(curve: Curve) -> Direction | None:
    """Racing direction of a closed line, or None for an open one or a figure of eight.

    By the turning number (Whitney 1937; from memory): a simple loop driven anticlockwise turns
    once to the left, a figure of eight not at all.
    """
    if not curve.closed:
        return None
    turns = round(curve.turning())
    if turns == 0:
        return None
    return "anticlockwise" if turns > 0 else "clockwise"


def self_crossings(curve: Curve) -> list[tuple[float, float, float]]:
    """Find where a line crosses itself.

    Returns
    -------
    list of (first_m, second_m, angle_deg)
        The two chainages of each crossing and the angle between the two passages, 0 to 90.
    """
    import shapely

    chainage = curve.chainages(min(1.0, curve.length_m / 400))
    edges = np.append(chainage, curve.length_m) if curve.closed else chainage
    position = curve.position(edges)
    if curve.closed:
        position[-1] = position[0]
    segment = np.asarray(shapely.linestrings(np.stack([position[:-1], position[1:]], axis=1)))
    first, second = shapely.STRtree(segment).query(segment, predicate="intersects")
    apart = second - first
    pair = (apart > 1) & ~(curve.closed & (apart == len(segment) - 1))
    step = float(edges[1])
    crossings: list[tuple[float, float, float]] = []
    for i, j in zip(first[pair].tolist(), second[pair].tolist(), strict=True):
        point = shapely.get_coordinates(shapely.intersection(segment[i], segment[j]))[0]
        here = float(edges[i] + np.linalg.norm(point - position[i]))
        there = float(edges[j] + np.linalg.norm(point - position[j]))
        # Where the lines cross at a vertex, up to four pairs of segments only touch there.
        if not shapely.crosses(segment[i], segment[j]) and not _passes(curve, here, there, step):
            continue
        if curve.closed and there > curve.length_m - 0.5 * step:
            here, there = max(there - curve.length_m, 0.0), here
        if any(
            max(curve.separation(here, a), curve.separation(there, b)) < step
            for a, b, _ in crossings
        ):
            continue
        ahead, across = position[i + 1] - position[i], position[j + 1] - position[j]
        cosine = abs(ahead @ across) / (np.linalg.norm(ahead) * np.linalg.norm(across))
        crossings.append((here, there, float(np.degrees(np.arccos(min(1.0, cosine))))))
    return sorted(crossings)


def _passes(curve: Curve, here_m: float, there_m: float, step_m: float) -> bool:
    """Whether a line goes from one side to the other of another passage that it touches."""
    at = np.array([here_m - step_m, here_m + step_m])
    if not curve.closed:
        at = np.clip(at, 0.0, curve.length_m)
    sides = (curve.position(at) - curve.position(there_m)) @ curve.left(there_m)
    return bool(sides[0] * sides[1] < 0)


def bridges(
    curve: Curve, chainage_m: Floats, height_m: Floats
) -> tuple[tuple[Crossover, ...], list[str]]:
    """Declare a bridge where a line crosses itself at an angle.

    Returns
    -------
    crossovers, remarks
        Which passage is above is read from the heights; where they cannot tell, the earlier
        passage is taken to be above and a remark says so.
    """
    found, remarks = [], []
    for first, second, angle in self_crossings(curve):
        if angle < _CROSSING_ANGLE_DEG:
            continue
        heights = np.interp([first, second], chainage_m, height_m)
        told = bool(np.all(np.isfinite(heights))) and abs(heights[0] - heights[1]) > 2.0
        over, under = (second, first) if told and heights[1] > heights[0] else (first, second)
        found.append(Crossover(over, under))
        remarks.append(
            f"the line crosses itself at {first:.0f} m and {second:.0f} m: taken as a bridge"
            + ("" if told else " (heights do not tell which passage is above)")
        )
    return tuple(found), remarks


def lay(
    curve: Curve,
    plane: LocalPlane,
    *,
    start_m: float = 0.0,
    heights: tuple[Floats, Floats] | None = None,
) -> Centreline:
    """Turn a curve into the stored polyline of a track.

    Parameters
    ----------
    curve, plane
        The line and the plane it lies on.
    start_m
        Chainage of the first vertex of a closed line (where the finish gate is), metres.
    heights
        Chainages and heights, metres, to interpolate the vertices' heights from.
    """
    if curve.closed and start_m:
        even = curve.chainages(min(0.5, curve.length_m / 400))
        turned = Curve.through(curve.position(start_m + even), closed=True)
        chainage = turned.sampled()
        vertex = turned.position(chainage)
        where = curve.wrap(start_m + chainage * (curve.length_m / turned.length_m))
    else:
        chainage = where = curve.sampled()
        vertex = curve.position(chainage)
    if curve.closed:
        vertex, where = np.vstack([vertex, vertex[:1]]), np.append(where, where[0])
    height = None
    if heights is not None and np.all(np.isfinite(heights[1])):
        period = curve.length_m if curve.closed else None
        height = np.interp(where, heights[0], heights[1], period=period)
    longitude, latitude = plane.to_geographic(vertex)
    return Centreline(longitude, latitude, curve.closed, height_m=height)
