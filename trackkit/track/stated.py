"""What a track file says of its geometry, held against the geometry itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from trackkit.errors import TrackkitError
from trackkit.geometry.shape import (
    chords_of,
    direction_by_turns,
    direction_of,
    metres_a_degree,
)
from trackkit.track.features import Disagreement, Gate
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track

AGREES_M = 0.05
"""Lengths that differ by no more than this say the same: files are rounded, some to a decimetre."""
LENGTH_AGREES = 1e-4
"""Share by which two lengths of one line may differ: reading a line back promises no more."""


def from_geometry(track: Track, widths_m: Sequence[float | None] | None = None) -> Track:
    """Give a track the order, chainages, length and direction that its positions have.

    Parameters
    ----------
    track
        As its file states it; chainages that are not stated are not numbers.
    widths_m
        Stated widths of its gates, metres, None where there is none.

    Returns
    -------
    Track
        What agrees with the positions is kept to the last decimal, so that a file that is right
        is written again as it was; what does not is told by `Track.disagreements`.  A track whose
        line is too short to be followed comes back as it is.
    """
    if _agrees_by_chords(track, widths_m or ()):
        return track
    try:
        curve = track.curve
    except TrackkitError:
        gates_at_zero = (
            replace(g, chainage_m=0.0) if math.isnan(g.chainage_m) else g for g in track.gates
        )
        return replace(track, gates=tuple(gates_at_zero))
    disagreements: list[Disagreement] = []
    length, direction = track.length_m, direction_of(curve)
    if lengths_differ(length, curve.length_m):
        disagreements.append(Disagreement(None, "length_m", length, curve.length_m))
        length = curve.length_m
    if direction != track.direction:
        disagreements.append(Disagreement(None, "direction", track.direction, direction))
    gates = []
    for gate in track.gates:
        chainage = chainage_on(track, gate)
        if not float(curve.separation(chainage, gate.chainage_m)) <= AGREES_M:
            if not math.isnan(gate.chainage_m):
                disagreements.append(Disagreement(gate.id, "chainage_m", gate.chainage_m, chainage))
            at_datum = curve.closed and float(curve.separation(chainage, 0.0)) <= AGREES_M
            gate = replace(gate, chainage_m=0.0 if at_datum else chainage)
        gates.append(gate)
    for gate, width in zip(gates, widths_m or (), strict=False):
        if width is not None and abs(width - gate.width_m) > AGREES_M:
            disagreements.append(Disagreement(gate.id, "width_m", width, gate.width_m))
    derived = replace(track, length_m=length, direction=direction)
    numbered = _numbered(derived, gates)
    disagreements += [
        Disagreement(gate.id, "order", gate.order, number)
        for number, gate in enumerate(numbered)
        if gate.order != number
    ]
    return replace(
        derived,
        gates=tuple(replace(gate, order=number) for number, gate in enumerate(numbered)),
        disagreements=tuple(disagreements),
    )


def _agrees_by_chords(track: Track, widths_m: Sequence[float | None]) -> bool:
    """Tell quickly whether a track is as it states, by its line with straights between vertices.

    Laying a spline through them takes several times as long as reading a file, and half a second
    more the first time.  What is not plain this way, such as a gate that crosses two pieces of
    track, is not settled here.
    """
    line = track.centreline
    length_m, turning = chords_of(line.longitude_deg, line.latitude_deg)
    direction = direction_by_turns(turning) if line.closed else None
    if direction != track.direction or not abs(track.length_m - length_m) <= AGREES_M:
        return False
    for gate in track.gates:
        place = _place_by_chords(track, gate)
        apart = math.nan if place is None else abs(place - gate.chainage_m)
        if line.closed:
            apart = min(apart, abs(track.length_m - apart))
        if not apart <= AGREES_M:
            return False
    if any(
        width is not None and abs(width - gate.width_m) > AGREES_M
        for gate, width in zip(track.gates, widths_m, strict=False)
    ):
        return False
    numbered = _numbered(track, track.gates)
    return all(gate.order == number for number, gate in enumerate(numbered))


def _place_by_chords(track: Track, gate: Gate) -> float | None:
    """Chainage of a gate on the line with straights between vertices; None where it is not plain.

    Seen in the gate's own surroundings, where degrees are metres by the ellipsoid's radii.
    """
    line = track.centreline
    scale = metres_a_degree(0.5 * (gate.left[1] + gate.right[1]))
    vertex = np.column_stack([line.longitude_deg, line.latitude_deg]) - gate.left
    vertex[:, 0] -= 360.0 * np.round(vertex[:, 0] / 360.0)
    vertex *= scale
    span = (np.array(gate.right) - gate.left) * scale
    step = np.diff(vertex, axis=0)
    side = span[0] * vertex[:, 1] - span[1] * vertex[:, 0]
    crossed = np.flatnonzero((side[:-1] < 0) != (side[1:] < 0))
    share = side[crossed] / (side[crossed] - side[crossed + 1])
    along = (vertex[crossed] + share[:, None] * step[crossed]) @ span / (span @ span)
    inside = (along >= 0.0) & (along <= 1.0)
    if np.count_nonzero(inside) != 1 or np.any(np.abs(along * (1.0 - along))[~inside] < 1e-3):
        return None
    index = int(crossed[inside][0])
    length = np.hypot(*step.T)
    # Metres of the gate's surroundings would be off far from it: the way there is measured anew.
    before, _ = chords_of(line.longitude_deg[: index + 1], line.latitude_deg[: index + 1])
    return before + float(share[inside][0] * length[index])


def lengths_differ(stated_m: float, actual_m: float) -> bool:
    """Tell whether two lengths, metres, differ by more than one line's do that was read back."""
    return not abs(stated_m - actual_m) <= max(AGREES_M, LENGTH_AGREES * actual_m)


def chainage_on(track: Track, gate: Gate) -> float:
    """Find where a gate is on its track by its ends, metres.

    One across the pit lane, or beside the track by mistake, is at the place nearest to its middle.
    """
    near = None if math.isnan(gate.chainage_m) else gate.chainage_m
    return ends_chainage(track.centreline, gate.left, gate.right, near, must_cross=False)


def _numbered(track: Track, gates: Sequence[Gate]) -> list[Gate]:
    """List gates in racing order; those at one place stay as they are numbered."""
    stated = sorted(gates, key=lambda gate: gate.order)
    place = [
        (track.closed and gate.kind != "finish", track.ahead_m(gate, gates)) for gate in stated
    ]
    if all(a[0] < b[0] or (a[0] == b[0] and a[1] <= b[1] + AGREES_M) for a, b in pairwise(place)):
        return stated
    ordered = sorted(zip(place, range(len(stated)), strict=True))
    return [stated[index] for _, index in ordered]
