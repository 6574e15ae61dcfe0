"""The gates of an imported track: which they were, how they lie, and what they are called."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import PlaceError, TrackFileError
from trackkit.gates.placement import KIND_NAMES, SINGLE_KINDS, with_gate
from trackkit.gates.square import WIDEST_M
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.importing.fields import members_of, restored, same_value
from trackkit.importing.lines import UNMOVED_M, joined
from trackkit.importing.pairing import Candidate, candidates_of, own_id, pair
from trackkit.importing.roles import kind_of_gate
from trackkit.recordings.drawn.features import DrawnFeature
from trackkit.remedies import Remedy
from trackkit.track.derive import called, renamed_in_order, with_datum
from trackkit.track.features import BESIDE_THE_TRACK, GATE_KINDS, Gate, GateKind, Position
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track, end_gate_m, new_id
from trackkit.track.places import Place

AT_DATUM_M = 0.05
"""A finish gate that crosses the line this near to its first position lies there."""


def with_drawn_gates(
    track: Track,
    features: Sequence[DrawnFeature],
    named: Mapping[str, str],
    onto: Track | None,
    *,
    same_line: bool,
) -> tuple[Track, tuple[str, ...]]:
    """Give a track the gates that were drawn.

    Parameters
    ----------
    track
        With its line, and without gates.
    features
        The gates that were drawn; without any the track keeps those of `onto`.
    named
        Fields that a user has named, by member.
    onto
        The track that it was before, or None.
    same_line
        Whether the line is that of `onto`.

    Returns
    -------
    track, remarks
        A lap begins at its finish gate.

    Raises
    ------
    TrackFileError
        When a gate has no geometry, or no kind that can be told.
    PlaceError
        When a gate does not cross the line, or cannot lie where it does.
    """
    require("gates", len(features), TrackFileError, "holds")
    remarks: list[str] = []
    read = [members_of(feature, "gates", named) for feature in features]
    ends = [_ends(feature) for feature in features]
    kinds = _kinds(track, features, named, ends, remarks)
    drawn = [
        Candidate(own_id(members.get("id")), kind, members.get("name"), position)
        for (members, _), kind, position in zip(read, kinds, ends, strict=True)
    ]
    before = () if onto is None else onto.gates
    # One that two features claim is a gate and its copy.
    partners = pair(drawn, candidates_of(before))
    gates: list[Gate] = []
    for index, feature in enumerate(features):
        other = partners[index]
        old = None if other is None else before[other]
        if old is not None and same_line and _unmoved(ends[index], old):
            position = (old.left, old.right)
        else:
            left, right = ends[index][[0, -1], :2].tolist()
            position = _facing(track, tuple(left), tuple(right), kinds[index], feature, remarks)
        gates.append(_gate(position, kinds[index], feature, *read[index], old, gates))
    if onto is not None and not features:
        gates = list(onto.gates)
        remarks.append("it has no gates: those of the track were kept")
    return _placed(
        track,
        gates,
        onto,
        remarks,
        same_line=same_line,
        features=features,
        names_given=[bool(members.get("name_given")) for members, _ in read]
        or [False] * len(gates),
    )


def _ends(feature: DrawnFeature) -> Floats:
    parts = [part for part in feature.parts if len(part) > 1]
    if feature.kind is None or not parts:
        raise TrackFileError(
            "is a gate without a line from its left to its right end",
            place=feature.place,
            remedy="draw it again, or delete it",
        )
    line = joined(parts, feature.place)
    apart = float(geodesic_distance(*line[0, :2], *line[-1, :2]))
    if not 0.0 < apart <= WIDEST_M:
        raise TrackFileError(
            f"is a gate whose ends are {apart:,.2f} m apart",
            place=feature.place,
            remedy=f"draw it from one side of the track to the other, at most {WIDEST_M:.0f} m",
        )
    return line


def _unmoved(position: Floats, old: Gate) -> bool:
    apart = geodesic_distance(
        position[[0, -1], 0],
        position[[0, -1], 1],
        np.array([old.left[0], old.right[0]]),
        np.array([old.left[1], old.right[1]]),
    )
    return bool(np.max(apart) <= UNMOVED_M)


def _kinds(
    track: Track,
    features: Sequence[DrawnFeature],
    named: Mapping[str, str],
    ends: Sequence[Floats],
    remarks: list[str],
) -> list[GateKind]:
    kinds: list[GateKind | None] = []
    for feature in features:
        kind, stated = kind_of_gate(feature, named)
        if kind is None and stated is not None:
            raise TrackFileError(
                f"its kind is {stated!r}, which is no kind of gate",
                place=feature.place,
                remedy=f"write one of {', '.join(GATE_KINDS)}",
            )
        kinds.append(kind)
    return _supposed(track, features, kinds, ends, remarks)


def _supposed(
    track: Track,
    features: Sequence[DrawnFeature],
    kinds: Sequence[GateKind | None],
    ends: Sequence[Floats],
    remarks: list[str],
) -> list[GateKind]:
    """Suppose of gates without a kind that sectors end there; of a lap, that it begins at one."""
    unknown = [index for index, kind in enumerate(kinds) if kind is None]
    result: list[GateKind] = [kind or "sector" for kind in kinds]
    if not unknown:
        return result
    if track.closed and "finish" not in result:
        first = track.centreline.longitude_deg[0], track.centreline.latitude_deg[0]
        away = {index: _away_m(ends[index], first) for index in unknown}
        nearest = min(away, key=lambda index: away[index])
        if len(unknown) > 1 and away[nearest] > 0.5 * WIDEST_M:
            raise TrackFileError(
                f"does not say which of its {len(unknown):,} gates is the finish gate",
                place=features[unknown[0]].place,
                remedy=Remedy(
                    "name the field that says of what kind each gate is",
                    do="name fields",
                    value={"fields": ["kind"]},
                ),
            )
        result[nearest] = "finish"
        remarks.append(
            f"nothing says what kind the gates are: that of {features[nearest].place}, where the "
            "line begins, was taken for the finish gate"
        )
        unknown.remove(nearest)
    if unknown:
        places = ", ".join(features[index].place for index in unknown[:4])
        remarks.append(f"gates that nothing is said of were taken for ends of sectors ({places})")
    return result


def _away_m(line: Floats, first: Position) -> float:
    longitude, latitude = line[[0, -1], :2].mean(axis=0).tolist()
    return float(geodesic_distance(longitude, latitude, *first))


def _facing(
    track: Track,
    left: Position,
    right: Position,
    kind: GateKind,
    feature: DrawnFeature,
    remarks: list[str],
) -> tuple[Position, Position]:
    """Have the left end of a gate on the left of who drives there."""
    try:
        at = ends_chainage(track.centreline, left, right, must_cross=kind not in BESIDE_THE_TRACK)
    except PlaceError as error:
        raise PlaceError(error.what, place=feature.place, remedy=error.remedy) from error
    ends = track.plane.to_plane([left[0], right[0]], [left[1], right[1]])
    if float((ends[0] - ends[1]) @ track.curve.left(at)) >= 0.0:
        return left, right
    remarks.append(
        f"the gate of {feature.place} was drawn from right to left: its ends were swapped"
    )
    return right, left


def _gate(
    position: tuple[Position, Position],
    kind: GateKind,
    feature: DrawnFeature,
    members: Mapping[str, Any],
    others: Mapping[str, Any],
    old: Gate | None,
    placed: Sequence[Gate],
) -> Gate:
    left, right = position
    name = members.get("name")
    if old is not None:
        gate = replace(
            old,
            kind=kind,
            left=left,
            right=right,
            surveyed=members.get("surveyed", old.surveyed),
            properties=restored(others, old.properties),
        )
        # Formats that need a name have the id where there is none.
        if name is None or name == old.id or same_value(name, old.name):
            return gate
        return called(gate, str(name))
    gate_id = own_id(members.get("id")) or ""
    if any(other.id == gate_id for other in placed):
        gate_id = ""
    gate = Gate(
        gate_id,
        kind,
        KIND_NAMES[kind],
        left,
        right,
        chainage_m=members.get("chainage_m", 0.0),
        surveyed=members.get("surveyed", False),
        properties=others,
        members=feature.members,
    )
    return gate if name is None or name == gate_id else called(gate, str(name))


def _placed(
    track: Track,
    gates: Sequence[Gate],
    onto: Track | None,
    remarks: list[str],
    *,
    same_line: bool,
    features: Sequence[DrawnFeature],
    names_given: Sequence[bool],
) -> tuple[Track, tuple[str, ...]]:
    """Find where gates cross the line, number them, and have a lap begin at its finish gate."""
    was = {} if onto is None else {gate.id: gate for gate in onto.gates}
    located = []
    for index, gate in enumerate(gates):
        old = was.get(gate.id)
        unmoved = same_line and old is not None
        if unmoved and (gate.left, gate.right) == (old.left, old.right):  # type: ignore[union-attr]
            located.append(replace(gate, chainage_m=old.chainage_m))  # type: ignore[union-attr]
            continue
        try:
            at = ends_chainage(
                track.centreline,
                gate.left,
                gate.right,
                gate.chainage_m,
                must_cross=gate.kind not in BESIDE_THE_TRACK,
            )
        except PlaceError as error:
            place = features[index].place if features else f"gate {gate.id}"
            raise PlaceError(error.what, place=place, remedy=error.remedy) from error
        located.append(replace(gate, chainage_m=at))
    for kind in SINGLE_KINDS:
        several = [gate for gate in located if gate.kind == kind]
        if len(several) > 1:
            raise TrackFileError(
                f"has {len(several)} {kind} gates ({', '.join(gate.name for gate in several)})",
                remedy="keep one of them, and make the others another kind",
            )
    with_ids = _with_ids(track, located, onto)
    sure = {gate.id for gate, given in zip(with_ids, names_given, strict=True) if given}
    track = track.with_gates(with_ids)
    track = _begun_at_finish(track)
    track, more = _with_ends(track)
    return _named_in_order(track, was, sure), (*remarks, *more)


def _named_in_order(track: Track, was: Mapping[str, Gate], sure: Collection[str]) -> Track:
    """Have names that trackkit gave follow the order, and others stay.

    Of gates that are new, the name is trackkit's where it is that of the place, or may be that of
    the gate that was copied; unless the file says that somebody gave it.
    """
    copied = {gate.name for gate in was.values() if not gate.name_given}
    following = track.with_gates(replace(gate, name_given=False) for gate in track.gates)
    in_order = {gate.id: gate.name for gate in renamed_in_order(following).gates}
    gates = []
    for gate in track.gates:
        new = gate.kind == "sector" and gate.id not in was and gate.id not in sure
        if new and gate.name in (in_order[gate.id], *copied):
            gates.append(replace(gate, name_given=False))
        else:
            gates.append(gate)
    return renamed_in_order(track.with_gates(gates))


def _with_ids(track: Track, gates: Sequence[Gate], onto: Track | None) -> list[Gate]:
    """Give ids to gates that have none, as for gates that are placed."""
    taken = {gate.id for gate in gates} | {gate.id for gate in (onto.gates if onto else ())}
    result: list[Gate] = []
    for gate in gates:
        if gate.id:
            result.append(gate)
            continue
        gate_id: str = gate.kind
        if gate.kind not in SINGLE_KINDS or gate.kind in taken:
            place = ",".join(f"{value:.5f}" for value in (*gate.left, *gate.right))
            draft = replace(track, gates=tuple(replace(gate, id=name) for name in taken))
            gate_id = new_id(draft, "gate", f"{gate.kind} {place}")
        taken.add(gate_id)
        result.append(replace(gate, id=gate_id))
    return result


def _begun_at_finish(track: Track) -> Track:
    finish = track.gates_of_kind("finish")
    if not track.closed or not finish:
        return track
    if float(track.curve.separation(finish[0].chainage_m, 0.0)) > AT_DATUM_M:
        return with_datum(track, finish[0].chainage_m)
    return track.with_gates(
        replace(gate, chainage_m=0.0) if gate.kind == "finish" else gate for gate in track.gates
    )


def _with_ends(track: Track) -> tuple[Track, list[str]]:
    """Place the gates that a track cannot be without where the line begins and ends."""
    kinds: tuple[GateKind, ...] = ("finish",) if track.closed else ("finish", "start")
    remarks = []
    for kind in kinds:
        if track.gates_of_kind(kind):
            continue
        at = end_gate_m(track, kind)
        track, _, _ = with_gate(track, kind, Place(chainage_m=at))
        where = "where the line begins" if track.closed else f"at {at:.0f} m"
        remarks.append(f"no {kind} gate was drawn: it was placed {where}")
    return track, remarks
