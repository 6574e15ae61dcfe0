"""Ways that belong together: those with common nodes, in one relation, or beside each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from trackkit.open_map.extract import Extract, MapRelation, MapWay

_BESIDE_DEG = 0.0005
"""About 50 m: pit lanes and ways that nobody has joined lie within it."""


@dataclass(frozen=True, eq=False)
class Venue:
    """What lies together: ways and relations by id."""

    ways: Mapping[int, MapWay]
    relations: Mapping[int, MapRelation]


def venues_of(extract: Extract) -> list[Venue]:
    """Part what an extract has into venues, by the lowest id of their ways.

    Ways of which no node is there are in none.
    """
    from shapely import STRtree, box

    there = [
        way for way in extract.ways.values() if any(node in extract.places for node in way.nodes)
    ]
    owner = {way.id: way.id for way in there}

    def top(ref: int) -> int:
        while owner[ref] != ref:
            owner[ref] = owner[owner[ref]]
            ref = owner[ref]
        return ref

    def together(refs: Iterable[int]) -> None:
        tops = sorted({top(ref) for ref in refs})
        for ref in tops[1:]:
            owner[ref] = tops[0]

    by_node: dict[int, list[int]] = defaultdict(list)
    for way in there:
        for node in way.nodes:
            by_node[node].append(way.id)
    for refs in by_node.values():
        together(refs)
    for relation in extract.relations.values():
        together(m.ref for m in relation.members if m.kind == "w" and m.ref in owner)
    bounds = []
    for way in there:
        place = np.array([extract.places[node] for node in way.nodes if node in extract.places])
        low, high = place.min(axis=0) - _BESIDE_DEG, place.max(axis=0) + _BESIDE_DEG
        wide = high[0] - low[0] > 180.0
        # A way across the antimeridian hangs together by its nodes.
        bounds.append(box(low[0], low[1], low[0] if wide else high[0], high[1]))
    tree = STRtree(bounds)
    for one, other in tree.query(bounds, predicate="intersects").T.tolist():
        together((there[one].id, there[other].id))
    groups: dict[int, dict[int, MapWay]] = defaultdict(dict)
    for way in there:
        groups[top(way.id)][way.id] = way
    lists: dict[int, dict[int, MapRelation]] = defaultdict(dict)
    for relation in extract.relations.values():
        refs = [m.ref for m in relation.members if m.kind == "w" and m.ref in owner]
        if refs:
            lists[top(refs[0])][relation.id] = relation
    return [Venue(ways, lists[ref]) for ref, ways in sorted(groups.items())]
