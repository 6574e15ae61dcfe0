"""Circuits and their layouts, joined from the ways and relations of a venue."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.find_laps import SHORTEST_LAP_M
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.shape import chords_of, direction_by_turns
from trackkit.open_map.extract import MapRelation, MapWay
from trackkit.open_map.network import Loop, Network, Stretch, components, find_loops, network_of
from trackkit.open_map.tags import (
    is_pit_lane,
    layer_of,
    names_of,
    sports_of,
    way_driven,
    why_not_a_circuit,
    width_m_of,
)
from trackkit.open_map.venues import Venue
from trackkit.words import counted

MOST_LAYOUTS = 12
"""Of one network the longest loops: each junction more doubles their number."""
_SAME_NODES = 0.95
_MOST_OF_IT = 0.5
_ON_LINE_M = 15.0

Driven = Literal["one way", "both ways"]


@dataclass(frozen=True, eq=False)
class MapLayout:
    """A layout as the map has it, in one direction.

    Parameters
    ----------
    name, layout
        What it is called; the name is empty where the map has none.
    names
        All names of its ways or its relation, by their keys.
    longitude_deg, latitude_deg
        Its line in racing direction, degrees; the first position is repeated last.
    layers
        Of each piece between two positions.
    length_m
        Along that line.
    ways, relation
        Ids and versions of what it is made of; of a relation, where one lists it.
    sports, surface, width_m
        As tagged along most of it; empty or None where that does not say.
    pit_lanes
        Longitudes and latitudes of pit lanes beside it, as drawn, shape (n, 2) each.
    direction
        Which way round it is; of a figure of eight, whether it runs as drawn.
    driven
        Whether the map says which way it is driven; if not, this is one of two.
    remarks
        Clauses about what was assumed.
    """

    name: str
    layout: str
    names: Mapping[str, str]
    longitude_deg: Floats
    latitude_deg: Floats
    layers: tuple[int, ...]
    length_m: float
    ways: tuple[tuple[int, int], ...]
    relation: tuple[int, int] | None
    sports: tuple[str, ...]
    surface: str
    width_m: float | None
    pit_lanes: tuple[Floats, ...]
    direction: str
    driven: Driven
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A loop with the network it is in, and the relation that lists it."""

    network: Network
    loop: Loop
    relation: MapRelation | None
    remarks: tuple[str, ...]

    def stretches(self) -> list[tuple[int, int, Stretch]]:
        """List the loop's nodes in pairs, and what lies between, in its order."""
        listed = []
        for dart in self.loop.darts:
            piece = self.network.pieces[dart.piece]
            pairs = list(pairwise(piece.nodes))
            along = [(*pair, some) for pair, some in zip(pairs, piece.stretches, strict=True)]
            if dart.way < 0:
                along = [
                    (second, first, Stretch(some.way, not some.forward))
                    for first, second, some in reversed(along)
                ]
            listed += along
        return listed

    @property
    def nodes(self) -> frozenset[int]:
        return frozenset(node for node, _, _ in self.stretches())


def layouts_of(
    venue: Venue, places: Mapping[int, tuple[float, float]]
) -> tuple[list[MapLayout], list[str]]:
    """Find the layouts of a venue, each in the directions that it may be driven in.

    Parameters
    ----------
    venue
        Its ways and relations.
    places
        Longitude and latitude of nodes by id, degrees.

    Returns
    -------
    layouts, remarks
        Those of relations first, then by length; and sentences about what made none.
    """
    remarks: list[str] = []
    circuits = {
        ref: way
        for ref, way in venue.ways.items()
        if why_not_a_circuit(way.tags) is None and not is_pit_lane(way.tags)
    }
    drawn = []
    for relation in venue.relations.values():
        some, more = _of_relation(relation, venue, places)
        drawn += some
        remarks += more
    listed = [loop.nodes for loop in drawn]
    if circuits:
        network = network_of(circuits, places)
        remarks += _about(network)
        on_loops = {some.way for piece in network.pieces for some in piece.stretches}
        for indices in components(network.pieces):
            some, more = _of_component(network, indices, None)
            remarks += more
            drawn += [loop for loop in some if not _is_listed(loop.nodes, listed)]
        used = {some.way for loop in drawn for _, _, some in loop.stretches()} | on_loops
        loose = len(circuits.keys() - used)
        if loose:
            remarks.append(
                f"{counted(range(loose), 'way is', 'ways are')} on no closed loop, such as "
                f"{_reference(min(circuits.keys() - used))}: no circuit"
            )
    pits = [way for way in venue.ways.values() if is_pit_lane(way.tags)]
    layouts = []
    for name, group in _by_name(drawn, venue).items():
        several = len(group) > 1
        for loop in group:
            layouts += _directed(loop, name, pits, places, several=several)
    return layouts, remarks


