"""One smooth line out of the laps found: aligned, averaged, fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.curve import Curve
from trackkit.geodesy import MEAN_EARTH_RADIUS_M, Floats, LocalPlane
from trackkit.laps_found import FoundLap, sort_out
from trackkit.track import Centreline, Crossover, Direction

SMOOTHING_WAVELENGTH_M = 12.0
"""Features of the line this long keep half their size; longer ones keep nearly all of it."""
HEIGHT_WAVELENGTH_M = 80.0
_ORDER = 3
_SPACING_M = 1.0
_ROUNDS = 2
_CROSSING_ANGLE_DEG = 20.0
_MOST_WANDER_M = 3.0


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
        A sentence for each lap that was not used.
    chainage_m, spread_m, speed_mps, height_m
        Shape (n,): even chainages along the curve, and at each the standard deviation of the
        laps' sideways places (NaN for one lap), the median speed, and the height (NaN where
        unknown).
    """

    curve: Curve
    laps: tuple[FoundLap, ...]
    rejected: tuple[str, ...]
    chainage_m: Floats
    spread_m: Floats
    speed_mps: Floats
    height_m: Floats


def fit_line(laps: list[FoundLap], *, closed: bool) -> FittedLine:
    """Average laps into one line.

    The lap most like the others is the first guess.  Each lap's sideways distance from it is read
    by chainage; the shift of each lap as a whole, which is the receiver's wander, is replaced by
    the mean shift; the mean of what is left moves the guess.  Twice over.

    Parameters
    ----------
    laps
        At least one, all on the same plane.
    closed
        Whether they are laps, or runs of a point-to-point course.
    """
    first = laps[_most_typical(laps)]
    curve = _first_guess(first, closed=closed)
    kept, rejected = sort_out(laps, curve)
    if first not in kept:
        kept.append(first)
    spread = np.empty(0)
    for _ in range(_ROUNDS):
        chainage = curve.chainages(_SPACING_M)
        offset = np.array([_by_chainage(curve, chainage, lap, None) for lap in kept])
        offset = _without_own_shift(offset, curve.left(chainage))
        mean = _robust_mean(offset)
        spread = offset.std(axis=0) if len(kept) > 1 else np.full(len(chainage), np.nan)
        moved = curve.position(chainage) + mean[:, None] * curve.left(chainage)
        curve = smoothed_curve(moved, closed=closed)
    chainage = curve.chainages(_SPACING_M)
    speeds = np.array([_by_chainage(curve, chainage, k, k.path.speed_mps) for k in kept])
    return FittedLine(
        curve=curve,
        laps=tuple(kept),
        rejected=tuple(rejected),
        chainage_m=chainage,
        spread_m=np.interp(
            chainage, np.linspace(0.0, curve.length_m, len(spread), endpoint=not closed), spread
        ),
        speed_mps=np.median(speeds, axis=0),
        height_m=_heights(curve, chainage, kept),
    )


