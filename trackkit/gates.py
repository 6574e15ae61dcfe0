"""Gates placed, moved and removed, square to the track; ids stay, order follows the road."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from trackkit.centreline import direction_of
from trackkit.clearance import NEAR_ENOUGH_M, RECEIVER_ACCURACY_M, distance_to_other_piece
from trackkit.corners import find_bends
from trackkit.errors import PlaceError
from trackkit.geodesy import Floats, wrap_longitude
from trackkit.places import Place, chainage_of, ends_chainage
from trackkit.track import (
    GATE_KINDS,
    Corner,
    Gate,
    GateKind,
    Position,
    Track,
)

GATE_MARGIN_M = 4.0
"""How far a gate reaches beyond the band on either side: the receiver's wander, and a wide line."""
NARROWEST_HALF_M = 3.0
BESIDE_THE_TRACK: tuple[GateKind, ...] = ("pit-entry", "pit-exit")
"""Kinds of gate that lie across the pit lane and need not cross the centreline."""
_SAME_CORNER_M = 15.0
_AUTOMATIC_NAME = re.compile(r"Sector \d+ end")
_KIND_NAMES: dict[GateKind, str] = {
    "finish": "Finish",
    "start": "Start",
    "sector": "Sector 1 end",
    "speed": "Speed",
    "pit-entry": "Pit entry",
    "pit-exit": "Pit exit",
}
WIDEST_M = 500.0
"""No gate is wider than this."""


def new_id(track: Track, prefix: str, salt: str) -> str:
    """Make an id no feature of the track has or had: gate-k3f9.

    It is drawn from what the track is and how often it was changed, so that the same commands
    give the same file, while a gate placed where another was removed gets another id.
    """
    taken = {gate.id for gate in track.gates} | {corner.id for corner in track.corners}
    alphabet = "abcdefghjkmnpqrstuvwxyz23456789"
    for attempt in range(1000):
        seed = f"{track.id}/{len(track.history)}/{prefix}/{salt}/{attempt}"
        digest = hashlib.sha256(seed.encode()).digest()
        token = "".join(alphabet[byte % len(alphabet)] for byte in digest[:4])
        if f"{prefix}-{token}" not in taken:
            return f"{prefix}-{token}"
    raise PlaceError("the track has too many features to name another")


def square_ends(
    track: Track, chainage_m: float, width_m: float | None
) -> tuple[Position, Position, tuple[str, ...]]:
    """Find the ends of a gate at right angles to the track.

    Parameters
    ----------
    track
        The track.
    chainage_m
        Where on the centreline, metres.
    width_m
        Distance between the ends, half on either side.  None means the band and a margin of
        `GATE_MARGIN_M` on either side, shortened where it would come within the receiver's
        accuracy of another piece of track.

    Returns
    -------
    left, right, remarks
        Ends as (longitude, latitude), degrees, and what was shortened.
    """
    curve = track.curve
    centre, aside = curve.position(chainage_m), curve.left(chainage_m)
    if width_m is not None:
        if not 0.5 <= width_m <= WIDEST_M:
            raise PlaceError(
                f"a gate {width_m:g} m wide is not sensible",
                remedy=f"give 0.5 to {WIDEST_M:.0f} metres",
            )
        halves = [0.5 * width_m, 0.5 * width_m]
        remarks: tuple[str, ...] = ()
    else:
        full = 0.5 * track.band_m + GATE_MARGIN_M
        halves = [_usable_half(track, chainage_m, centre, side * aside, full) for side in (1, -1)]
        remarks = tuple(
            f"its {side} end is {half:.1f} m from the centreline instead of {full:.1f} m, to stay "
            "clear of another piece of track"
            for side, half in zip(("left", "right"), halves, strict=True)
            if half < full
        )
    left = _geographic(track, centre + halves[0] * aside)
    right = _geographic(track, centre - halves[1] * aside)
    return left, right, remarks


