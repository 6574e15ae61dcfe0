"""Circuits of open map data put into a library, and brought up to date by a newer extract."""

from __future__ import annotations

import json
import os
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal

from trackkit.cores import spawned
from trackkit.errors import TrackkitError
from trackkit.library.folders import Library, named_folders, open_library, user_folder
from trackkit.library.index import open_index
from trackkit.library.known import Known
from trackkit.library.manage import around_line, locked, overlaps
from trackkit.open_map.circuits import MapLayout, layouts_of
from trackkit.open_map.extract import read_extract
from trackkit.open_map.tags import CREDIT, LICENCE
from trackkit.open_map.track import drawn_digest, id_of, track_of
from trackkit.open_map.update import updated
from trackkit.open_map.venues import venues_of
from trackkit.progress import tell
from trackkit.track.credit import MAP_SOURCE
from trackkit.track.file import read_track, write_track
from trackkit.track.history import source_entry

Done = Literal["added", "updated", "unchanged"]
_SAME_SHARE = 0.5
"""Of two lines that share this much of both, and run the same way, one is the other drawn anew."""

_WORTH_A_PROCESS = 20
"""Another process takes as long to begin as some tracks take to make."""


@dataclass(frozen=True)
class MapCircuit:
    """What came of one layout of an extract.

    Parameters
    ----------
    id, name, layout, direction, length_m
        As the track file has them.
    path
        The track file.
    done
        Whether it was added, updated, or is as it was.
    one_way
        Whether the map says which way it is driven; if not, both ways were made.
    remarks
        Clauses about what was assumed or kept.
    """

    id: str
    name: str
    layout: str
    direction: str | None
    length_m: float
    path: Path
    done: Done
    one_way: bool
    remarks: tuple[str, ...] = ()

    def as_row(self) -> dict[str, Any]:
        """Return it as JSON; its length to a millimetre."""
        return {
            "id": self.id,
            "name": self.name,
            "layout": self.layout,
            "direction": self.direction,
            "length_m": round(self.length_m, 3),
            "file": str(self.path),
            "done": self.done,
            "one_way": self.one_way,
            "remarks": list(self.remarks),
        }


