"""Ways that belong together: those with common nodes, in one relation, or beside each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from trackkit.open_map.extract import Extract, MapRelation, MapWay

if TYPE_CHECKING:
    from shapely import Polygon

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
    there = [
        way for way in extract.ways.values() if any(node in extract.places for node in way.nodes)
    ]
    if not there:
        return []
    index = {way.id: number for number, way in enumerate(there)}
    listed = {
        relation.id: [index[m.ref] for m in relation.members if m.kind == "w" and m.ref in index]
        for relation in extract.relations.values()
    }
    owner = _hanging_together(there, extract, listed.values())
    ways: dict[int, dict[int, MapWay]] = defaultdict(dict)
    for way, venue in zip(there, owner, strict=True):
        ways[venue][way.id] = way
    relations: dict[int, dict[int, MapRelation]] = defaultdict(dict)
    for ref, members in listed.items():
        for member in members[:1]:
            relations[owner[member]][ref] = extract.relations[ref]
    every = [Venue(some, relations[venue]) for venue, some in ways.items()]
    return sorted(every, key=lambda venue: min(venue.ways))


def _hanging_together(
    there: Sequence[MapWay], extract: Extract, listed: Iterable[Sequence[int]]
) -> list[int]:
    """Give each way the number of its venue."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from shapely import STRtree

    by_node: dict[int, list[int]] = defaultdict(list)
    for number, way in enumerate(there):
        for node in way.nodes:
            by_node[node].append(number)
    pairs = [pair for group in (*by_node.values(), *listed) for pair in pairwise(group)]
    boxes = [_box(way, extract.places) for way in there]
    beside = STRtree(boxes).query(boxes, predicate="intersects").T
    first, second = np.array([*pairs, *beside.tolist()]).T
    shape = (len(there), len(there))
    _, owner = connected_components(coo_array((np.ones(len(first)), (first, second)), shape=shape))
    return [int(venue) for venue in owner]


def _box(way: MapWay, places: Mapping[int, tuple[float, float]]) -> Polygon:
    from shapely import box

    place = np.array([places[node] for node in way.nodes if node in places])
    low, high = place.min(axis=0) - _BESIDE_DEG, place.max(axis=0) + _BESIDE_DEG
    # A way across the antimeridian hangs together by its nodes.
    east = low[0] if high[0] - low[0] > 180.0 else high[0]
    shape: Polygon = box(low[0], low[1], east, high[1])
    return shape
