"""What a track file says of its geometry, held against the geometry itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from trackkit.errors import TrackkitError
from trackkit.geometry.shape import direction_of
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
    try:
        curve = track.curve
    except TrackkitError:
        known = (replace(g, chainage_m=0.0) if math.isnan(g.chainage_m) else g for g in track.gates)
        return replace(track, gates=tuple(known))
    found: list[Disagreement] = []
    length, direction = track.length_m, direction_of(curve)
    if lengths_differ(length, curve.length_m):
        found.append(Disagreement(None, "length_m", length, curve.length_m))
        length = curve.length_m
    if direction != track.direction:
        found.append(Disagreement(None, "direction", track.direction, direction))
    gates = []
    for gate in track.gates:
        chainage = chainage_on(track, gate)
        if not float(curve.separation(chainage, gate.chainage_m)) <= AGREES_M:
            if not math.isnan(gate.chainage_m):
                found.append(Disagreement(gate.id, "chainage_m", gate.chainage_m, chainage))
            at_datum = curve.closed and float(curve.separation(chainage, 0.0)) <= AGREES_M
            gate = replace(gate, chainage_m=0.0 if at_datum else chainage)
        gates.append(gate)
    for gate, width in zip(gates, widths_m or (), strict=False):
        if width is not None and abs(width - gate.width_m) > AGREES_M:
            found.append(Disagreement(gate.id, "width_m", width, gate.width_m))
    derived = replace(track, length_m=length, direction=direction)
    numbered = _numbered(derived, gates)
    found += [
        Disagreement(gate.id, "order", gate.order, number)
        for number, gate in enumerate(numbered)
        if gate.order != number
    ]
    return replace(
        derived,
        gates=tuple(replace(gate, order=number) for number, gate in enumerate(numbered)),
        disagreements=tuple(found),
    )


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
