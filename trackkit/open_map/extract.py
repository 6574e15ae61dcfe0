"""OpenStreetMap extracts, PBF or XML, read by streaming: only what is tagged as a circuit."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from trackkit.arrays import Indices
from trackkit.budgets import require
from trackkit.errors import RecordingError, reading_failed
from trackkit.open_map.tags import WANTED, is_circuit_relation, why_not_a_circuit
from trackkit.progress import tell
from trackkit.words import single_sentence

_CHUNK_BITS = 25
_MOST_CHUNKS = 96
"""osmium keeps a set of ids in chunks of 4 MiB, a bit an id: ids that lie far apart are looked for
in several rounds, which keeps a set below 400 MiB."""


class Member(NamedTuple):
    """A member of a relation: "n", "w" or "r", its id and its role."""

    kind: str
    ref: int
    role: str


@dataclass(frozen=True)
class MapWay:
    """A way: its version, tags and the ids of its nodes in order."""

    id: int
    version: int
    tags: Mapping[str, str]
    nodes: tuple[int, ...]


@dataclass(frozen=True)
class MapRelation:
    """A relation: its version, tags and members in order."""

    id: int
    version: int
    tags: Mapping[str, str]
    members: tuple[Member, ...]


@dataclass(frozen=True, eq=False)
class Extract:
    """What an extract has of circuits.

    Parameters
    ----------
    ways
        By id: those tagged as circuits, and members of `relations`.
    relations
        By id: those that list the ways of a circuit.
    places
        Longitude and latitude, degrees, of the nodes of `ways` by id, where they are there.
    left_out
        How many ways are tagged alike and no circuits, by the reason.
    """

    ways: Mapping[int, MapWay]
    relations: Mapping[int, MapRelation]
    places: Mapping[int, tuple[float, float]]
    left_out: Mapping[str, int]


def read_extract(path: str | os.PathLike[str]) -> Extract:
    """Read the circuits of an OpenStreetMap extract.

    The file is read several times, so that only what belongs to circuits is ever in memory: first
    ways and relations by their tags, then those and the members of relations by their ids, of
    several versions the newest, then their nodes.  What was deleted is left out.

    Parameters
    ----------
    path
        The extract: PBF or XML, the latter also packed with gzip or bzip2.

    Returns
    -------
    Extract
        The circuits.

    Raises
    ------
    RecordingError
        When the file cannot be read, or osmium is not installed.
    """
    osmium = _osmium(path)
    if not Path(path).is_file():
        raise RecordingError(_why_no_file(path), file=path)
    osm = osmium.osm
    try:
        tagged: set[int] = set()
        listed: dict[int, MapRelation] = {}
        left_out: dict[str, int] = {}
        wanted = osmium.filter.TagFilter(*WANTED)
        tell("reading ways and relations", 0, 3)
        for thing in _things(osmium, path, osm.WAY | osm.RELATION, wanted):
            if thing.is_way():
                tagged.add(thing.id)
            elif is_circuit_relation(dict(thing.tags)):
                _keep_newest(listed, _relation(thing))
        members = {
            member.ref
            for relation in listed.values()
            for member in relation.members
            if member.kind == "w"
        }
        tell("reading ways and relations", 1, 3)
        ways, relations = _by_id(osmium, path, tagged | members, listed)
        circuits: dict[int, MapWay] = {}
        for way in ways.values():
            reason = why_not_a_circuit(way.tags)
            if reason is None or way.id in members:
                circuits[way.id] = way
            elif way.id in tagged and "not tagged" not in reason:
                left_out[reason] = left_out.get(reason, 0) + 1
        tell("reading ways and relations", 2, 3)
        places = _places(osmium, path, {ref for way in circuits.values() for ref in way.nodes})
        tell("reading ways and relations", 3, 3)
    except RuntimeError as error:
        raise RecordingError(
            f"cannot be read as OpenStreetMap data ({single_sentence('', str(error))})",
            file=path,
            remedy="name a file whose name ends in .osm.pbf, .osm, .osm.gz or .osm.bz2, "
            "and fetch it anew if it is cut short",
        ) from error
    return Extract(circuits, relations, places, left_out)


def _why_no_file(path: str | os.PathLike[str]) -> str:
    try:
        with open(path, "rb"):  # noqa: PTH123
            return "is no file that can be read several times"
    except OSError as error:
        return reading_failed(path, error)


def _osmium(path: str | os.PathLike[str]) -> Any:
    from trackkit.recordings.devices import library

    # The package itself does not load its filters.
    library("osmium.filter", "OpenStreetMap data", path)
    return library("osmium", "OpenStreetMap data", path)


def _things(osmium: Any, path: str | os.PathLike[str], kinds: Any, *filters: Any) -> Iterator[Any]:
    # Given as text: old versions of osmium take no paths.
    processor = osmium.FileProcessor(os.fspath(path), kinds)
    for test in filters:
        processor = processor.with_filter(test)
    yield from processor


def _relation(thing: Any) -> MapRelation:
    members = tuple(Member(member.type, member.ref, member.role) for member in thing.members)
    return MapRelation(thing.id, thing.version, dict(thing.tags), members)


def _keep_newest(kept: dict[int, Any], thing: Any) -> None:
    if thing.id not in kept or thing.version >= kept[thing.id].version:
        kept[thing.id] = thing


def _by_id(
    osmium: Any, path: str | os.PathLike[str], way_ids: set[int], listed: Mapping[int, MapRelation]
) -> tuple[dict[int, MapWay], dict[int, MapRelation]]:
    """Read ways and relations by their ids: the newest version of each that is not deleted."""
    ways: dict[int, MapWay] = {}
    relations: dict[int, MapRelation] = {}
    gone: dict[tuple[bool, int], int] = {}
    osm = osmium.osm
    for ids, kind in ((way_ids, osm.WAY), (set(listed), osm.RELATION)):
        for some in _rounds(ids):
            only = osmium.filter.IdFilter(some.tolist())
            for thing in _things(osmium, path, kind, only):
                key = (thing.is_way(), thing.id)
                if not thing.visible:
                    gone[key] = max(gone.get(key, 0), thing.version)
                elif thing.is_way():
                    nodes = tuple(node.ref for node in thing.nodes)
                    require("vertices", len(nodes), RecordingError, "has a way of", file=path)
                    _keep_newest(ways, MapWay(thing.id, thing.version, dict(thing.tags), nodes))
                else:
                    _keep_newest(relations, _relation(thing))
            del only
    for (is_way, ref), version in gone.items():
        kept: dict[int, Any] = ways if is_way else relations
        if ref in kept and kept[ref].version < version:
            del kept[ref]
    still = {ref: some for ref, some in relations.items() if is_circuit_relation(some.tags)}
    return ways, still


def _places(
    osmium: Any, path: str | os.PathLike[str], ids: set[int]
) -> dict[int, tuple[float, float]]:
    """Read where nodes are, without those that are deleted."""
    places: dict[int, tuple[float, float]] = {}
    versions: dict[int, int] = {}
    for some in _rounds(ids):
        only = osmium.filter.IdFilter(some.tolist())
        for node in _things(osmium, path, osmium.osm.NODE, only):
            if node.version < versions.get(node.id, 0):
                continue
            versions[node.id] = node.version
            place = node.location
            if node.visible and place.valid():
                places[node.id] = (place.lon, place.lat)
            else:
                places.pop(node.id, None)
        del only
    return places


def _rounds(ids: Iterable[int]) -> Iterator[Indices]:
    """Part ids so that each part lies in few of osmium's chunks; ids below 1 are an editor's."""
    rising = np.array(sorted(ref for ref in ids if ref > 0), dtype=np.int64)
    if not len(rising):
        return
    chunk = np.concatenate([[0], np.cumsum(np.diff(rising >> _CHUNK_BITS) != 0)])
    for part in range(0, int(chunk[-1]) + 1, _MOST_CHUNKS):
        yield rising[(chunk >= part) & (chunk < part + _MOST_CHUNKS)]
