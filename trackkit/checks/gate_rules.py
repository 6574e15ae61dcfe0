"""What geometry has to say about gates."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.gate_places import on_bridge
from trackkit.errors import PlaceError
from trackkit.gates.edit import BESIDE_THE_TRACK
from trackkit.geometry.clearance import (
    NEAR_ENOUGH_M,
    OWN_TURN_DEG,
    distance_to_other_piece,
)
from trackkit.motion.noise import RECEIVER_ACCURACY_M
from trackkit.track.model import Gate, Track
from trackkit.track.places import ends_chainage

NOT_SQUARE_DEG = 10.0
CHAINAGE_WITHIN_M = 1.0


SAME_PLACE_M = 0.01
"""Gates nearer than this to each other lie at the same place."""


def _gate_set(track: Track) -> Iterator[Finding]:
    needed = ["finish"] if track.closed else ["start", "finish"]
    for kind in needed:
        found = [gate for gate in track.gates if gate.kind == kind]
        if not found:
            yield new_finding(
                track, "error", "gate-missing", None, None, f"the track has no {kind} gate",
                f"place one with `trackkit gate place TRACK {kind} PLACE`",
            )  # fmt: skip
        for extra in found[1:]:
            yield new_finding(
                track, "error", "gate-twice", extra.id, extra.chainage_m,
                f"the track has more than one {kind} gate",
                f"remove all but one with `trackkit gate remove TRACK {extra.id}`",
            )  # fmt: skip
    ids = [track.centreline.id]
    ids += [one.id for group in (track.gates, track.corners, track.pit_lanes) for one in group]
    ids = [one for one in ids if one]
    for feature in sorted({i for i in ids if ids.count(i) > 1}):
        yield new_finding(
            track, "error", "id-twice", feature, None,
            f"more than one feature has the id {feature}", "give each feature an id of its own",
        )  # fmt: skip


def _gate_geometry(track: Track) -> Iterator[Finding]:
    for gate in track.gates:
        beside = gate.kind in BESIDE_THE_TRACK
        try:
            chainage = ends_chainage(
                track, gate.left, gate.right, gate.chainage_m, must_cross=not beside
            )
        except PlaceError as error:
            yield new_finding(
                track, "error", "gate-off-track", gate.id, gate.chainage_m,
                f"gate {gate.name}: {error.what}",
                f"move it with `trackkit gate move TRACK {gate.id} PLACE`",
            )  # fmt: skip
            continue
        if track.curve.separation(chainage, gate.chainage_m) > CHAINAGE_WITHIN_M:
            yield new_finding(
                track, "warning", "gate-chainage", gate.id, chainage,
                f"gate {gate.name} says {gate.chainage_m:.1f} m but crosses the line at "
                f"{chainage:.1f} m",
                "its ends are what counts; correct chainage_m, or move the gate",
            )  # fmt: skip
        if not beside:
            yield from _square(track, gate, chainage)
            yield from _ends(track, gate, chainage)
        yield from _other_track(track, gate, chainage)


def _square(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    left, right = track.gate_ends(gate)
    span = (left - right) / np.linalg.norm(left - right)
    aside = track.curve.left(chainage_m)
    ahead = track.curve.direction(chainage_m)
    off = float(np.degrees(np.arctan2(-span @ ahead, span @ aside)))
    if abs(off) > 90.0:
        yield new_finding(
            track, "error", "gate-backwards", gate.id, chainage_m,
            f"gate {gate.name} has its left end on the driver's right, so no crossing counts",
            "swap its ends",
        )  # fmt: skip
    elif abs(off) > NOT_SQUARE_DEG:
        yield new_finding(
            track, "warning", "gate-not-square", gate.id, chainage_m,
            f"gate {gate.name} is {abs(off):.0f} degrees off square to the track",
            f"place it square with `trackkit gate move TRACK {gate.id} {chainage_m:.0f}m`",
        )  # fmt: skip


def _ends(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    """Find ends that do not reach past the band, so that cars can pass beside the gate."""
    centre = track.curve.position(chainage_m)
    half = 0.5 * (track.centreline.width_m or 0.0)
    for side, end in zip(("left", "right"), track.gate_ends(gate), strict=True):
        reach = float(np.linalg.norm(end - centre))
        if reach < half:
            yield new_finding(
                track, "warning", "gate-narrow", gate.id, chainage_m,
                f"gate {gate.name} reaches {reach:.1f} m to the {side}, less than half the band "
                f"({half:.1f} m)",
                f"widen it with `trackkit gate move TRACK {gate.id} {chainage_m:.0f}m --width M`",
            )  # fmt: skip


def _other_track(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    ends = track.gate_ends(gate)
    own = track.curve.direction(chainage_m)
    others = [
        float(c)
        for c in track.curve.crossed_by(ends[0], ends[1])
        if track.curve.separation(c, chainage_m) > 1.0
    ]
    remedy = (
        f"make it narrower with `trackkit gate move TRACK {gate.id} {chainage_m:.0f}m --width M`, "
        "or move it where the track has more room"
    )
    if others and on_bridge(track, gate, chainage_m):
        return
    if others:
        same_way = [c for c in others if float(track.curve.direction(c) @ own) > 0]
        effect = (
            "cars there will trigger it"
            if same_way
            else "cars there pass it the other way, and noise can trigger it"
        )
        yield new_finding(
            track, "error", "gate-crosses-other-track", gate.id, chainage_m,
            f"gate {gate.name} also crosses the track at "
            + ", ".join(f"{c:.0f} m" for c in others) + f"; {effect}",
            remedy,
        )  # fmt: skip
        return
    accuracy = max(RECEIVER_ACCURACY_M, track.accuracy_m or 0.0)
    for side, end in zip(("left", "right"), ends, strict=True):
        away = distance_to_other_piece(track.curve, chainage_m, end)
        if away < accuracy - NEAR_ENOUGH_M:
            yield new_finding(
                track, "warning", "gate-end-near-other-track", gate.id, chainage_m,
                f"the {side} end of gate {gate.name} is {away:.1f} m from another piece of track "
                f"(one where the line has turned by more than {OWN_TURN_DEG:.0f} degrees), within "
                f"a receiver's accuracy of {accuracy:.0f} m",
                remedy,
            )  # fmt: skip


def _order(track: Track) -> Iterator[Finding]:
    stored = sorted(track.gates, key=lambda gate: gate.order)
    timed = [gate for gate in stored if gate.kind in ("sector", "start", "finish")]
    if track.closed:
        timed = [gate for gate in timed if gate.kind != "start"]
    for before, after in pairwise(timed):
        if before.kind == "finish" and track.closed:
            continue
        if abs(after.chainage_m - before.chainage_m) < SAME_PLACE_M:
            yield new_finding(
                track, "error", "gate-order", after.id, after.chainage_m,
                f"gates {before.name} and {after.name} lie at the same place",
                f"remove one with `trackkit gate remove TRACK {after.id}`, or move it",
            )  # fmt: skip
        elif after.chainage_m <= before.chainage_m or (track.closed and after.kind == "finish"):
            yield new_finding(
                track, "error", "gate-order", after.id, after.chainage_m,
                f"gate {after.name} ({after.chainage_m:.1f} m) is numbered after {before.name} "
                f"({before.chainage_m:.1f} m) but comes before it on the road",
                "number the gates in racing order",
            )  # fmt: skip
    orders = [gate.order for gate in track.gates]
    for gate in stored:
        if orders.count(gate.order) > 1:
            yield new_finding(
                track, "error", "gate-order", gate.id, gate.chainage_m,
                f"gate {gate.name} shares the order {gate.order} with another gate",
                "number the gates in racing order",
            )  # fmt: skip


def _between_ends(track: Track) -> Iterator[Finding]:
    """Find gates of an open course that do not lie from its start to its finish."""
    starts, finishes = track.gates_of_kind("start"), track.gates_of_kind("finish")
    if track.closed or not (starts and finishes):
        return
    start, finish = starts[0], finishes[0]
    remedy = "move it with `trackkit gate move TRACK {} PLACE`"
    if finish.order < start.order:
        yield new_finding(
            track, "error", "gate-order", finish.id, finish.chainage_m,
            f"the finish gate ({finish.chainage_m:.1f} m) lies before the start gate "
            f"({start.chainage_m:.1f} m)",
            remedy.format(finish.id),
        )  # fmt: skip
        return
    if finish.chainage_m <= start.chainage_m:
        return
    for gate in track.gates_of_kind("sector"):
        if not start.chainage_m < gate.chainage_m < finish.chainage_m:
            yield new_finding(
                track, "error", "gate-order", gate.id, gate.chainage_m,
                f"gate {gate.name} does not lie between the start gate and the finish gate",
                remedy.format(gate.id),
            )  # fmt: skip


def _datum(track: Track) -> Iterator[Finding]:
    if not track.closed:
        return
    for gate in track.gates_of_kind("finish")[:1]:
        try:
            chainage = ends_chainage(track, gate.left, gate.right, 0.0)
        except PlaceError:
            return
        away = float(track.curve.separation(chainage, 0.0))
        if away > CHAINAGE_WITHIN_M:
            yield new_finding(
                track, "warning", "datum", gate.id, chainage,
                f"the centreline begins {away:.1f} m from the finish gate, so chainages do not "
                "count from it",
                f"`trackkit gate move TRACK {gate.id} {chainage:.1f}m` makes it begin there",
            )  # fmt: skip


GATE_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (_gate_geometry,)
"""Rules that look at each gate by itself."""
SET_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _gate_set, _datum, _order, _between_ends,
)  # fmt: skip
"""Rules that look at all gates together."""
