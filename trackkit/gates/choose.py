"""Default places of gates: the finish gate on a fast, clear straight, sector gates evenly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.geometry.bends import find_bends, smoothed_curvature
from trackkit.geometry.clearance import clearance
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import distance_to_segments
from trackkit.track.model import ASSUMED_BAND_M, Track

GATE_RADIUS_M = 150.0
"""A place is fit for a sector gate where the line is straighter than this."""
CLEAR_M = 0.5 * ASSUMED_BAND_M + 10.0
"""A place is fit for a gate where every other piece of track is farther than this."""
GATES_APART_M = 25.0
SLOWEST_SHARE = 0.5
"""A place is fit for a sector gate where cars go at this share of their top speed, or faster: the
uncertainty of a time is that of the position over the speed."""
_FEW_PLACES = 160
_PLACE_STEP_M = 6.0
_MOST_TRIED = 60
_FAR_ENOUGH_M = 40.0
_UNFIT_SHARE = 1e-3
"""What is left of a place's worth where no finish gate can be."""

SpeedByChainage = tuple[Floats, Floats]
"""Chainages, metres, in rising order from 0, and speeds there, m/s."""


def choose_finish(
    curve: Curve,
    speed: SpeedByChainage | None,
    unfit: Callable[[Floats], Flags] | None = None,
) -> tuple[float, str]:
    """Choose a place for the finish gate of a closed line.

    On the longest straight that is clear of other track, where cars are fast: of its places, those
    in its middle three fifths (short of the braking zone), the one of highest speed weighed with
    how far every other piece of track is, up to 40 m.  A line without a straight is judged as a
    whole, and its place weighed with the radius there besides, up to `GATE_RADIUS_M`.

    Parameters
    ----------
    curve, speed
        The line, and speeds along it where known.
    unfit
        Says of chainages, metres, which of them no finish gate can be at; they are taken only
        where there are no others.

    Returns
    -------
    chainage_m, why
        The place, and a clause that says why.
    """
    _, straights = find_bends(curve)
    ranked = sorted(straights, key=lambda s: s.length_m, reverse=True)
    stretches = [(s.start_m + 0.2 * s.length_m, 0.6 * s.length_m, s.length_m) for s in ranked[:6]]
    if not stretches:
        stretches = [(0.0, curve.length_m, 0.0)]
    best: tuple[float, float, float, float] | None = None
    for start, reach, length in stretches:
        places = curve.wrap(start + np.linspace(0.0, reach, min(_FEW_PLACES, int(reach) + 2)))
        clear = np.minimum(clearance(curve, places), 1e6)
        pace = _pace(curve, speed, places)
        score = pace / pace.max() * np.minimum(clear / _FAR_ENOUGH_M, 1.0)
        if not straights:
            bend = np.abs(curve.curvature(places))
            score = score * np.minimum(1.0, 1.0 / np.maximum(GATE_RADIUS_M * bend, 1e-9))
        if unfit is not None:
            bad = unfit(places)
            score = np.where(bad, score * _UNFIT_SHARE, score)
            clear = np.where(bad, np.minimum(clear, CLEAR_M * _UNFIT_SHARE), clear)
        index = int(np.argmax(score))
        candidate = (float(places[index]), length, float(clear[index]), float(pace[index]))
        if best is None or (best[2] < CLEAR_M < candidate[2]):
            best = candidate
        if best[2] >= CLEAR_M:
            break
    assert best is not None  # noqa: S101 - there is always at least one stretch
    chainage, length, clear_m, pace_mps = best
    where = (
        f"on the longest clear straight ({length:.0f} m)"
        if length
        else "where the line is farthest from other pieces of track, since it has no straight"
    )
    fast = ""
    if speed is not None:
        fast = (
            f", where cars pass at {3.6 * pace_mps:.0f} km/h "
            f"(fastest anywhere: {3.6 * float(speed[1].max()):.0f} km/h)"
        )
    if clear_m >= 1e6:
        room = "with no other piece of track beside it"
    else:
        room = f"{clear_m:.0f} m from the nearest other piece of track"
    return chainage, f"{where}{fast}, {room}"


def _pace(curve: Curve, speed: SpeedByChainage | None, chainage_m: Floats) -> Floats:
    if speed is None:
        return np.ones(len(chainage_m))
    period = curve.length_m if curve.closed else None
    return np.interp(chainage_m, speed[0], speed[1], period=period)