@dataclass(frozen=True)
class MapImport:
    """What came of an extract of open map data.

    Parameters
    ----------
    folder
        The library's folder.
    circuits
        Each layout, in each direction it may be driven in.
    left_out
        How many ways made no circuit, by the reason.
    not_there
        Ids of circuits that this extract lacks, of an earlier import from a file of the same name,
        or from one of which it has at least half the circuits; they stay in the library.
    remarks
        Sentences about the extract.

    Examples
    --------
    >>> import pathlib
    >>> import trackkit
    >>> drawn = trackkit.MapImport(pathlib.Path("world"), (), {"a drag strip": 1}, (), ())
    >>> drawn
    MapImport(0 added, 0 updated, 0 unchanged)
    """

    folder: Path
    circuits: tuple[MapCircuit, ...]
    left_out: Mapping[str, int]
    not_there: tuple[str, ...]
    remarks: tuple[str, ...]

    def __repr__(self) -> str:
        return f"MapImport({self.summary})"

    @property
    def summary(self) -> str:
        """How many were added, updated and left as they were."""
        done = [circuit.done for circuit in self.circuits]
        return ", ".join(f"{done.count(what)} {what}" for what in ("added", "updated", "unchanged"))

    def as_row(self) -> dict[str, Any]:
        """Return what came of it as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "folder": str(self.folder),
            "licence": LICENCE,
            "credit": CREDIT,
            "circuits": [circuit.as_row() for circuit in self.circuits],
            "left_out": [
                {"reason": reason, "ways": ways} for reason, ways in sorted(self.left_out.items())
            ],
            "not_there": list(self.not_there),
            "remarks": list(self.remarks),
        }


@dataclass(frozen=True)
class _Held:
    """A track of an earlier import: its file, and what it was made from."""

    path: Path
    id: str
    source: Mapping[str, Any]

    @property
    def objects(self) -> set[tuple[str, int]]:
        """Ways and relation that it was made from."""
        refs = {("way", int(way[0])) for way in self.source.get("ways", ())}
        relation = self.source.get("relation")
        return refs | ({("relation", int(relation[0]))} if relation else set())


def import_open_map(
    path: str | os.PathLike[str],
    folder: str | os.PathLike[str] | None = None,
    *,
    library: Library | None = None,
    processes: int = 1,
) -> MapImport:
    """Import the circuits of an OpenStreetMap extract into a library.

    Ways tagged ``highway=raceway``, or ``leisure=track`` with a motor sport, and relations of
    circuits are joined; each closed loop in their graph becomes a layout.  One-way tags say which
    way it is driven; where there are none, both are made.  Its line is marked as drawn, its finish
    gate as a suggestion, and licence and credit of the data are written into the file.

    What an earlier import put into the folder is brought up to date: where the map has changed, the
    line follows; names, gates and facts that people gave stay, and so does a line that laps have
    revised since.

    Parameters
    ----------
    path
        The extract, PBF or XML.
    folder
        Where to; made if it is not there.  None for the first that TRACKKIT_LIBRARY names, else
        the user's own.
    library
        Where ids are looked up besides; None for that of `open_library`.
    processes
        How many make tracks at once; with more than one, a script's own work must stand under
        ``if __name__ == "__main__":``.

    Returns
    -------
    MapImport
        What was added, updated and left as it was.

    Raises
    ------
    RecordingError
        When the extract cannot be read, or osmium is not installed.
    OutputError
        When the folder cannot be written.
    TrackkitError
        When a folder of the library cannot be listed, or TRACKKIT_LIBRARY names one that is none.

    Examples
    --------
    >>> import pathlib
    >>> import trackkit
    >>> nodes = [(24.0, 5.0), (24.0, 5.004), (24.003, 5.004), (24.003, 5.0)]
    >>> text = "".join(
    ...     f'<node id="{n}" version="1" lat="{lat}" lon="{lon}"/>'
    ...     for n, (lat, lon) in enumerate(nodes, start=1)
    ... )
    >>> text += '<way id="7" version="1">' + "".join(f'<nd ref="{n}"/>' for n in (1, 2, 3, 4, 1))
    >>> text += '<tag k="highway" v="raceway"/><tag k="name" v="Square"/></way>'
    >>> _ = pathlib.Path("square.osm").write_text(f'<osm version="0.6">{text}</osm>')
    >>> done = trackkit.import_open_map("square.osm", "world")
    >>> [circuit.id for circuit in done.circuits]
    ['square-anticlockwise', 'square-clockwise']
    """
    extract = read_extract(path)
    target = Path(folder) if folder is not None else (named_folders() or [user_folder()])[0]
    if library is None:
        library = open_library()
    layouts: list[MapLayout] = []
    remarks: list[str] = []
    venues = venues_of(extract)
    for number, venue in enumerate(venues):
        tell("joining ways", number, len(venues))
        some, more = layouts_of(venue, extract.places)
        layouts += some
        remarks += more
    tell("joining ways", len(venues), len(venues))
    file = source_entry(path)
    with locked(target):
        held = _held_in(target)
        known = Library((open_index(target),)), library
        pairs = _paired(layouts, held, known[0])
        taken = {entry.id for entry in held}
        jobs = []
        for number, layout in enumerate(layouts):
            before = pairs.get(number)
            id_ = before.id if before else _free_id(layout, taken, target, known)
            taken.add(id_)
            jobs.append(_Job(layout, before, id_))
        circuits = []
        for number, outcome in enumerate(_each(partial(_put, file, target), jobs, processes)):
            tell("making tracks", number, len(jobs))
            if isinstance(outcome, MapCircuit):
                circuits.append(outcome)
            else:
                remarks.append(outcome)
        tell("making tracks", len(jobs), len(jobs))
    there = {entry.id for entry in pairs.values()}
    before_this = _older_extracts(held, there) | {file["file"]}
    gone = [e.id for e in held if e.id not in there and e.source.get("file") in before_this]
    return MapImport(
        target, tuple(circuits), dict(extract.left_out), tuple(sorted(gone)), tuple(remarks)
    )


def _older_extracts(held: Sequence[_Held], there: Collection[str]) -> set[str | None]:
    """Name the files of which this extract has at least half the circuits: those before it.

    Extracts mostly have their day in their names; one of a neighbouring region shares few.
    """
    files = Counter(entry.source.get("file") for entry in held)
    again = Counter(entry.source.get("file") for entry in held if entry.id in there)
    return {file for file, circuits in files.items() if 2 * again[file] >= circuits}


@dataclass(frozen=True)
class _Job:
    """A layout, the track of an earlier import that it is, and the id that it has or gets."""

    layout: MapLayout
    before: _Held | None
    id: str


def _each(
    work: Callable[[_Job], MapCircuit | str], jobs: Sequence[_Job], processes: int
) -> Iterator[MapCircuit | str]:
    """Do some jobs in order, in other processes where there are enough of them."""
    processes = min(processes, len(jobs) // _WORTH_A_PROCESS)
    if processes < 2:
        yield from map(work, jobs)
        return
    with spawned(processes) as pool:
        yield from pool.map(work, jobs, chunksize=4)


def _put(file: Mapping[str, Any], folder: Path, job: _Job) -> MapCircuit | str:
    """Write one layout into the folder, unless what is there is the same; say why if it can't."""
    layout, before = job.layout, job.before
    done: Done = "added"
    remarks: tuple[str, ...] = ()
    try:
        if before is None:
            track, remarks = track_of(layout, file, id_=job.id)
        else:
            track, done = read_track(before.path), "unchanged"
            if before.source.get("drawn") != drawn_digest(layout):
                track, remarks = updated(track, layout, file)
                done = "updated"
        target = folder / f"{job.id}.geojson" if before is None else before.path
        if done != "unchanged":
            track = write_track(track, target, force=before is not None)
    except TrackkitError as error:
        return f"way {layout.ways[0][0]} makes no track: {error.what}"
    return MapCircuit(
        track.id,
        track.name,
        track.layout,
        track.direction,
        track.length_m,
        target,
        done,
        layout.driven == "one way",
        remarks,
    )


