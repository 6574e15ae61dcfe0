"""Gates as they lie on the track."""

from __future__ import annotations

import numpy as np

from trackkit.errors import PlaceError
from trackkit.track.features import BESIDE_THE_TRACK, Gate
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track

ON_BRIDGE_M = 12.0
ACROSS = 0.5


def placed_gates(track: Track) -> list[tuple[Gate, float]]:
    """List the gates that cross the centreline, with where they truly do."""
    placed = []
    for gate in track.gates:
        if gate.kind in BESIDE_THE_TRACK:
            continue
        try:
            placed.append(
                (gate, ends_chainage(track.centreline, gate.left, gate.right, gate.chainage_m))
            )
        except PlaceError:
            continue  # The rule gate-off-track reports it.
    return placed


def faces_traffic(track: Track, gate: Gate, chainage_m: float) -> bool:
    """Say whether a gate lies across the track, its left end on the driver's left."""
    left, right = track.gate_ends(gate)
    span = (left - right) / np.linalg.norm(left - right)
    return float(span @ track.curve.left(chainage_m)) > ACROSS


def on_bridge(track: Track, gate: Gate, chainage_m: float) -> bool:
    """Say whether a gate reaches the other level at a declared bridge."""
    crossed = track.curve.crossed_by(*track.gate_ends(gate))
    reach = ON_BRIDGE_M + 0.5 * gate.width_m
    for crossover in track.crossovers:
        for own, other in (
            (crossover.over_m, crossover.under_m),
            (crossover.under_m, crossover.over_m),
        ):
            if float(track.curve.separation(chainage_m, own)) > reach:
                continue
            if float(track.curve.separation(chainage_m, own)) < 1.0:
                return True
            if np.any(track.curve.separation(crossed, other) <= reach):
                return True
    return False