def elapsed_time_s(chainage_m: Floats, speed_mps: Floats) -> Floats:
    """Time driven from the first of some places to each, by the trapezium rule on the pace.

    Parameters
    ----------
    chainage_m
        Places in the order they are passed, metres, shape (n,), n at least 1.
    speed_mps
        Speed at each, above 0, shape (n,).

    Returns
    -------
    ndarray
        Seconds, shape (n,), from 0.
    """
    pace = 1.0 / speed_mps
    step = 0.5 * np.diff(chainage_m) * (pace[:-1] + pace[1:])
    return np.concatenate([[0.0], np.cumsum(step)])


def choose_sectors(
    track: Track, sectors: int, speed: SpeedByChainage | None
) -> tuple[list[float], tuple[str, ...]]:
    """Choose places for the sector gates that make a number of sectors.

    Equal in time where speeds are known, in length otherwise; each is then moved to the nearest
    place fit for a gate: straighter than `GATE_RADIUS_M`, driven at `SLOWEST_SHARE` of the top
    speed or more, `CLEAR_M` from every other piece of track and `GATES_APART_M` from other gates.

    Returns
    -------
    chainages_m, remarks
    """
    curve = track.curve
    begin = track.timed_from.chainage_m
    length = curve.length_m if track.closed else track.finish.chainage_m - begin
    grid = np.linspace(0.0, length, max(int(length), 200) + 1)
    pace = np.maximum(_pace(curve, speed, grid + begin), 1.0)
    spent = elapsed_time_s(grid, pace)
    wanted = np.interp(np.arange(1, sectors) / sectors * spent[-1], spent, grid) + begin
    bend = np.abs(smoothed_curvature(curve, curve.wrap(grid + begin)))
    fit = (bend < 1.0 / GATE_RADIUS_M) & (pace >= SLOWEST_SHARE * pace.max())
    chosen: list[float] = []
    remarks: list[str] = []
    taken = [begin, begin + length]
    for place in wanted.tolist():
        where = _nearest_fit(curve, place, grid + begin, fit, [*taken, *chosen])
        if where is None:
            where = place
            remarks.append(
                f"no place near {place:.0f} m is straight, fast and clear enough for a sector "
                "gate; it was put there all the same"
            )
        chosen.append(where)
    basis = "time" if speed is not None else "length"
    moved = [f"{w:.0f} m (from {p:.0f} m)" for w, p in zip(chosen, wanted, strict=True)]
    remarks.insert(
        0,
        f"{sectors} sectors equal in {basis}, gates at the nearest fit places: " + ", ".join(moved),
    )
    return sorted(float(curve.wrap(c)) for c in chosen), tuple(remarks)


def _nearest_fit(
    curve: Curve,
    place_m: float,
    grid_m: Floats,
    fit: Flags,
    taken_m: list[float],
) -> float | None:
    reach = 0.5 * (grid_m[-1] - grid_m[0]) / max(len(taken_m), 2)
    away = np.abs(grid_m - place_m)
    apart = np.abs(grid_m[:, None] - np.array(taken_m)).min(axis=1)
    worth = fit & (away <= reach) & (apart >= GATES_APART_M)
    places = grid_m[worth][np.argsort(away[worth], kind="stable")]
    begin, count = 0, 1
    # The first is mostly clear; where none is, as on a line across itself, many go at once.
    while begin < len(places):
        block = places[begin : begin + count]
        clear = clearance(curve, block) >= CLEAR_M
        if clear.any():
            return float(block[np.argmax(clear)])
        begin, count = begin + count, 2 * count
    return None


def near_pits(track: Track, chainage_m: Floats) -> Flags:
    """Find places whose gate would reach the pit lane."""
    near = np.zeros(len(chainage_m), dtype=bool)
    reach = 0.5 * track.band_m + 4.0 + 3.0
    position = track.curve.position(chainage_m)
    for lane in track.pit_lanes:
        line = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
        for index, point in enumerate(position):
            near[index] |= float(distance_to_segments(point, line[:-1], line[1:]).min()) < reach
    return near


def nearest_clear(track: Track, chainage_m: float, place_m: Floats, fit: Flags) -> float | None:
    """Find the nearest place for a gate that is fit, and clear of other track and the pit lane.

    Parameters
    ----------
    track
        The track.
    chainage_m
        Where the gate is now.
    place_m, fit
        Places in rising order, and which of them are fit otherwise, each shape (n,).

    Returns
    -------
    float or None
        Its chainage, metres; None where none of those looked at is clear.
    """
    every = max(1, round(_PLACE_STEP_M / float(place_m[1] - place_m[0])))
    places = place_m[::every][fit[::every]]
    places = places[np.argsort(track.curve.separation(places, chainage_m), kind="stable")]
    for where in places[:_MOST_TRIED]:
        here = np.array([where])
        if clearance(track.curve, here)[0] >= CLEAR_M and not near_pits(track, here)[0]:
            return float(where)
    return None
