"""Where gates are put, square to the track or as surveyed; ids stay, order follows the road."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from trackkit.errors import PlaceError
from trackkit.gates.meant import pit_lane_curves, require_meant
from trackkit.gates.square import NARROWEST_M, WIDEST_M, square_ends
from trackkit.geometry.curve import Curve
from trackkit.motion.noise import RECEIVER_ACCURACY_M
from trackkit.remedies import Remedy
from trackkit.track.derive import called, geographic, renamed_in_order, with_datum
from trackkit.track.features import (
    BESIDE_THE_TRACK,
    GATE_KINDS,
    Gate,
    GateKind,
    Position,
    confirmed_place,
)
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track, new_id
from trackkit.track.places import FARTHEST_SNAP_M, Place, chainage_of, to_decimetre

SINGLE_KINDS: tuple[GateKind, ...] = ("finish", "start")
"""Kinds of gate that a track has one of at most."""
PIT_GATE_HALF_M = 5.0
KIND_NAMES: Mapping[GateKind, str] = {
    "finish": "Finish",
    "start": "Start",
    "sector": "Sector 1 end",
    "speed": "Speed",
    "pit-entry": "Pit entry",
    "pit-exit": "Pit exit",
}


def with_gate(
    track: Track,
    kind: GateKind,
    place: Place,
    *,
    width_m: float | None = None,
    name: str | None = None,
) -> tuple[Track, Gate, tuple[str, ...]]:
    """Place a new gate.

    Parameters
    ----------
    track
        The track.
    kind
        What the gate is for.
    place
        Where; two surveyed ends are kept exactly as given.  `require_meant` looks at the gate
        unless the place is to count anyway.
    width_m
        Width of a square gate, metres; see `square_ends`.
    name
        For people; made from the kind when None.

    Returns
    -------
    track, gate, remarks

    Raises
    ------
    PlaceError
        When the place is off the track, the gate cannot be meant, or the track may not have
        another such gate.
    """
    if kind not in GATE_KINDS:
        raise PlaceError(
            f"{kind!r} is no kind of gate", remedy=f"the kinds are: {', '.join(GATE_KINDS)}"
        )
    if kind in SINGLE_KINDS and track.gates_of_kind(kind):
        existing = track.gates_of_kind(kind)[0]
        raise PlaceError(
            f"the track has a {kind} gate already, at {existing.chainage_m:.1f} m",
            remedy=_moved_there(track, existing, place, width_m),
        )
    blank = Gate("", kind, _free_name(track, kind), (0.0, 0.0), (1.0, 1.0))
    blank = called(blank, name) if name else blank
    gate, remarks = _located(track, blank, place, width_m)
    gate_id: str = kind
    if kind not in SINGLE_KINDS or any(gate.id == kind for gate in track.gates):
        # The place, to a metre, goes into it: gates that two people place apart must not share an
        # id, and rounding on another machine must not change one.
        place_text = ",".join(f"{value:.5f}" for value in (*gate.left, *gate.right))
        gate_id = new_id(track, "gate", f"{kind} {place_text}")
    gate = replace(gate, id=gate_id)
    changed = renamed_in_order(track.with_gates([*track.gates, gate]))
    _require_between(changed)
    if kind == "finish" and track.closed:
        changed = with_datum(changed, gate.chainage_m)
    return changed, changed.gate(gate_id), remarks


def _moved_there(track: Track, gate: Gate, place: Place, width_m: float | None) -> Remedy:
    """Tell how to move a gate to where another one was to be placed."""
    if place.ends is not None:
        left, right = place.ends
        return Remedy(
            "move it there",
            do="gate move",
            feature=gate.id,
            value={"left": list(left), "right": list(right)},
        )
    chainage, _ = chainage_of(track, place)
    return Remedy(
        "move it there",
        do="gate move",
        feature=gate.id,
        chainage_m=to_decimetre(track, chainage),
        value=None if width_m is None else {"width_m": width_m},
    )


def _free_name(track: Track, kind: GateKind) -> str:
    name = KIND_NAMES[kind]
    taken = {gate.name for gate in track.gates}
    if name not in taken or kind == "sector":
        return name
    number = 2
    while f"{name} {number}" in taken:
        number += 1
    return f"{name} {number}"


def _located(
    track: Track, gate: Gate, place: Place, width_m: float | None
) -> tuple[Gate, tuple[str, ...]]:
    """Put a gate at a place."""
    beside = gate.kind in BESIDE_THE_TRACK
    gate = confirmed_place(gate)
    chainage, remarks = chainage_of(track, place, must_cross=False)
    if beside and place.ends is None and track.pit_lanes:
        gate, more = _across_pit_lane(track, gate, place, chainage, width_m)
        remarks = (*place.remarks, *more)
    elif place.ends is not None:
        if width_m is not None:
            raise PlaceError("a width cannot be given with two surveyed ends")
        left, right, turned = in_racing_order(
            track, *place.ends, _beside(track, place.ends) if beside else chainage
        )
        if turned:
            chainage = ends_chainage(track.centreline, left, right, must_cross=False)
            remarks = (*remarks, "the ends were given right then left; they were swapped")
        gate = replace(gate, left=left, right=right, chainage_m=chainage, surveyed=True)
        _require_width(track, gate)
        if not beside:
            remarks = (*remarks, _how_it_lies(track, gate))
    else:
        left, right, shortened = square_ends(track, chainage, width_m)
        remarks = (*remarks, *shortened)
        gate = replace(gate, left=left, right=right, chainage_m=chainage, surveyed=False)
    if not place.anyway:
        require_meant(track, gate)
    return gate, remarks


def _beside(track: Track, ends: tuple[Position, Position]) -> float:
    """Chainage nearest to the middle of two ends, whichever way they face, metres."""
    left, right = ends
    points = track.plane.to_plane([left[0], right[0]], [left[1], right[1]])
    return float(track.curve.project(points.mean(axis=0))[0])


def _across_pit_lane(
    track: Track, gate: Gate, place: Place, chainage_m: float, width_m: float | None
) -> tuple[Gate, tuple[str, ...]]:
    """Put a gate square to the pit lane, where that is nearest to a place.

    By itself it reaches `PIT_GATE_HALF_M` to either side, and stays a receiver's accuracy away
    from the centreline.
    """
    wanted = (
        track.curve.position(chainage_m)
        if place.position is None
        else track.plane.to_plane(*place.position)
    )
    lanes = pit_lane_curves(track)
    nearest = [lane.project(wanted) for lane in lanes]
    index = int(np.argmin([abs(float(offset)) for _, offset in nearest]))
    lane, (along, away) = lanes[index], nearest[index]
    if abs(float(away)) > FARTHEST_SNAP_M:
        raise PlaceError(
            f"the pit lane passes {abs(float(away)):.0f} m from the place of the {gate.kind} gate",
            remedy="give a place beside it",
        )
    half = pit_gate_half_m(track, lane, float(along)) if width_m is None else 0.5 * width_m
    if not NARROWEST_M <= 2.0 * half <= WIDEST_M:
        raise PlaceError(
            f"a gate {2.0 * half:g} m wide is not sensible",
            remedy=f"give {NARROWEST_M:g} to {WIDEST_M:g} metres",
        )
    at, aside = lane.position(along), lane.left(along)
    left, right = geographic(track, at + half * aside), geographic(track, at - half * aside)
    placed = replace(
        gate,
        left=left,
        right=right,
        chainage_m=ends_chainage(track.centreline, left, right, must_cross=False),
        surveyed=False,
    )
    remark = (
        f"snapped to the pit lane, {float(along):.1f} m along it and {abs(float(away)):.1f} m from "
        "the place given"
    )
    return placed, (remark,)


def pit_gate_half_m(track: Track, lane: Curve, along_m: float) -> float:
    """Half the width of a gate across the pit lane, metres."""
    _, away = track.curve.project(lane.position(along_m), lane.direction(along_m))
    return float(np.clip(abs(float(away)) - RECEIVER_ACCURACY_M, 1.5, PIT_GATE_HALF_M))


def _require_between(track: Track) -> None:
    """Refuse, on an open course, timed gates that do not lie from the start to the finish."""
    if track.closed or not (track.gates_of_kind("start") and track.gates_of_kind("finish")):
        return
    start, finish = track.gates_of_kind("start")[0], track.finish
    inside = (start.chainage_m, finish.chainage_m)
    for gate in (finish, *track.gates_of_kind("sector")):
        here = gate.chainage_m
        if not (inside[0] < here and (gate is finish or here < inside[1])):
            raise PlaceError(
                f"{gate.name} at {here:.1f} m would not lie between the start gate at "
                f"{inside[0]:.1f} m and the finish gate at {inside[1]:.1f} m",
                remedy="give a place between them, or move the others first",
            )


def _require_width(track: Track, gate: Gate) -> None:
    """Refuse surveyed ends that cannot be those of one gate."""
    ends = track.gate_ends(gate)
    apart = float(np.linalg.norm(ends[1] - ends[0]))
    if apart > WIDEST_M:
        raise PlaceError(
            f"the two ends are {apart:.0f} m apart, and no gate is wider than {WIDEST_M:.0f} m",
            remedy="check both surveyed positions",
        )


def _how_it_lies(track: Track, gate: Gate) -> str:
    """Tell how far a surveyed gate is from square and from the middle of the track."""
    left, right = track.gate_ends(gate)
    aside = track.curve.left(gate.chainage_m)
    span = (left - right) / np.linalg.norm(left - right)
    off = float(np.degrees(np.arccos(np.clip(span @ aside, -1.0, 1.0))))
    reach = float((0.5 * (left + right) - track.curve.position(gate.chainage_m)) @ aside)
    side = "left" if reach >= 0 else "right"
    return (
        f"kept as surveyed: {off:.1f} degrees off square, its middle {abs(reach):.1f} m to the "
        f"{side} of the centreline"
    )


def in_racing_order(
    track: Track, left: Position, right: Position, chainage_m: float
) -> tuple[Position, Position, bool]:
    """Swap two ends if a driver at that chainage would see them the other way round."""
    ends = track.plane.to_plane([left[0], right[0]], [left[1], right[1]])
    if float((ends[0] - ends[1]) @ track.curve.left(chainage_m)) < 0:
        return right, left, True
    return left, right, False


def with_gate_moved(
    track: Track,
    id_or_name: str,
    place: Place,
    *,
    width_m: float | None = None,
) -> tuple[Track, Gate, tuple[str, ...]]:
    """Move a gate; it keeps its id, kind and name, and its width unless another is given.

    Moving the finish gate of a closed track moves chainage zero; every other gate stays where it
    is on the ground.

    Raises
    ------
    PlaceError
        When no gate has that id or name, the place is off the track, or the gate cannot be meant
        there.
    """
    gate = track.gate(id_or_name)
    if place.ends is None and width_m is None:
        width_m = gate.width_m
    moved, remarks = _located(track, gate, place, width_m)
    changed = track.with_gates(moved if g.id == gate.id else g for g in track.gates)
    changed = renamed_in_order(changed)
    _require_between(changed)
    if moved.kind == "finish" and track.closed:
        changed = with_datum(changed, moved.chainage_m)
    return changed, changed.gate(gate.id), remarks


def is_required(track: Track, kind: GateKind) -> bool:
    """Tell whether a track cannot be without a gate of a kind."""
    return kind == "finish" or (kind == "start" and not track.closed)


def without_gate(track: Track, id_or_name: str) -> tuple[Track, Gate]:
    """Remove a gate.

    Raises
    ------
    PlaceError
        When no gate has that id or name, or it is one the track cannot be without.
    """
    gate = track.gate(id_or_name)
    if is_required(track, gate.kind) and len(track.gates_of_kind(gate.kind)) == 1:
        raise PlaceError(
            f"a track cannot be without its {gate.kind} gate",
            remedy=Remedy("move it instead", do="gate move", feature=gate.id),
        )
    changed = track.with_gates(g for g in track.gates if g.id != gate.id)
    return renamed_in_order(changed), gate