def _reference(way: int) -> str:
    return f"way {way}"


def _about(network: Network) -> list[str]:
    remarks = []
    if network.broken:
        remarks.append(
            f"{_reference(network.broken[0])} lacks nodes in this extract, and ends at the hole"
        )
    if network.bridged:
        where = min(network.ways)
        remarks.append(
            f"{counted(range(network.bridged), 'hole is', 'holes are')} crossed straight, of nodes "
            f"missing near {_reference(where)}"
        )
    if network.joined:
        remarks.append(
            f"{counted(range(network.joined), 'end of a way lies', 'ends of ways lie')} on others "
            f"without a common node near {_reference(min(network.ways))}: joined"
        )
    return remarks


def _of_relation(
    relation: MapRelation, venue: Venue, places: Mapping[int, tuple[float, float]]
) -> tuple[list[_Drawn], list[str]]:
    """Find the loop that a relation lists; its roles say which way, where ways do not."""
    members: dict[int, MapWay] = {}
    missing = 0
    for member in relation.members:
        if member.kind != "w" or "pit" in member.role:
            continue
        way = venue.ways.get(member.ref)
        if way is None:
            missing += 1
        elif not is_pit_lane(way.tags):
            members[way.id] = _with_role(way, member.role)
    remarks = []
    called = f"relation {relation.id}"
    if missing:
        remarks.append(
            f"{called} lists {counted(range(missing), 'way')} that this extract does not have"
        )
    if not members:
        return [], remarks
    network = network_of(members, places)
    parts = components(network.pieces)
    if not parts:
        return [], [*remarks, f"{called} makes no closed loop: its ways are taken by themselves"]
    longest = max(parts, key=lambda part: sum(network.pieces[i].length_m for i in part))
    drawn, more = _of_component(network, longest, relation)
    if not drawn:
        remarks.append(f"{called} makes no closed loop: its ways are taken by themselves")
    return drawn[:1], [*remarks, *_about(network), *more]


def _with_role(way: MapWay, role: str) -> MapWay:
    if way_driven(way.tags) or role not in ("forward", "backward"):
        return way
    return replace(way, tags={**way.tags, "oneway": "yes" if role == "forward" else "-1"})


def _of_component(
    network: Network, indices: Sequence[int], relation: MapRelation | None
) -> tuple[list[_Drawn], list[str]]:
    """Find the loops of pieces that hang together."""
    remarks: list[str] = []
    notes: tuple[str, ...] = ()
    where = _reference(
        min(some.way for index in indices for some in network.pieces[index].stretches)
    )
    loops, whole = find_loops(network, indices)
    if not loops:
        loops, whole = find_loops(network, indices, heed_one_way=False)
        if loops:
            notes = ("its one-way tags contradict each other, so that it may be driven either way",)
    if not whole:
        remarks.append(f"the network at {where} has more loops than were searched for")
    long_enough = [
        loop
        for loop in loops
        if sum(network.pieces[dart.piece].length_m for dart in loop.darts) >= SHORTEST_LAP_M
    ]
    if relation is None and len(long_enough) > MOST_LAYOUTS:
        remarks.append(
            f"the network at {where} has {len(long_enough):,} loops: the {MOST_LAYOUTS} longest "
            "are taken"
        )
        long_enough = long_enough[:MOST_LAYOUTS]
    return [_Drawn(network, loop, relation, notes) for loop in long_enough], remarks


def _is_listed(nodes: frozenset[int], listed: Iterable[frozenset[int]]) -> bool:
    return any(len(nodes & other) >= _SAME_NODES * len(nodes | other) for other in listed)


def _by_name(drawn: Sequence[_Drawn], venue: Venue) -> dict[str, list[_Drawn]]:
    """Group loops by the name of their circuit: that of their ways, or of their relation."""
    groups: dict[str, list[_Drawn]] = defaultdict(list)
    for loop in drawn:
        groups[_name_of(loop, venue)].append(loop)
    return groups


