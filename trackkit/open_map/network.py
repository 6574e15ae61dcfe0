"""The graph of the ways of circuits: pieces between junctions, and the closed loops in it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.geodesy import LocalPlane
from trackkit.open_map.extract import MapWay
from trackkit.open_map.tags import way_driven

SHARPEST_TURN_DEG = 120.0
"""At a junction no car turns by more than this (common practice, no source)."""
SAME_END_M = 1.0
"""Ends of ways as close as this are the same place, though nobody has joined them."""
LONGEST_HOLE_M = 60.0
"""A way goes straight across nodes that are missing where they leave a hole of this at most."""
_HEADING_OVER_M = 12.0
_STRAIGHT_OVER_DEG = 35.0
_CROSSING_DEG = 45.0
_MOST_STEPS = 60_000


class Stretch(NamedTuple):
    """Of a piece, from one node to the next: the way that it is of, and whether as drawn."""

    way: int
    forward: bool


@dataclass(frozen=True, eq=False)
class Piece:
    """A line from one junction to the next, or back to the same.

    Parameters
    ----------
    nodes
        Ids in order; the two ends are the same on a ring.
    stretches
        One for each two neighbouring nodes.
    length_m
        How long it is, metres.
    """

    nodes: tuple[int, ...]
    stretches: tuple[Stretch, ...]
    length_m: float

    def driven(self, ways: Mapping[int, MapWay]) -> set[int]:
        """Say which ways along the piece one-way tags allow: 1 along its nodes, -1 back."""
        allowed = {1, -1}
        for way, forward in set(self.stretches):
            oneway = way_driven(ways[way].tags)
            if oneway:
                allowed &= {oneway if forward else -oneway}
        return allowed


class Dart(NamedTuple):
    """A piece driven one way: its index, and 1 along its nodes or -1 back."""

    piece: int
    way: int


@dataclass(frozen=True, eq=False)
class Loop:
    """A closed run of pieces, with the ways in which it may be driven.

    Parameters
    ----------
    darts
        The pieces in order.
    driven
        1 where one-way tags allow it in this order, -1 where they allow it backwards.
    """

    darts: tuple[Dart, ...]
    driven: frozenset[int]


@dataclass(eq=False)
class Network:
    """Ways on a plane as pieces between junctions.

    Parameters
    ----------
    ways
        By id.
    plane, place
        Where nodes are: on the plane, metres, by id.
    pieces
        Without those that lead nowhere.
    joined
        How many ends of ways were joined that had no common node.
    bridged
        How many holes of missing nodes were crossed straight.
    broken
        Ids of the ways whose missing nodes leave a longer hole.
    """

    ways: Mapping[int, MapWay]
    plane: LocalPlane
    place: Mapping[int, tuple[float, float]]
    pieces: list[Piece] = field(default_factory=list)
    joined: int = 0
    bridged: int = 0
    broken: list[int] = field(default_factory=list)

    def line(self, nodes: Sequence[int]) -> Floats:
        """Lay nodes on the plane, metres, shape (n, 2)."""
        return np.array([self.place[node] for node in nodes])


def network_of(ways: Mapping[int, MapWay], places: Mapping[int, tuple[float, float]]) -> Network:
    """Make a graph of ways.

    Parameters
    ----------
    ways
        By id.
    places
        Longitude and latitude of nodes by id, degrees; of at least one of the ways' nodes.
    """
    there = [node for way in ways.values() for node in way.nodes if node in places]
    unique = list(dict.fromkeys(there))
    position = np.array([places[node] for node in unique])
    plane = LocalPlane.around(position[:, 0], position[:, 1])
    on_plane = plane.to_plane(position[:, 0], position[:, 1])
    place = dict(zip(unique, map(tuple, on_plane.tolist()), strict=True))
    network = Network(ways, plane, place)
    stretches = _stretches(network)
    network.joined = _join_ends(stretches, place)
    network.pieces = _without_dead_ends(_pieces(stretches, place))
    return network


def _stretches(network: Network) -> dict[tuple[int, int], Stretch]:
    """List what lies between two nodes, whichever way; of two ways there the first one counts."""
    stretches: dict[tuple[int, int], Stretch] = {}
    for way in network.ways.values():
        before: int | None = None
        holed = False
        for node in way.nodes:
            if node not in network.place:
                holed = True
                continue
            if before is not None and node != before:
                wide = holed and _apart(network.place, before, node) > LONGEST_HOLE_M
                if wide:
                    network.broken.append(way.id)
                else:
                    network.bridged += holed
                    forward = before < node
                    key = (before, node) if forward else (node, before)
                    stretches.setdefault(key, Stretch(way.id, forward))
            before, holed = node, False
    return stretches


def _apart(place: Mapping[int, tuple[float, float]], one: int, other: int) -> float:
    return math.dist(place[one], place[other])


def _join_ends(
    stretches: dict[tuple[int, int], Stretch], place: Mapping[int, tuple[float, float]]
) -> int:
    """Make one node of the ends of ways that lie on each other; returns how many there were."""
    from scipy.spatial import cKDTree

    degree: dict[int, int] = defaultdict(int)
    for pair in stretches:
        for node in pair:
            degree[node] += 1
    ends = [node for node, count in degree.items() if count == 1]
    if not ends:
        return 0
    every = list(degree)
    tree = cKDTree(np.array([place[node] for node in every]))
    same: dict[int, int] = {}
    for end, near in zip(
        ends, tree.query_ball_point([place[node] for node in ends], SAME_END_M), strict=True
    ):
        others = [every[i] for i in near if every[i] != end and same.get(every[i]) != end]
        neighbours = {node for pair in stretches if end in pair for node in pair} if others else ()
        others = [node for node in others if node not in neighbours]
        if others:
            same[end] = min(others, key=lambda node: _apart(place, end, node))
    for end, other in same.items():
        for pair in [pair for pair in stretches if end in pair]:
            way, forward = stretches.pop(pair)
            away = pair[0] if pair[1] == end else pair[1]
            if away == other:
                continue
            turned = (pair[0] == end) != (min(other, away) == other)
            key = (min(other, away), max(other, away))
            stretches.setdefault(key, Stretch(way, forward != turned))
    return len(same)


def _pieces(
    stretches: Mapping[tuple[int, int], Stretch], place: Mapping[int, tuple[float, float]]
) -> list[Piece]:
    """Follow stretches from junction to junction, and around rings without one."""
    beside: dict[int, list[int]] = defaultdict(list)
    for one, other in stretches:
        beside[one].append(other)
        beside[other].append(one)
    done: set[tuple[int, int]] = set()
    pieces = []
    junctions = sorted(node for node, near in beside.items() if len(near) != 2)
    for start in [*junctions, *sorted(beside)]:
        for second in beside[start]:
            if (min(start, second), max(start, second)) in done:
                continue
            nodes = [start, second]
            while len(beside[nodes[-1]]) == 2 and nodes[-1] != start:
                first, other = beside[nodes[-1]]
                nodes.append(other if first == nodes[-2] else first)
            pairs = list(pairwise(nodes))
            done.update((min(pair), max(pair)) for pair in pairs)
            pieces.append(
                Piece(
                    tuple(nodes),
                    tuple(_between(stretches, *pair) for pair in pairs),
                    sum(_apart(place, *pair) for pair in pairs),
                )
            )
    return pieces


def _between(stretches: Mapping[tuple[int, int], Stretch], one: int, other: int) -> Stretch:
    way, forward = stretches[min(one, other), max(one, other)]
    return Stretch(way, forward == (one < other))


def _without_dead_ends(pieces: Sequence[Piece]) -> list[Piece]:
    """Leave out pieces that are on no loop: dead ends, and links from one loop to another.

    A piece is on no loop where taking it out parts what it joins (a bridge of the graph; Tarjan,
    1974; from memory).
    """
    ends: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for index, piece in enumerate(pieces):
        ends[piece.nodes[0]].append((piece.nodes[-1], index))
        ends[piece.nodes[-1]].append((piece.nodes[0], index))
    number: dict[int, int] = {}
    low: dict[int, int] = {}
    links: set[int] = set()
    for root in ends:
        if root in number:
            continue
        number[root] = low[root] = len(number)
        path = [(root, -1, iter(ends[root]))]
        while path:
            node, by, rest = path[-1]
            step = next(rest, None)
            if step is None:
                path.pop()
                if path:
                    before = path[-1][0]
                    low[before] = min(low[before], low[node])
                    if low[node] > number[before]:
                        links.add(by)
                continue
            other, index = step
            if index == by:
                continue
            if other in number:
                low[node] = min(low[node], number[other])
            else:
                number[other] = low[other] = len(number)
                path.append((other, index, iter(ends[other])))
    return [piece for index, piece in enumerate(pieces) if index not in links]


def components(pieces: Sequence[Piece]) -> list[list[int]]:
    """Part pieces into those that hang together: their indices."""
    owner: dict[int, int] = {}

    def top(node: int) -> int:
        while owner.setdefault(node, node) != node:
            owner[node] = owner[owner[node]]
            node = owner[node]
        return node

    for piece in pieces:
        owner[top(piece.nodes[0])] = top(piece.nodes[-1])
    groups: dict[int, list[int]] = defaultdict(list)
    for index, piece in enumerate(pieces):
        groups[top(piece.nodes[0])].append(index)
    return list(groups.values())


@dataclass(frozen=True, eq=False)
class _Turns:
    """Which darts follow which at the junctions of some pieces."""

    following: Mapping[Dart, tuple[Dart, ...]]
    passage: Mapping[Dart, tuple[int, int]]
    """What of its last node a dart takes up: a node is passed once, a crossing once each way."""


def find_loops(
    network: Network, indices: Iterable[int], *, heed_one_way: bool = True
) -> tuple[list[Loop], bool]:
    """Find the closed loops among pieces, without those that pass a junction twice.

    At a crossing of two lines at an angle cars go straight over, and may come back across.

    Returns
    -------
    loops, all_of_them
        The longest first; whether the search came to its end.
    """
    pieces = network.pieces
    mine = sorted(indices)
    turns = _turns(network, mine)
    allowed = {index: pieces[index].driven(network.ways) for index in mine}
    if not heed_one_way:
        allowed = {index: {1, -1} for index in mine}
    ways: dict[frozenset[int], dict[int, tuple[Dart, ...]]] = {}
    steps = _MOST_STEPS
    for first in mine:
        for way in sorted(allowed[first], reverse=True):
            for darts, left in _closed_from(Dart(first, way), turns, allowed, steps):
                steps = left
                if darts:
                    ways.setdefault(frozenset(dart.piece for dart in darts), {})[way] = darts
            if steps <= 0:
                break
    loops = []
    for found_ways in ways.values():
        base = max(found_ways)
        loops.append(Loop(found_ways[base], frozenset(base * way for way in found_ways)))
    loops.sort(key=lambda loop: -sum(pieces[dart.piece].length_m for dart in loop.darts))
    return loops, steps > 0


def _closed_from(
    start: Dart, turns: _Turns, allowed: Mapping[int, set[int]], steps: int
) -> Iterator[tuple[tuple[Dart, ...], int]]:
    """Search loops that begin with a dart and have no piece of a lower index."""
    path = [start]
    passed = {turns.passage[start]}
    if start in turns.following[start]:
        yield (start,), steps
    stack = [iter(turns.following[start])]
    while stack:
        step = next(stack[-1], None)
        if step is None:
            stack.pop()
            passed.discard(turns.passage[path.pop()])
            continue
        steps -= 1
        if steps <= 0:
            yield (), 0
            return
        if step.piece <= start.piece or step.way not in allowed[step.piece]:
            continue
        if turns.passage[step] in passed:
            continue
        if start in turns.following[step]:
            # The junction that a loop begins at is passed when it closes.
            yield (*path, step), steps
        path.append(step)
        passed.add(turns.passage[step])
        stack.append(iter(turns.following[step]))
    yield (), steps


def _turns(network: Network, mine: Sequence[int]) -> _Turns:
    out: dict[int, list[Dart]] = defaultdict(list)
    heading: dict[Dart, Floats] = {}
    end: dict[Dart, int] = {}
    for index in mine:
        piece = network.pieces[index]
        for way in (1, -1):
            nodes = piece.nodes[::way]
            dart = Dart(index, way)
            out[nodes[0]].append(dart)
            end[dart] = nodes[-1]
            heading[dart] = _leaving(network.line(nodes))
    following: dict[Dart, tuple[Dart, ...]] = {}
    passage: dict[Dart, tuple[int, int]] = {}
    for dart, node in end.items():
        arriving = -heading[Dart(dart.piece, -dart.way)]
        leaving = [step for step in out[node] if step != Dart(dart.piece, -dart.way)]
        opposite = _straight_over(node, out, heading)
        if opposite:
            partner = opposite[Dart(dart.piece, -dart.way)]
            following[dart] = (partner,)
            both = sorted([partner, Dart(dart.piece, -dart.way)])
            passage[dart] = (node, out[node].index(both[0]) + 1)
            continue
        passage[dart] = (node, 0)
        following[dart] = tuple(
            step for step in leaving if _turn_deg(arriving, heading[step]) <= SHARPEST_TURN_DEG
        )
    return _Turns(following, passage)


def _straight_over(
    node: int, out: Mapping[int, Sequence[Dart]], heading: Mapping[Dart, Floats]
) -> dict[Dart, Dart]:
    """Pair the darts that leave a crossing of two lines: each with the one straight over."""
    darts = out[node]
    if len(darts) != 4:
        return {}
    opposite: dict[Dart, Dart] = {}
    for dart in darts:
        others = [step for step in darts if step != dart]
        turn = [_turn_deg(-heading[dart], heading[step]) for step in others]
        best = int(np.argmin(turn))
        if turn[best] > _STRAIGHT_OVER_DEG:
            return {}
        opposite[dart] = others[best]
        across = [t for step, t in zip(others, turn, strict=True) if step != others[best]]
        if min(across) < _CROSSING_DEG:
            return {}
    paired = all(opposite[other] == dart for dart, other in opposite.items())
    return opposite if paired else {}


def _leaving(line: Floats) -> Floats:
    """Direction in which a line leaves its first position, over some metres."""
    away = np.hypot(*(line - line[0]).T)
    far = int(np.argmax(away >= _HEADING_OVER_M)) if away.max() >= _HEADING_OVER_M else -1
    if far == -1:
        far = int(np.argmax(away))
    step = line[far] - line[0]
    return np.asarray(step / np.hypot(*step))


def _turn_deg(before: Floats, after: Floats) -> float:
    return math.degrees(math.acos(float(np.clip(before @ after, -1.0, 1.0))))
