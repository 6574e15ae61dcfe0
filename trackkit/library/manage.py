"""Adding track files to a library and removing them, and what known lines a new one runs on."""

from __future__ import annotations

import os
import reprlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import OutputError, TrackFileError, TrackkitError
from trackkit.files import write_whole
from trackkit.geometry.geodesy import LocalPlane
from trackkit.library.folders import (
    Library,
    named_folders,
    open_library,
    shipped_folder,
    user_folder,
)
from trackkit.library.index import open_index
from trackkit.library.known import Known, circuit_of
from trackkit.remedies import Remedy
from trackkit.track.file import read_track
from trackkit.track.ids import file_stem
from trackkit.track.model import Track
from trackkit.words import counted

LOCK_NAME = ".trackkit-library.lock"
SAME_WITHIN_M = 10.0
"""Two lines run on the same tarmac where they are this close: a track's width, and what lines from
a lap each differ by."""
SAME_LINE_SHARE = 0.9
"""Lines that share this much of both their lengths are the same line."""
SHARED_FROM = 0.2
"""A line that shares less than this of its length with another only crosses it."""
_STEP_M = 5.0
_PATIENCE_S = 60.0


@dataclass(frozen=True)
class Overlap:
    """A known track that a line runs on.

    Parameters
    ----------
    share, share_back
        How much of the line is within `SAME_WITHIN_M` of the known one, and the other way round.
    opposite
        Whether the two run in opposite directions there.
    """

    circuit: Known
    share: float
    share_back: float
    opposite: bool

    @property
    def same_line(self) -> bool:
        """Whether locating can never tell the two apart."""
        return min(self.share, self.share_back) >= SAME_LINE_SHARE and not self.opposite

    def as_row(self) -> dict[str, Any]:
        """Return the overlap as JSON."""
        return {
            "id": self.circuit.id,
            "name": self.circuit.name,
            "layout": self.circuit.layout,
            "share": round(self.share, 3),
            "share_back": round(self.share_back, 3),
            "opposite": self.opposite,
            "same_line": self.same_line,
        }


@dataclass(frozen=True)
class Added:
    """What adding a track file did.

    Parameters
    ----------
    track
        What was added.
    path
        Where the file now stands.
    replaced
        File that held the id before, or None.  In the same folder it is kept with ``~`` appended;
        in another it stays, and no longer counts.
    overlaps
        Known tracks that share much of the line, most first.

    Examples
    --------
    >>> import trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> box = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> _ = trackkit.write_track(box, "box.geojson", force=True)
    >>> added = trackkit.add_to_library("box.geojson", "club", replace=True)
    >>> added.path.name, added.overlaps
    ('box.geojson', ())
    """

    track: Track
    path: Path
    replaced: Path | None
    overlaps: tuple[Overlap, ...]

    def __repr__(self) -> str:
        where = reprlib.repr(str(self.path))
        over = counted(self.overlaps, "overlap")
        return f"Added({reprlib.repr(self.track.id)}, {where}, {over})"

    def as_row(self) -> dict[str, Any]:
        """Return as JSON what was added.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "id": self.track.id,
            "file": str(self.path),
            "replaced": None if self.replaced is None else str(self.replaced),
            "overlaps": [overlap.as_row() for overlap in self.overlaps],
        }


def add_to_library(
    path: str | os.PathLike[str],
    folder: str | os.PathLike[str] | None = None,
    *,
    library: Library | None = None,
    replace: bool = False,
) -> Added:
    """Add a track file to a folder, as it is, byte for byte.

    The file is named after its id, with an underscore where Windows keeps that name for a device.

    Parameters
    ----------
    path
        The file; it is held against the schema.
    folder
        Where to; made if it is not there.  None for the first that TRACKKIT_LIBRARY names, else
        the user's own.
    library
        Where ids and lines are looked up, beside the folder itself; None for that of
        `open_library`.
    replace
        Whether a track with the same id may be replaced.

    Returns
    -------
    Added
        What was added, what it replaced, and which known lines it runs on.

    Raises
    ------
    TrackkitError
        When TRACKKIT_LIBRARY names a folder that is none, or the library cannot be opened.
    TrackFileError
        When the file is no valid track file, or its id is taken.
    OutputError
        When the folder cannot be written.

    Examples
    --------
    >>> import trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> box = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> _ = trackkit.write_track(box, "box.geojson", force=True)
    >>> added = trackkit.add_to_library("box.geojson", "club", replace=True)
    >>> trackkit.open_library(["club"]).find(box.id).name
    'Box'
    """
    folder = Path(folder) if folder is not None else (named_folders() or [user_folder()])[0]
    if library is None:
        library = open_library()
    track = read_track(path)
    content = Path(path).read_bytes()
    with locked(folder):
        here = Library((open_index(folder),))
        held = here.find(track.id)
        namesake = held or library.find(track.id)
        if namesake is not None and not replace:
            raise TrackFileError(
                f"the id {track.id} is taken by {namesake.title} in {namesake.path}",
                file=path,
                remedy=Remedy(
                    "give it another id, or have this one count instead", do="replace track"
                ),
            )
        target = held.path if held else folder / f"{file_stem(track.id)}.geojson"
        if held is None and os.path.lexists(target):
            raise TrackFileError(
                f"cannot be added as {target}, which holds something else",
                file=path,
                remedy="rename or remove that file",
            )
        new = circuit_of(track, target)
        around = [
            circuit
            for circuit in around_line(Library((*here.folders, *library.folders)), new)
            if circuit.id != new.id
        ]
        write_whole(target, content, force=held is not None, keep_previous=True)
    return Added(track, target, namesake.path if namesake else None, tuple(overlaps(new, around)))


def remove_from_library(circuit: Known | str, *, library: Library | None = None) -> Path:
    """Take a track out of its folder; the file is kept with ``~`` appended.

    Parameters
    ----------
    circuit
        The track, or its id.
    library
        Where an id is looked up; None for that of `open_library`.

    Returns
    -------
    Path
        Where the file now stands.

    Raises
    ------
    TrackkitError
        When no track has the id, or it came with trackkit.
    OutputError
        When the folder cannot be written.

    Examples
    --------
    >>> import trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> box = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> _ = trackkit.write_track(box, "box.geojson", force=True)
    >>> added = trackkit.add_to_library("box.geojson", "club", replace=True)
    >>> library = trackkit.open_library(["club"])
    >>> trackkit.remove_from_library(box.id, library=library).name
    'box.geojson~'
    >>> trackkit.open_library(["club"]).find(box.id) is None
    True
    """
    if isinstance(circuit, str):
        indexed = (open_library() if library is None else library).find(circuit)
        if indexed is None:
            raise TrackkitError(f"no known track has the id {circuit}", remedy="list the library")
        circuit = indexed
    folder = circuit.path.parent
    if folder.resolve() == shipped_folder().resolve():
        raise TrackkitError(
            f"{circuit.id} is a sample circuit that comes with trackkit",
            file=circuit.path,
            remedy="only what was added can be removed",
        )
    kept = circuit.path.with_name(circuit.path.name + "~")
    with locked(folder):
        circuit.path.replace(kept)
    return kept


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold a folder against other processes that add or remove."""
    from filelock import FileLock, Timeout

    try:
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(folder / LOCK_NAME, timeout=_PATIENCE_S):
            yield
    except Timeout as error:
        raise OutputError(
            "is held by another trackkit that adds or removes",
            file=folder,
            remedy=f"try again; if no other is running, delete {LOCK_NAME} there",
        ) from error
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", file=folder) from error