def _name_of(loop: _Drawn, venue: Venue) -> str:
    named = _longest(loop, "name")
    if loop.relation is not None and loop.relation.tags.get("name", "").strip():
        return loop.relation.tags["name"].strip()
    if named:
        return named
    ways = {some.way for _, _, some in loop.stretches()}
    for relation in venue.relations.values():
        if relation.tags.get("name", "").strip() and ways & {m.ref for m in relation.members}:
            return relation.tags["name"].strip()
    return ""


def _lengths(loop: _Drawn) -> dict[int, float]:
    """Add up how far a loop runs along each of its ways, metres."""
    lengths: dict[int, float] = defaultdict(float)
    for first, second, some in loop.stretches():
        step = np.subtract(loop.network.place[first], loop.network.place[second])
        lengths[some.way] += float(np.hypot(*step))
    return lengths


def _longest(loop: _Drawn, key: str) -> str:
    """Find what most of a loop has as a tag, or an empty text."""
    totals: dict[str, float] = defaultdict(float)
    for way, length in _lengths(loop).items():
        text = loop.network.ways[way].tags.get(key, "").strip()
        if text:
            totals[text] += length
    return max(totals, key=lambda text: (totals[text], text), default="")


def _directed(
    loop: _Drawn,
    name: str,
    pits: Sequence[MapWay],
    places: Mapping[int, tuple[float, float]],
    *,
    several: bool,
) -> list[MapLayout]:
    """Make a layout of a loop for each direction in which it may be driven."""
    network = loop.network
    stretches = loop.stretches()
    nodes = [first for first, _, _ in stretches] + [stretches[0][0]]
    on_plane = network.line(nodes)
    longitude, latitude = network.plane.to_geographic(on_plane)
    layers = tuple(layer_of(network.ways[some.way].tags) for _, _, some in stretches)
    lengths = _lengths(loop)
    length_m = sum(lengths.values())
    turns = direction_by_turns(chords_of(longitude, latitude)[1])
    relation = loop.relation
    tags = [network.ways[way].tags for way in lengths] + ([relation.tags] if relation else [])
    names = {key: text for some in tags for key, text in names_of(some).items()}
    sports = tuple(sorted({sport for some in tags for sport in sports_of(some)}))
    both = len(loop.loop.driven) == 2
    layouts = []
    for way in sorted(loop.loop.driven, reverse=True):
        label = []
        if several:
            label.append(f"{length_m:,.0f} m")
        direction: str = turns or ("as drawn" if way > 0 else "against the drawing")
        if way < 0 and turns is not None:
            direction = "anticlockwise" if turns == "clockwise" else "clockwise"
        if both:
            label.append(direction)
        layouts.append(
            MapLayout(
                name=name,
                layout=", ".join(label),
                names=names,
                longitude_deg=longitude[::way],
                latitude_deg=latitude[::way],
                layers=layers[::way],
                length_m=length_m,
                ways=tuple(sorted((ref, network.ways[ref].version) for ref in lengths)),
                relation=None if relation is None else (relation.id, relation.version),
                sports=sports,
                surface=_longest(loop, "surface"),
                width_m=_width_m(loop, lengths),
                pit_lanes=_pit_lanes(network.plane, on_plane, pits, places),
                direction=direction,
                driven="both ways" if both else "one way",
                remarks=loop.remarks,
            )
        )
    return layouts


def _width_m(loop: _Drawn, lengths: Mapping[int, float]) -> float | None:
    """Average the widths that are given, by length; None where most of the loop has none."""
    given = [
        (width, length)
        for way, length in lengths.items()
        if (width := width_m_of(loop.network.ways[way].tags)) is not None
    ]
    covered = sum(length for _, length in given)
    if covered < _MOST_OF_IT * sum(lengths.values()):
        return None
    return round(sum(width * length for width, length in given) / covered, 1)


def _pit_lanes(
    plane: LocalPlane,
    line_m: Floats,
    pits: Sequence[MapWay],
    places: Mapping[int, tuple[float, float]],
) -> tuple[Floats, ...]:
    """Lay pit lanes whose two ends lie on a line."""
    from shapely import LineString, Point

    around = LineString(line_m)
    lanes = []
    for way in pits:
        there = np.array([places[node] for node in way.nodes if node in places])
        if len(there) < 2:
            continue
        ends = plane.to_plane(*there[[0, -1]].T)
        if max(around.distance(Point(end)) for end in ends) <= _ON_LINE_M and np.any(
            ends[0] != ends[1]
        ):
            lanes.append(there)
    return tuple(lanes)
