"""A track of an earlier import brought up to date: what people gave stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from trackkit.open_map.circuits import MapLayout
from trackkit.open_map.track import source_of, track_of
from trackkit.track.credit import MAP_SOURCE, is_map_drawn, map_source
from trackkit.track.derive import with_corners, with_datum
from trackkit.track.features import BESIDE_THE_TRACK, Gate
from trackkit.track.history import now
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track


def updated(
    old: Track, layout: MapLayout, file: Mapping[str, Any]
) -> tuple[Track, tuple[str, ...]]:
    """Bring a track up to date with a newer extract.

    Its line follows the map, unless laps have revised it.  Gates stay where they are on the ground;
    only a finish gate that is a suggestion is suggested anew where the new line does not cross it.
    Facts that people changed stay.

    Parameters
    ----------
    old
        The track as it is.
    layout
        The same layout in the newer extract.
    file
        Name and SHA-256 of that extract.

    Returns
    -------
    track, remarks
        The track, and clauses about what was kept.
    """
    before = map_source(old) or {}
    source = source_of(layout, file)
    sources = tuple(source if other.get("kind") == MAP_SOURCE else other for other in old.sources)
    name = source["name"] if old.name == before.get("name") else old.name
    if not is_map_drawn(old):
        kept = replace(old, sources=sources, name=name)
        kept = kept.revised_by("a newer extract of open map data was read", now())
        return kept, ("laps have revised its line, which stays",)
    new, remarks = track_of(layout, file, id_=old.id)
    new = with_corners(replace(new, corners=old.corners))
    new, more = _with_gates_of(old, new)
    line = old.centreline
    width_m = new.centreline.width_m
    if line.width_m is not None and line.width_m != before.get("tags", {}).get("width_m"):
        width_m = line.width_m
    new = replace(
        new,
        name=name,
        layout=old.layout,
        sources=sources,
        history=old.history,
        country=old.country,
        timezone=old.timezone,
        notes=old.notes,
        accepted=old.accepted,
        valid_from=old.valid_from,
        valid_until=old.valid_until,
        replaces=old.replaces,
        members=old.members,
        foreign=old.foreign,
        other_features=old.other_features,
        pit_lanes=new.pit_lanes or old.pit_lanes,
        version=old.version,
        centreline=replace(
            new.centreline,
            id=line.id,
            width_m=width_m,
            properties=line.properties,
            members=line.members,
        ),
    )
    return new.revised_by("brought up to date from a newer extract", now()), (*remarks, *more)


def _with_gates_of(old: Track, new: Track) -> tuple[Track, tuple[str, ...]]:
    """Carry the gates of a track over to its new line; they stay where they are on the ground."""
    finish = old.finish
    gates = [gate for gate in old.gates if gate is not finish]
    remarks: list[str] = []
    if _crosses(new, finish) or not finish.suggested:
        at = ends_chainage(new.centreline, finish.left, finish.right, must_cross=False)
        new = with_datum(replace(new, gates=()), at)
        gates.insert(0, finish)
    else:
        gates.insert(0, replace(new.finish, id=finish.id, name=finish.name))
        remarks.append("the finish gate was suggested anew, since the new line passes the old one")
    remarks += [
        f"gate {gate.name} does not cross the new line: move it there"
        for gate in gates
        if gate.kind not in BESIDE_THE_TRACK and not _crosses(new, gate)
    ]
    return new.with_gates(_at_its_chainage(new, gate) for gate in gates), tuple(remarks)


def _crosses(track: Track, gate: Gate) -> bool:
    return len(track.curve.crossed_by(*track.gate_ends(gate))) > 0


def _at_its_chainage(track: Track, gate: Gate) -> Gate:
    at = ends_chainage(track.centreline, gate.left, gate.right, must_cross=False)
    if gate.kind == "finish" and min(at, track.curve.length_m - at) < 0.01:
        at = 0.0
    return replace(gate, chainage_m=at)