def _most_typical(laps: list[FoundLap]) -> int:
    """Index of the lap whose length is the median."""
    lengths = np.array([lap.length_m for lap in laps])
    return int(np.argsort(lengths, kind="stable")[(len(laps) - 1) // 2])


def _first_guess(lap: FoundLap, *, closed: bool) -> Curve:
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


def smoothed_curve(position_m: Floats, *, closed: bool) -> Curve:
    """Fit a smoothing spline through positions along a line.

    The line is resampled evenly and its Fourier components are weighted with
    1 / (1 + (c / w)**6), where w is the wavelength and c `SMOOTHING_WAVELENGTH_M`: the smoothing
    spline that penalises the square of the third derivative, which is diagonal in that basis on
    an even grid (Wahba, Spline Models for Observational Data, 1990; from memory).
    """
    rough = Curve.through(position_m, closed=closed)
    spacing = min(_SPACING_M, rough.length_m / 200)
    even = rough.position(rough.chainages(spacing))
    return Curve.through(
        _low_pass(even, rough.length_m, SMOOTHING_WAVELENGTH_M, closed=closed), closed=closed
    )


def _low_pass(value: Floats, length_m: float, wavelength_m: float, *, closed: bool) -> Floats:
    """Smooth evenly spaced values, shape (n, k); an open line keeps its two ends."""
    signal = value
    base = np.zeros_like(value)
    if not closed:
        # Odd reflection of what is left over a straight base keeps the ends where they are.
        base = value[0] + np.linspace(0.0, 1.0, len(value))[:, None] * (value[-1] - value[0])
        bent = value - base
        signal = np.concatenate([bent, -bent[-2:0:-1]])
        length_m *= 2.0
    frequency = np.fft.rfftfreq(len(signal), d=length_m / len(signal))
    keep = 1.0 / (1.0 + (wavelength_m * frequency) ** (2 * _ORDER))
    smooth = np.fft.irfft(np.fft.rfft(signal, axis=0) * keep[:, None], n=len(signal), axis=0)
    return np.asarray(smooth[: len(value)] + base)


def _by_chainage(curve: Curve, chainage_m: Floats, lap: FoundLap, value: Floats | None) -> Floats:
    """Read a lap's sideways offset (or another value along it) at chainages of the curve."""
    part = lap.part
    where, offset = curve.project(lap.path.position_m[part], lap.path.direction[part])
    wanted = offset if value is None else value[part]
    if curve.closed:
        order = np.argsort(where)
        return np.interp(chainage_m, where[order], wanted[order], period=curve.length_m)
    order = np.argsort(where)
    return np.interp(chainage_m, where[order], wanted[order])


def _without_own_shift(offset_m: Floats, left: Floats) -> Floats:
    """Replace each lap's shift as a whole, east and north, by the mean shift of all laps."""
    if len(offset_m) == 1:
        return offset_m
    shift = np.linalg.lstsq(left, (offset_m - np.median(offset_m, axis=0)).T, rcond=None)[0]
    return np.asarray(offset_m - (left @ (shift - shift.mean(axis=1, keepdims=True))).T)


def _robust_mean(offset_m: Floats) -> Floats:
    """Mean over laps of the offsets within three robust standard deviations of their median."""
    if len(offset_m) < 3:
        return np.asarray(offset_m.mean(axis=0))
    middle = np.median(offset_m, axis=0)
    away = np.abs(offset_m - middle)
    # 1.4826 turns a median absolute deviation into a standard deviation of normal noise.
    scale = 1.4826 * np.median(away, axis=0) + 0.05
    near = away <= 3.0 * scale
    return np.asarray((offset_m * near).sum(axis=0) / near.sum(axis=0))


def _heights(curve: Curve, chainage_m: Floats, laps: list[FoundLap]) -> Floats:
    unknown = np.full(len(chainage_m), np.nan)
    known = [lap for lap in laps if np.isfinite(lap.path.elevation_m[lap.part]).mean() > 0.8]
    if not known:
        return unknown
    rows = []
    for lap in known:
        elevation = lap.path.elevation_m.copy()
        good = np.isfinite(elevation)
        elevation = np.interp(np.arange(len(elevation)), np.flatnonzero(good), elevation[good])
        rows.append(_by_chainage(curve, chainage_m, lap, elevation))
    mean = np.mean(rows, axis=0)
    return _low_pass(mean[:, None], curve.length_m, HEIGHT_WAVELENGTH_M, closed=curve.closed)[:, 0]


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
    first, second = shapely.STRtree(segment).query(segment, predicate="crosses")
    pair = first < second
    crossings = []
    for i, j in zip(first[pair].tolist(), second[pair].tolist(), strict=True):
        point = shapely.get_coordinates(shapely.intersection(segment[i], segment[j]))[0]
        ahead, across = position[i + 1] - position[i], position[j + 1] - position[j]
        cosine = abs(ahead @ across) / (np.linalg.norm(ahead) * np.linalg.norm(across))
        crossings.append(
            (
                float(edges[i] + np.linalg.norm(point - position[i])),
                float(edges[j] + np.linalg.norm(point - position[j])),
                float(np.degrees(np.arccos(min(1.0, cosine)))),
            )
        )
    return sorted(crossings)


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


def samples_within(chainage_m: Floats, begin_m: float, end_m: float) -> NDArray[np.bool_]:
    """Mark chainages in a stretch; a stretch whose end is before its begin runs over the datum."""
    if begin_m <= end_m:
        return np.asarray((chainage_m >= begin_m) & (chainage_m <= end_m))
    return np.asarray((chainage_m >= begin_m) | (chainage_m <= end_m))
