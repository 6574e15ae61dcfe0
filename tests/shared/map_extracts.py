"""Invented extracts of open map data, written by osmium: circuits in open sea and desert.

The format is OpenStreetMap's; every circuit, name and number here is made up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from trackkit.geometry.geodesy import LocalPlane

HERE = (162.0, 47.0)
"""Gannet Reach: see places.py."""
RACEWAY = {"highway": "raceway"}


@dataclass
class MapMaker:
    """What an extract shall hold; positions in metres around `origin`."""

    origin: tuple[float, float] = HERE
    nodes: dict[int, tuple[float, float]] = field(default_factory=dict)
    ways: dict[int, tuple[int, list[int], dict[str, str]]] = field(default_factory=dict)
    relations: dict[int, tuple[int, list[tuple[str, int, str]], dict[str, str]]] = field(
        default_factory=dict
    )
    deleted: list[tuple[str, int, int]] = field(default_factory=list)
    missing: set[int] = field(default_factory=set)
    next_id: int = 1000

    def place(self, east_m: float, north_m: float) -> int:
        """Add a node."""
        plane = LocalPlane(*self.origin)
        longitude, latitude = plane.to_geographic(np.array([east_m, north_m]))
        wrapped = (float(longitude) + 180.0) % 360.0 - 180.0
        self.next_id += 1
        self.nodes[self.next_id] = (wrapped, float(latitude))
        return self.next_id

    def places(self, line_m: Iterable[Sequence[float]]) -> list[int]:
        """Add nodes along a line."""
        return [self.place(*position) for position in line_m]

    def way(self, nodes: Sequence[int], tags: Mapping[str, str] = RACEWAY, version: int = 1) -> int:
        """Add a way."""
        self.next_id += 1
        self.ways[self.next_id] = (version, list(nodes), dict(tags))
        return self.next_id

    def relation(
        self, members: Sequence[tuple[int, str]], tags: Mapping[str, str], version: int = 1
    ) -> int:
        """Add a relation of ways."""
        self.next_id += 1
        listed = [("w", ref, role) for ref, role in members]
        self.relations[self.next_id] = (version, listed, dict(tags))
        return self.next_id

    def write(self, path: str | Path) -> Path:
        """Write all of it by osmium, sorted as extracts are."""
        from osmium import SimpleWriter
        from osmium.osm.mutable import Node, Relation, Way

        path = Path(path)
        path.unlink(missing_ok=True)
        writer = SimpleWriter(str(path))
        gone = {(kind, ref): version for kind, ref, version in self.deleted}
        for ref, place in sorted(self.nodes.items()):
            if ref in self.missing:
                continue
            writer.add_node(Node(id=ref, version=1, visible=True, location=place))
            if ("n", ref) in gone:
                writer.add_node(Node(id=ref, version=gone["n", ref], visible=False))
        for ref, (version, nodes, tags) in sorted(self.ways.items()):
            writer.add_way(Way(id=ref, version=version, visible=True, nodes=nodes, tags=tags))
            if ("w", ref) in gone:
                writer.add_way(Way(id=ref, version=gone["w", ref], visible=False, nodes=[]))
        for ref, (version, members, tags) in sorted(self.relations.items()):
            writer.add_relation(
                Relation(id=ref, version=version, visible=True, members=members, tags=tags)
            )
            if ("r", ref) in gone:
                writer.add_relation(
                    Relation(id=ref, version=gone["r", ref], visible=False, members=[])
                )
        writer.close()
        return path


def ring(
    length_m: float = 1000.0, east_m: float = 0.0, north_m: float = 0.0, every_m: float = 12.0
) -> list[tuple[float, float]]:
    """A stadium, anticlockwise from the beginning of its southern straight, not closed."""
    radius = length_m / (2.0 * math.pi + 8.0)
    straight = 4.0 * radius
    line = []
    for along in np.arange(0.0, length_m, every_m).tolist():
        if along < straight:
            x, y = along - 0.5 * straight, -radius
        elif along < straight + math.pi * radius:
            turn = (along - straight) / radius - 0.5 * math.pi
            x, y = 0.5 * straight + radius * math.cos(turn), radius * math.sin(turn)
        elif along < 2.0 * straight + math.pi * radius:
            x, y = 0.5 * straight - (along - straight - math.pi * radius), radius
        else:
            turn = (along - 2.0 * straight - math.pi * radius) / radius + 0.5 * math.pi
            x, y = -0.5 * straight + radius * math.cos(turn), radius * math.sin(turn)
        line.append((east_m + x, north_m + y))
    return line


def eight(length_m: float = 1400.0, every_m: float = 12.0) -> list[tuple[float, float]]:
    """A figure of eight (Bernoulli's lemniscate), whose two passages cross at the origin."""
    turn = np.linspace(0.25 * math.pi, 2.25 * math.pi, 4000)
    scale = 1.0 / (1.0 + np.sin(turn) ** 2)
    line = np.column_stack([np.cos(turn) * scale, np.sin(turn) * np.cos(turn) * scale])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    line *= length_m / along[-1]
    along *= length_m / along[-1]
    at = np.arange(0.0, length_m - 0.5 * every_m, every_m)
    return np.column_stack([np.interp(at, along, axis) for axis in line.T]).tolist()
