"""Remedies about a gate: each function makes one, with the place and the width that it takes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats
from trackkit.gates.choose import GATE_RADIUS_M, GATES_APART_M, nearest_clear
from trackkit.gates.square import NARROWEST_HALF_M, square_ends, widest_clear_m
from trackkit.geometry.bends import smoothed_curvature
from trackkit.remedies import Remedy
from trackkit.track.features import BESIDE_THE_TRACK, Gate, Position
from trackkit.track.model import Track, end_gate_m
from trackkit.track.places import to_decimetre

_WORTH_M = 0.25
"""Ends that reach less than this farther or nearer make no difference."""
_PLACES_M = 6.0
_DECIMALS = 8


def put_square(
    track: Track, gate: Gate, chainage_m: float, what: str, width_m: float | None = None
) -> Remedy:
    """Put a gate square to the track.

    Parameters
    ----------
    track, gate
        The gate, and its track.
    chainage_m
        Where.
    what
        What that does, a clause.
    width_m
        How wide; as wide as it is, or as there is room for, when None.
    """
    if width_m is None:
        room = widest_clear_m(track, chainage_m)
        if room is not None and room < gate.width_m - 2.0 * _WORTH_M:
            width_m = _decimetres(room)
    return Remedy(
        what,
        do="gate move",
        feature=gate.id,
        chainage_m=to_decimetre(track, chainage_m),
        value=None if width_m is None else {"width_m": width_m},
    )


def put_at_ends(gate: Gate, left: Position, right: Position, what: str) -> Remedy:
    """Give a gate two ends, (longitude, latitude) in degrees, exactly."""
    ends = {"left": left, "right": right}
    value = {side: [round(degrees, _DECIMALS) for degrees in end] for side, end in ends.items()}
    return Remedy(what, do="gate move", feature=gate.id, value=value)


def put_where_it_is(track: Track, gate: Gate, chainage_m: float, what: str) -> Remedy:
    """Put a gate where it is, so that what follows from its place is written anew.

    Surveyed ends and those of a gate across the pit lane are kept; the left one becomes the one
    on the driver's left.
    """
    if not gate.surveyed and gate.kind not in BESIDE_THE_TRACK:
        return put_square(track, gate, chainage_m, what)
    ends = track.gate_ends(gate)
    turned = float((ends[0] - ends[1]) @ track.curve.left(chainage_m)) < 0
    left, right = (gate.right, gate.left) if turned else (gate.left, gate.right)
    return put_at_ends(gate, left, right, what)


def remove_either(before: Gate, after: Gate) -> Remedy:
    """Remove the later of two gates that lie too close, or the earlier where that is required."""
    for gate in (after, before):
        if gate.kind not in ("finish", "start"):
            return Remedy(f"remove {gate.name}, or move it", do="gate remove", feature=gate.id)
    return Remedy("move one of them")


def make_wider(track: Track, gate: Gate, chainage_m: float, least_m: float = 0.0) -> Remedy:
    """Make a gate as wide as there is room for, or have it moved to where there is more.

    Parameters
    ----------
    track, gate, chainage_m
        The gate, its track, and where it crosses the line.
    least_m
        A width less than this is of no help.
    """
    room = widest_clear_m(track, chainage_m)
    least = max(least_m, 2.0 * (min(_reaches(track, gate, chainage_m)) + _WORTH_M))
    if room is None or room < least:
        return _put_where_there_is_room(track, gate, chainage_m)
    width = _decimetres(room)
    return put_square(track, gate, chainage_m, f"make it {width:.1f} m wide", width)


def make_narrower(
    track: Track, gate: Gate, chainage_m: float, good: Callable[[Gate], bool] | None = None
) -> Remedy:
    """Make a gate narrower, or have it moved to where the track has more room.

    Parameters
    ----------
    track, gate, chainage_m
        The gate, its track, and where it crosses the line.
    good
        Whether the gate, square and of another width, will do; every narrower one then does too.
        None to take the width that other pieces of track leave room for.
    """
    if gate.kind in BESIDE_THE_TRACK:
        return Remedy("make it narrower, or move it")
    room = (
        widest_clear_m(track, chainage_m)
        if good is None
        else _widest_good(track, gate, chainage_m, good)
    )
    most = 2.0 * (max(_reaches(track, gate, chainage_m)) - _WORTH_M)
    if room is None or min(room, gate.width_m) > most:
        return _put_where_there_is_room(track, gate, chainage_m)
    width = _decimetres(min(room, gate.width_m))
    what = f"make it {width:.1f} m wide, or move it where the track has more room"
    return put_square(track, gate, chainage_m, what, width)


def _reaches(track: Track, gate: Gate, chainage_m: float) -> Floats:
    """How far a gate's ends are from the place where it crosses the line, metres."""
    away = track.gate_ends(gate) - track.curve.position(chainage_m)
    return np.asarray(np.linalg.norm(away, axis=1))


def _widest_good(
    track: Track, gate: Gate, chainage_m: float, good: Callable[[Gate], bool]
) -> float | None:
    """Find the widest square gate that will do, by halving; None where none does."""

    def square(width_m: float) -> Gate:
        left, right, _ = square_ends(track, chainage_m, width_m)
        return replace(gate, left=left, right=right)

    low, high = 2.0 * NARROWEST_HALF_M, gate.width_m
    if high < low or not good(square(low)):
        return None
    while high - low > 2.0 * _WORTH_M:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if good(square(middle)) else (low, middle)
    return low


def _put_where_there_is_room(track: Track, gate: Gate, chainage_m: float) -> Remedy:
    place = track.curve.chainages(_PLACES_M)
    straight = np.abs(smoothed_curvature(track.curve, place)) < 1.0 / GATE_RADIUS_M
    return put_elsewhere(track, gate, chainage_m, place, straight, "where the track has more room")


def put_elsewhere(
    track: Track,
    gate: Gate,
    chainage_m: float,
    place_m: Floats,
    fit: NDArray[np.bool_],
    where: str,
) -> Remedy:
    """Move a gate to the nearest fit place that is clear of other track and of the pit lane.

    Parameters
    ----------
    track, gate, chainage_m
        The gate, its track, and where it crosses the line.
    place_m, fit
        See `trackkit.gates.choose.nearest_clear`.
    where
        What such a place is, a clause.
    """
    place = nearest_clear(track, chainage_m, place_m, fit & _clear_of_ends(track, gate, place_m))
    if place is None:
        return Remedy(f"move it {where}")
    at = to_decimetre(track, place)
    return put_square(track, gate, at, f"move it {where}, such as {at:.1f} m")


def _clear_of_ends(track: Track, gate: Gate, place_m: Floats) -> NDArray[np.bool_]:
    """Find places that are not right beside where a lap, or a course, begins and ends."""
    if track.closed:
        apart = np.asarray(track.curve.separation(place_m, 0.0))
        return apart > (0.0 if gate.kind == "finish" else GATES_APART_M)
    ends = [end_gate_m(replace(track, gates=()), kind) for kind in ("start", "finish")]
    return (place_m > ends[0] + GATES_APART_M) & (place_m < ends[1] - GATES_APART_M)


def _decimetres(width_m: float) -> float:
    return max(math.floor(10.0 * width_m + 1e-6) / 10.0, 2.0 * NARROWEST_HALF_M)