def around_line(library: Library, circuit: Known) -> list[Known]:
    """List the known tracks that come near to a line."""
    plane = LocalPlane.around(circuit.longitude_deg, circuit.latitude_deg)
    place = plane.to_plane(circuit.longitude_deg, circuit.latitude_deg)
    reach = float(np.hypot(place[:, 0], place[:, 1]).max()) + SAME_WITHIN_M
    return library.near(plane.longitude_deg, plane.latitude_deg, reach)


def overlaps(new: Known, around: Sequence[Known]) -> list[Overlap]:
    """Find the known lines that a line runs on for at least a fifth of either's length.

    Both are sampled every 5 m and each sample is measured to the other's samples, in one plane.

    Returns
    -------
    list of Overlap
        Most shared first.
    """
    plane = LocalPlane.around(new.longitude_deg, new.latitude_deg)
    place, heading = _sampled(plane, new)
    overlapping = []
    for other in around:
        place_back, heading_back = _sampled(plane, other)
        near, nearest = _nearest(place, place_back)
        near_back, _ = _nearest(place_back, place)
        shared = np.flatnonzero(near)
        share, share_back = float(near.mean()), float(near_back.mean())
        if max(share, share_back) >= SHARED_FROM and len(shared):
            along = np.einsum("ij,ij->i", heading[shared], heading_back[nearest[shared]])
            overlapping.append(Overlap(other, share, share_back, bool(np.median(along) < 0)))
    return sorted(
        overlapping,
        key=lambda overlap: (-min(overlap.share, overlap.share_back), overlap.circuit.id),
    )


def _sampled(plane: LocalPlane, circuit: Known) -> tuple[Floats, Floats]:
    """Positions and directions every 5 m along a line, shape (n, 2) each."""
    vertex = plane.to_plane(circuit.longitude_deg, circuit.latitude_deg)
    step = np.diff(vertex, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    vertex, step, length = vertex[:-1][length > 0], step[length > 0], length[length > 0]
    end = np.cumsum(length)
    along = np.arange(0.0, end[-1], _STEP_M)
    on = np.searchsorted(end, along, side="right")
    heading = step / length[:, None]
    return vertex[on] + (along - end[on] + length[on])[:, None] * heading[on], heading[on]


def _nearest(place: Floats, others: Floats) -> tuple[np.ndarray, np.ndarray]:
    """Tell which places are near one of others, and which of these is nearest."""
    which = np.zeros(len(place), dtype=np.intp)
    least = np.full(len(place), np.inf)
    for begin in range(0, len(place), 512):
        part = slice(begin, begin + 512)
        away = np.hypot(
            place[part, None, 0] - others[None, :, 0], place[part, None, 1] - others[None, :, 1]
        )
        which[part] = np.argmin(away, axis=1)
        least[part] = away.min(axis=1)
    return least <= np.hypot(SAME_WITHIN_M, 0.5 * _STEP_M), which