def _usable_half(
    track: Track, chainage_m: float, centre: Floats, aside: Floats, full_m: float
) -> float:
    half = full_m
    while half > NARROWEST_HALF_M:
        reach = np.linspace(0.0, half, 1 + int(np.ceil(half)))
        away = min(
            distance_to_other_piece(track.curve, chainage_m, centre + r * aside)
            for r in reach[len(reach) // 2 :]
        )
        if away >= RECEIVER_ACCURACY_M - 0.5 * NEAR_ENOUGH_M:
            return half
        half -= 0.5
    return NARROWEST_HALF_M


def _geographic(track: Track, position_m: Floats) -> Position:
    longitude, latitude = track.plane.to_geographic(position_m)
    return float(longitude), float(latitude)


def place_gate(
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
        Where; two surveyed ends are kept exactly as given.
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
        When the place is off the track, or the track may not have another such gate.
    """
    if kind not in GATE_KINDS:
        raise PlaceError(
            f"{kind!r} is no kind of gate", remedy=f"the kinds are: {', '.join(GATE_KINDS)}"
        )
    if kind in ("finish", "start") and track.gates_of_kind(kind):
        existing = track.gates_of_kind(kind)[0]
        raise PlaceError(
            f"the track has a {kind} gate already, at {existing.chainage_m:.1f} m",
            remedy=f"move it with `trackkit gate move TRACK {existing.id} PLACE`",
        )
    blank = Gate("", kind, name or _free_name(track, kind), (0.0, 0.0), (1.0, 1.0))
    gate, remarks = _located(track, blank, place, width_m)
    gate_id: str = kind
    if kind not in ("finish", "start") or any(gate.id == kind for gate in track.gates):
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


def _free_name(track: Track, kind: GateKind) -> str:
    name = _KIND_NAMES[kind]
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
    chainage, remarks = chainage_of(track, place, must_cross=gate.kind not in BESIDE_THE_TRACK)
    if place.ends is not None:
        if width_m is not None:
            raise PlaceError("a width cannot be given with two surveyed ends")
        left, right, turned = in_racing_order(track, *place.ends, chainage)
        if turned:
            remarks = (*remarks, "the ends were given right then left; they were swapped")
        gate = replace(gate, left=left, right=right, chainage_m=chainage, surveyed=True)
        _require_width(track, gate)
        if gate.kind not in BESIDE_THE_TRACK:
            remarks = (*remarks, _how_it_lies(track, gate))
    else:
        left, right, shortened = square_ends(track, chainage, width_m)
        remarks = (*remarks, *shortened)
        gate = replace(gate, left=left, right=right, chainage_m=chainage, surveyed=False)
    return gate, remarks


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


def move_gate(
    track: Track, id_or_name: str, place: Place, *, width_m: float | None = None
) -> tuple[Track, Gate, tuple[str, ...]]:
    """Move a gate; it keeps its id, kind and name, and its width unless another is given.

    Moving the finish gate of a closed track moves chainage zero; every other gate stays where it
    is on the ground.

    Raises
    ------
    PlaceError
        When no gate answers to `id_or_name`, or the place is off the track.
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


def remove_gate(track: Track, id_or_name: str) -> tuple[Track, Gate]:
    """Remove a gate.

    Raises
    ------
    PlaceError
        When no gate answers to `id_or_name`, or it is one the track cannot be without.
    """
    gate = track.gate(id_or_name)
    if gate.kind == "finish" or (gate.kind == "start" and not track.closed):
        raise PlaceError(
            f"a track cannot be without its {gate.kind} gate",
            remedy=f"move it with `trackkit gate move TRACK {gate.id} PLACE`",
        )
    changed = track.with_gates(g for g in track.gates if g.id != gate.id)
    return renamed_in_order(changed), gate


def renamed_in_order(track: Track) -> Track:
    """Give sector gates that still have the name trackkit gave them the name of their place."""
    sectors = track.gates_of_kind("sector")
    names = {
        gate.id: f"Sector {number} end"
        for number, gate in enumerate(sectors, start=1)
        if _AUTOMATIC_NAME.fullmatch(gate.name)
    }
    return replace(
        track,
        gates=tuple(replace(g, name=names.get(g.id, g.name)) for g in track.gates),
    )


def with_datum(track: Track, chainage_m: float) -> Track:
    """Make a place chainage zero of a closed track; nothing moves on the ground.

    The centreline gets a vertex there and begins with it; chainages of gates, corners,
    crossovers and the width profile follow.
    """
    curve, line = track.curve, track.centreline
    chainage_m = float(curve.wrap(chainage_m))
    vertex = curve.vertex_chainage_m
    ahead = np.asarray(curve.along(chainage_m, vertex))
    order = np.argsort(ahead)
    spacing = float(np.median(np.diff(np.append(vertex, curve.length_m))))
    # A vertex right beside the new one would make the heading there depend on rounding.
    room = min(0.3 * spacing, 0.3)
    order = order[(ahead[order] > room) & (curve.length_m - ahead[order] > room)]
    start_lon, start_lat = track.plane.to_geographic(curve.position(chainage_m))
    # The plane and the line may count longitudes from different sides of the antimeridian.
    near = float(line.longitude_deg[0])
    start_lon = near + wrap_longitude(start_lon - near)
    longitude = np.concatenate([[start_lon], line.longitude_deg[order], [start_lon]])
    latitude = np.concatenate([[start_lat], line.latitude_deg[order], [start_lat]])
    height = None
    if line.height_m is not None:
        kept = line.height_m[: len(vertex)]
        first = float(np.interp(chainage_m, vertex, kept, period=curve.length_m))
        height = np.concatenate([[first], kept[order], [first]])
    profile = line.width_profile
    if profile is not None:
        profile = tuple(
            sorted((float(curve.along(chainage_m, s)), left, right) for s, left, right in profile)
        )
    turned = replace(
        track,
        centreline=replace(
            line,
            longitude_deg=longitude,
            latitude_deg=latitude,
            height_m=height,
            width_profile=profile,
        ),
        crossovers=tuple(
            replace(
                c,
                over_m=float(curve.along(chainage_m, c.over_m)),
                under_m=float(curve.along(chainage_m, c.under_m)),
            )
            for c in track.crossovers
        ),
    )
    new_length = turned.curve.length_m
    gates = [
        replace(
            gate,
            chainage_m=_zero_if_datum(
                ends_chainage(
                    turned,
                    gate.left,
                    gate.right,
                    near_m=float(curve.along(chainage_m, gate.chainage_m)),
                    must_cross=False,
                ),
                new_length,
            ),
        )
        for gate in turned.gates
    ]
    turned = replace(turned, length_m=new_length, direction=direction_of(turned.curve))
    return with_corners(renamed_in_order(turned.with_gates(gates)))


def _zero_if_datum(chainage_m: float, length_m: float) -> float:
    return 0.0 if min(chainage_m, length_m - chainage_m) < 0.005 else chainage_m


def with_corners(track: Track) -> Track:
    """Find the corners afresh; a corner found where one was keeps its id and name."""
    curve = track.curve
    bends, _ = find_bends(curve)
    known = list(track.corners)
    corners: list[Corner] = []
    for number, bend in enumerate(bends, start=1):
        apex = curve.position(bend.apex_m)
        old = _nearest_corner(track, known, apex)
        if old is not None:
            known.remove(old)
        longitude, latitude = _geographic(track, apex)
        blank = replace(track, corners=(*track.corners, *corners))
        corners.append(
            Corner(
                number=number,
                name=old.name if old else "",
                turn=bend.turn,
                apex=(longitude, latitude),
                entry_m=bend.entry_m,
                apex_m=bend.apex_m,
                exit_m=bend.exit_m,
                min_radius_m=bend.min_radius_m,
                id=old.id if old else new_id(blank, "corner", f"{longitude:.5f},{latitude:.5f}"),
                properties=old.properties if old else {},
                members=old.members if old else {},
            )
        )
    return replace(track, corners=tuple(corners))


def _nearest_corner(track: Track, known: list[Corner], apex_m: ArrayLike) -> Corner | None:
    if not known:
        return None
    apexes = track.plane.to_plane([c.apex[0] for c in known], [c.apex[1] for c in known])
    away = np.linalg.norm(apexes - np.asarray(apex_m), axis=1)
    nearest = int(np.argmin(away))
    return known[nearest] if away[nearest] <= _SAME_CORNER_M else None
