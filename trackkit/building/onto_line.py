"""The gates of a track brought onto another line of it: they stay on the ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackkit.geometry.curve import Curve
from trackkit.track.features import Gate
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track

_AT_DATUM_M = 0.01


def datum_onto(track: Track, curve: Curve) -> float:
    """Find where a new line begins: where it crosses the finish gate of a lap.

    Parameters
    ----------
    track
        As it was.
    curve
        The new line, on the plane of the track.

    Returns
    -------
    float
        Chainage on `curve`, metres; 0 for a course, and where there is no finish gate.
    """
    if not (track.closed and track.gates_of_kind("finish")):
        return 0.0
    ends = track.gate_ends(track.finish)
    crossings = curve.crossed_by(ends[0], ends[1])
    middle, _ = curve.project(ends.mean(axis=0))
    if len(crossings):
        return float(crossings[np.argmin(curve.separation(crossings, middle))])
    return float(middle)


def with_gates_onto(new: Track, track: Track) -> Track:
    """Give a track with a new line the chainages of its gates there.

    Parameters
    ----------
    new
        With its new line.
    track
        As it was: a gate is looked for near where it crossed the line before.
    """
    gates: list[Gate] = []
    for gate in track.gates:
        near = None
        if gate.kind != "finish" or not track.closed:
            place = new.plane.to_plane(
                *track.plane.to_geographic(track.curve.position(gate.chainage_m))
            )
            near = float(new.curve.project(place)[0])
        at = ends_chainage(new.centreline, gate.left, gate.right, near, must_cross=False)
        at_datum = min(at, new.curve.length_m - at) < _AT_DATUM_M
        if at_datum and gate.kind == "finish" and track.closed:
            at = 0.0
        gates.append(replace(gate, chainage_m=at))
    return new.with_gates(gates)


def gates_beside(track: Track) -> list[Gate]:
    """List the gates across the track that its line does not cross."""
    return [
        gate
        for gate in track.gates
        if "pit" not in gate.kind and len(track.curve.crossed_by(*track.gate_ends(gate))) == 0
    ]
