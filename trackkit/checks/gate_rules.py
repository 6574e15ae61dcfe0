"""Rules about gates that need geometry alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.gate_places import on_bridge
from trackkit.errors import PlaceError
from trackkit.gates.meant import require_meant
from trackkit.gates.remedies import (
    make_narrower,
    make_wider,
    put_square,
    put_where_it_is,
    remove_either,
)
from trackkit.geometry.clearance import (
    NEAR_ENOUGH_M,
    OWN_TURN_DEG,
    distance_to_other_piece,
)
from trackkit.motion.noise import RECEIVER_ACCURACY_M
from trackkit.remedies import Remedy
from trackkit.track.features import BESIDE_THE_TRACK, Gate, GateKind
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track, end_gate_m
from trackkit.track.places import to_decimetre

NOT_SQUARE_DEG = 10.0
CHAINAGE_WITHIN_M = 1.0


SAME_PLACE_M = 0.01
"""Gates nearer than this to each other lie at the same place."""


def _gate_set(track: Track) -> Iterator[Finding]:
    needed: tuple[GateKind, ...] = ("finish",) if track.closed else ("start", "finish")
    for kind in needed:
        gates = [gate for gate in track.gates if gate.kind == kind]
        if not gates:
            at = to_decimetre(track, end_gate_m(track, kind))
            end = "begins" if track.closed or kind == "start" else "ends"
            yield new_finding(
                track,
                severity="error",
                rule="gate-missing",
                message=f"the track has no {kind} gate",
                remedy=Remedy(
                    f"place one at {at:.1f} m, where the line {end}, or elsewhere",
                    do="gate place",
                    chainage_m=at,
                    value={"kind": kind},
                ),
            )
        for extra in gates[1:]:
            yield new_finding(
                track,
                severity="error",
                rule="gate-twice",
                feature=extra.id,
                chainage_m=extra.chainage_m,
                message=f"the track has more than one {kind} gate",
                remedy=Remedy("remove all but one", do="gate remove", feature=extra.id),
            )
    ids = [track.centreline.id]
    for group in (track.gates, track.corners, track.pit_lanes):
        ids += [feature.id for feature in group]
    for feature_id in sorted({i for i in ids if i and ids.count(i) > 1}):
        yield new_finding(
            track,
            severity="error",
            rule="id-twice",
            feature=feature_id,
            message=f"more than one feature has the id {feature_id}",
            remedy=Remedy("give each feature an id of its own"),
        )


def _gate_geometry(track: Track) -> Iterator[Finding]:
    for gate in track.gates:
        beside = gate.kind in BESIDE_THE_TRACK
        try:
            chainage = ends_chainage(
                track.centreline, gate.left, gate.right, gate.chainage_m, must_cross=not beside
            )
        except PlaceError as error:
            yield new_finding(
                track,
                severity="error",
                rule="gate-off-track",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"gate {gate.name}: {error.what}",
                remedy=_onto_the_track(track, gate),
            )
            continue
        if track.curve.separation(chainage, gate.chainage_m) > CHAINAGE_WITHIN_M:
            yield new_finding(
                track,
                severity="warning",
                rule="gate-chainage",
                feature=gate.id,
                chainage_m=chainage,
                message=f"gate {gate.name} says {gate.chainage_m:.1f} m but crosses the line at "
                f"{chainage:.1f} m",
                remedy=put_where_it_is(
                    track,
                    gate,
                    chainage,
                    f"its ends are what counts: have it say {chainage:.1f} m",
                ),
            )
        if not beside:
            yield from _square(track, gate, chainage)
            yield from _ends(track, gate, chainage)
        yield from _meant(track, gate, chainage)
        yield from _other_track(track, gate, chainage)


def _meant(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    """Find gates that would be refused if they were placed, such as those drawn elsewhere."""
    try:
        require_meant(track, gate)
    except PlaceError as error:
        across = gate.kind in BESIDE_THE_TRACK
        yield new_finding(
            track,
            severity="error" if across else "warning",
            rule="pit-gate-across" if across else "gate-unlikely",
            feature=gate.id,
            chainage_m=chainage_m,
            message=error.what.replace(" would lie ", " lies ").replace(" would be ", " is "),
            remedy=Remedy(
                "remove it, and place it again once the file has its pit lane",
                do="gate remove",
                feature=gate.id,
            )
            if across
            else put_square(track, gate, chainage_m, "check both ends, or put it square"),
        )


def _onto_the_track(track: Track, gate: Gate) -> Remedy:
    """Put a gate that lies beside the line at the place its file gives, if that is on it."""
    if not 0.0 <= gate.chainage_m <= track.curve.length_m:
        return Remedy("move it onto the track")
    at = to_decimetre(track, gate.chainage_m)
    what = f"put it square to the track at {at:.1f} m, or elsewhere"
    return put_square(track, gate, at, what)


def _square(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    left, right = track.gate_ends(gate)
    span = (left - right) / np.linalg.norm(left - right)
    aside = track.curve.left(chainage_m)
    ahead = track.curve.direction(chainage_m)
    off = float(np.degrees(np.arctan2(-span @ ahead, span @ aside)))
    if abs(off) > 90.0:
        yield new_finding(
            track,
            severity="error",
            rule="gate-backwards",
            feature=gate.id,
            chainage_m=chainage_m,
            message=f"gate {gate.name} has its left end on the driver's right, so no crossing "
            "counts",
            remedy=put_where_it_is(track, gate, chainage_m, "swap its ends"),
        )
    elif abs(off) > NOT_SQUARE_DEG:
        yield new_finding(
            track,
            severity="warning",
            rule="gate-not-square",
            feature=gate.id,
            chainage_m=chainage_m,
            message=f"gate {gate.name} is {abs(off):.0f} degrees off square to the track",
            remedy=put_square(track, gate, chainage_m, "place it square"),
        )


def _ends(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    """Find ends that do not reach past the band, so that cars can pass beside the gate."""
    centre = track.curve.position(chainage_m)
    half = 0.5 * (track.centreline.width_m or 0.0)
    for side, end in zip(("left", "right"), track.gate_ends(gate), strict=True):
        reach = float(np.linalg.norm(end - centre))
        if reach < half:
            yield new_finding(
                track,
                severity="warning",
                rule="gate-narrow",
                feature=gate.id,
                chainage_m=chainage_m,
                message=f"gate {gate.name} reaches {reach:.1f} m to the {side}, less than half the "
                f"band ({half:.1f} m)",
                remedy=make_wider(track, gate, chainage_m, least_m=2.0 * half),
            )


def _other_track(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    ends = track.gate_ends(gate)
    own = track.curve.direction(chainage_m)
    others = [
        float(c)
        for c in track.curve.crossed_by(ends[0], ends[1])
        if track.curve.separation(c, chainage_m) > 1.0
    ]
    if others and on_bridge(track, gate, chainage_m):
        return
    if others:
        same_way = [c for c in others if float(track.curve.direction(c) @ own) > 0]
        effect = (
            "cars there will trigger it"
            if same_way
            else "cars there pass it the other way, and noise can trigger it"
        )
        where = ", ".join(f"{c:.0f} m" for c in others)
        yield new_finding(
            track,
            severity="error",
            rule="gate-crosses-other-track",
            feature=gate.id,
            chainage_m=chainage_m,
            message=f"gate {gate.name} also crosses the track at {where}; {effect}",
            remedy=make_narrower(track, gate, chainage_m),
        )
        return
    accuracy = max(RECEIVER_ACCURACY_M, track.accuracy_m or 0.0)
    for side, end in zip(("left", "right"), ends, strict=True):
        away = distance_to_other_piece(track.curve, chainage_m, end)
        if away < accuracy - NEAR_ENOUGH_M:
            yield new_finding(
                track,
                severity="warning",
                rule="gate-end-near-other-track",
                feature=gate.id,
                chainage_m=chainage_m,
                message=f"the {side} end of gate {gate.name} is {away:.1f} m from another piece of "
                f"track (one where the line has turned by more than {OWN_TURN_DEG:.0f} degrees), "
                f"within a receiver's accuracy of {accuracy:.0f} m",
                remedy=make_narrower(track, gate, chainage_m),
            )


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
                track,
                severity="error",
                rule="gate-order",
                feature=after.id,
                chainage_m=after.chainage_m,
                message=f"gates {before.name} and {after.name} lie at the same place",
                remedy=remove_either(before, after),
            )
        elif track.ahead_m(after, track.gates) <= track.ahead_m(before, track.gates) or (
            track.closed and after.kind == "finish"
        ):
            yield new_finding(
                track,
                severity="error",
                rule="gate-order",
                feature=after.id,
                chainage_m=after.chainage_m,
                message=f"gate {after.name} ({after.chainage_m:.1f} m) is numbered after "
                f"{before.name} ({before.chainage_m:.1f} m) but comes before it on the road",
                remedy=_number_again(track, after),
            )
    orders = [gate.order for gate in track.gates]
    for gate in stored:
        if orders.count(gate.order) > 1:
            yield new_finding(
                track,
                severity="error",
                rule="gate-order",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"gate {gate.name} shares the order {gate.order} with another gate",
                remedy=_number_again(track, gate),
            )


def _number_again(track: Track, gate: Gate) -> Remedy:
    what = "number the gates in racing order, as moving one to where it is does"
    return put_where_it_is(track, gate, gate.chainage_m, what)


def _between_ends(track: Track) -> Iterator[Finding]:
    """Find gates of an open course that do not lie from its start to its finish."""
    starts, finishes = track.gates_of_kind("start"), track.gates_of_kind("finish")
    if track.closed or not (starts and finishes):
        return
    start, finish = starts[0], finishes[0]
    if finish.order < start.order:
        end = to_decimetre(track, end_gate_m(track, "finish"))
        yield new_finding(
            track,
            severity="error",
            rule="gate-order",
            feature=finish.id,
            chainage_m=finish.chainage_m,
            message=f"the finish gate ({finish.chainage_m:.1f} m) lies before the start gate "
            f"({start.chainage_m:.1f} m)",
            remedy=put_square(
                track, finish, end, f"move it past the start gate, such as to {end:.1f} m"
            ),
        )
        return
    if finish.chainage_m <= start.chainage_m:
        return
    for gate in track.gates_of_kind("sector"):
        if not start.chainage_m < gate.chainage_m < finish.chainage_m:
            yield new_finding(
                track,
                severity="error",
                rule="gate-order",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"gate {gate.name} does not lie between the start gate and the finish gate",
                remedy=Remedy(
                    "move it between them, or remove it", do="gate remove", feature=gate.id
                ),
            )


def _datum(track: Track) -> Iterator[Finding]:
    if not track.closed:
        return
    for gate in track.gates_of_kind("finish")[:1]:
        try:
            chainage = ends_chainage(track.centreline, gate.left, gate.right, 0.0)
        except PlaceError:
            return
        away = float(track.curve.separation(chainage, 0.0))
        if away > CHAINAGE_WITHIN_M:
            yield new_finding(
                track,
                severity="warning",
                rule="datum",
                feature=gate.id,
                chainage_m=chainage,
                message=f"the centreline begins {away:.1f} m from the finish gate, so chainages do "
                "not count from it",
                remedy=put_where_it_is(
                    track,
                    gate,
                    chainage,
                    "have the line begin there, as moving the gate to where it is does",
                ),
            )


GATE_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (_gate_geometry,)
"""Rules that look at each gate by itself."""
SET_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _gate_set,
    _datum,
    _order,
    _between_ends,
)
"""Rules that look at all gates together."""