def _free_id(
    layout: MapLayout, taken: set[str], folder: Path, known: tuple[Library, Library]
) -> str:
    """Make an id that no other track has; the way's own number tells namesakes apart."""
    plain = id_of(layout)
    for id_ in (plain, f"{plain[:70].strip('-')}-{layout.ways[0][0]}"):
        other = known[0].find(id_) or known[1].find(id_)
        if id_ not in taken and other is None and not (folder / f"{id_}.geojson").exists():
            return id_
    number = 2
    while f"{id_}-{number}" in taken or (folder / f"{id_}-{number}.geojson").exists():
        number += 1
    return f"{id_}-{number}"


def _held_in(folder: Path) -> list[_Held]:
    """List what earlier imports put into a folder; files that cannot be read are left alone."""
    held = []
    for path in sorted(folder.glob("*.geojson")):
        try:
            described = json.loads(path.read_bytes())["track"]
            sources = described["sources"]
        except (OSError, ValueError, KeyError, TypeError):
            # The library says what is wrong with it whenever it is opened.
            continue
        for source in sources if isinstance(sources, list) else ():
            if isinstance(source, dict) and source.get("kind") == MAP_SOURCE:
                held.append(_Held(path, str(described.get("id")), source))
                break
    return held


def _paired(layouts: Sequence[MapLayout], held: Sequence[_Held], here: Library) -> dict[int, _Held]:
    """Tell which layout is which of an earlier import: the same drawing, or the most alike."""
    pairs: dict[int, _Held] = {}
    by_digest = {entry.source.get("drawn"): entry for entry in held}
    by_object: dict[tuple[str, int], list[_Held]] = defaultdict(list)
    by_id = {entry.id: entry for entry in held}
    for entry in held:
        for thing in entry.objects:
            by_object[thing].append(entry)
    used: set[str] = set()
    for number, layout in enumerate(layouts):
        same = by_digest.get(drawn_digest(layout))
        if same is not None and same.id not in used:
            pairs[number] = same
            used.add(same.id)
    ranked: list[tuple[float, int, str]] = []
    for number, layout in enumerate(layouts):
        if number in pairs or not held:
            continue
        line, objects = _known(layout), _objects(layout)
        alike = {entry.id: 0.0 for thing in objects for entry in by_object[thing]}
        near = [known for known in around_line(here, line) if known.id in by_id]
        for overlap in overlaps(line, near):
            share = min(overlap.share, overlap.share_back)
            alike[overlap.circuit.id] = -1.0 if overlap.opposite else share
        for id_, share in alike.items():
            entry = by_id[id_]
            common = len(objects & entry.objects) / len(objects | entry.objects)
            # A map that was drawn anew elsewhere has the same ways.
            same_way = common >= _SAME_SHARE and entry.source.get("driven") == layout.direction
            if share >= _SAME_SHARE or (share >= 0.0 and same_way):
                ranked.append((share + common, number, id_))
    for _, number, id_ in sorted(ranked, key=lambda row: (-row[0], row[1], row[2])):
        if number not in pairs and id_ not in used:
            pairs[number] = by_id[id_]
            used.add(id_)
    return pairs


def _objects(layout: MapLayout) -> set[tuple[str, int]]:
    objects = {("way", ref) for ref, _ in layout.ways}
    return objects | ({("relation", layout.relation[0])} if layout.relation else set())


def _known(layout: MapLayout) -> Known:
    return Known(
        id="",
        name=layout.name,
        layout=layout.layout,
        direction=None,
        country=None,
        closed=True,
        length_m=layout.length_m,
        band_m=0.0,
        path=Path(),
        longitude_deg=layout.longitude_deg,
        latitude_deg=layout.latitude_deg,
    )
