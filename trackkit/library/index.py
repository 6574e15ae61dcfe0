"""The index of a library folder: a GeoPackage beside the track files, made again by itself.

It is a cache and safe to delete.  The container is OGC GeoPackage 1.3 (OGC 12-128r17), which any
GIS opens: an SQLite file whose table ``tracks`` has a centreline a row.  Boxes around the
centrelines, in Earth-centred metres so that neither poles nor antimeridian are special, stand in
SQLite's R*Tree (Beckmann et al. 1990; https://www.sqlite.org/rtree.html).

A file counts as unchanged while its size and modification time are.  Where they differ, or where
the file is so young that it could have changed again within one tick of its clock, its SHA-256
decides whether it is read again.  SQLite's transactions make an update whole or none and let
processes take turns.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import time
import weakref
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import TrackkitError, reading_failed
from trackkit.library.index_tables import (
    COLUMNS,
    circuit_from_row,
    forget_files,
    listing_digest,
    make_tables,
    store_file,
)
from trackkit.library.known import Known

INDEX_NAME = ".trackkit-index.gpkg"
_PATIENCE_S = 120.0
_CLOCK_TICK_NS = 2_000_000_000
"""The coarsest modification time in use, that of FAT: two seconds."""

Say = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class FolderIndex:
    """One folder of track files and its index, brought up to date when it was opened.

    Parameters
    ----------
    folder
        The folder.
    path
        Where the index stands, or None for one in memory.
    warnings
        One sentence for each file that was left out.
    """

    folder: Path
    path: Path | None
    warnings: tuple[str, ...]
    connection: sqlite3.Connection

    def __post_init__(self) -> None:
        # From Python 3.13 on a connection that is dropped unclosed is warned of.
        weakref.finalize(self, self.connection.close)

    def __len__(self) -> int:
        (count,) = self.connection.execute(
            f"SELECT count(*) FROM tracks t WHERE {_FIRST}"  # noqa: S608
        ).fetchone()
        return int(count)


_FIRST = "NOT EXISTS (SELECT 1 FROM tracks o WHERE o.id = t.id AND o.file < t.file)"
"""Of two files of a folder with one id the first counts."""


def open_index(folder: Path, *, beside: bool = True, say: Say | None = None) -> FolderIndex:
    """Open a folder's index, and first bring it up to date.

    It stands in the folder; where that cannot be written, in the user's cache folder; where that
    cannot be written either, in memory.

    Parameters
    ----------
    folder
        A folder of track files (``*.geojson``).
    beside
        Whether the index may stand in the folder.
    say
        Told when many files have to be read.

    Raises
    ------
    TrackkitError
        When the folder cannot be listed, or this Python's SQLite has no R*Tree.
    """
    places = [folder / INDEX_NAME] if beside else []
    with suppress(OSError):
        places.append(_cache_path(folder))
    for place in places:
        for _ in range(2):
            try:
                return _opened(folder, place, say)
            except (sqlite3.OperationalError, OSError):
                # Cannot be written here, or another process holds it too long: try elsewhere.
                break
            except sqlite3.DatabaseError:
                # Damaged: as it is only a cache, it is deleted and made again, once.
                with suppress(OSError):
                    place.unlink(missing_ok=True)
    try:
        return _opened(folder, None, say)
    except sqlite3.Error as error:
        raise TrackkitError(
            f"cannot be indexed ({error})",
            file=folder,
            remedy="use a Python whose SQLite has the R*Tree module",
        ) from error


def _cache_path(folder: Path) -> Path:
    from platformdirs import user_cache_path

    parent = user_cache_path("trackkit", appauthor=False)
    parent.mkdir(parents=True, exist_ok=True)
    named = hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:16]
    return parent / f"library-{named}.gpkg"


def _opened(folder: Path, place: Path | None, say: Say | None) -> FolderIndex:
    there, warnings = _files(folder)
    if place is not None and place.exists():
        # What a process left half done when it died SQLite rolls back, which needs writing.
        with suppress(sqlite3.OperationalError), _closed_on_error(_connect(place, "ro")) as index:
            if listing_digest(index) == _digest(there):
                return FolderIndex(folder, place, (*warnings, *_faults(index, folder)), index)
            index.close()
    with _closed_on_error(_connect(place, "rwc")) as index:
        _update(index, folder, say)
        return FolderIndex(folder, place, (*warnings, *_faults(index, folder)), index)


@contextmanager
def _closed_on_error(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    try:
        yield connection
    except BaseException:
        connection.close()
        raise


def _connect(place: Path | None, mode: str) -> sqlite3.Connection:
    name = ":memory:" if place is None else f"{place.resolve().as_uri()}?mode={mode}"
    return sqlite3.connect(
        name,
        uri=place is not None,
        timeout=_PATIENCE_S,
        isolation_level=None,
        check_same_thread=False,
    )


def _files(folder: Path) -> tuple[dict[str, tuple[int, int]], list[str]]:
    """List the track files of a folder with size and modification time, and what cannot be."""
    listing: dict[str, tuple[int, int]] = {}
    warnings = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if not entry.name.endswith(".geojson") or entry.name.startswith("."):
                    continue
                try:
                    if not entry.name.isascii():
                        entry.name.encode()
                    status = entry.stat()
                except UnicodeEncodeError:
                    shown = os.fsencode(entry.path).decode("utf-8", "backslashreplace")
                    warnings.append(f"{shown}: the file's name is not UTF-8; rename it (left out)")
                except OSError as error:
                    warnings.append(f"{entry.path}: {reading_failed(entry.path, error)} (left out)")
                else:
                    listing[entry.name] = (status.st_size, status.st_mtime_ns)
    except OSError as error:
        raise TrackkitError(
            f"cannot be listed ({error.strerror})",
            file=folder,
            remedy="name another folder as the library",
        ) from error
    return listing, sorted(warnings)


def _is_current(connection: sqlite3.Connection) -> bool:
    return listing_digest(connection) is not None


def _digest(there: dict[str, tuple[int, int]]) -> str:
    """Digest a listing, by which one that has not changed is recognised at once."""
    return hashlib.sha256(repr(sorted(there.items())).encode()).hexdigest()


def _differences(
    connection: sqlite3.Connection, there: dict[str, tuple[int, int]]
) -> tuple[list[str], list[str]]:
    """Name the files to look into and those that have gone."""
    looked_into = {}
    gone = []
    for file, size, modified, read in connection.execute(
        "SELECT file, size, modified_ns, read_ns FROM files"
    ):
        if file not in there:
            gone.append(file)
        elif there[file] == (size, modified) and not 0 <= read - modified < _CLOCK_TICK_NS:
            looked_into[file] = True
    return sorted(there.keys() - looked_into.keys()), gone


def _faults(connection: sqlite3.Connection, folder: Path) -> list[str]:
    rows = connection.execute("SELECT fault FROM files WHERE fault IS NOT NULL ORDER BY file")
    return [f"{folder}{os.sep}{fault}" for (fault,) in rows]


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _update(connection: sqlite3.Connection, folder: Path, say: Say | None) -> None:
    """Bring an index up to date, in one transaction; another process may have done it meanwhile."""
    with _transaction(connection):
        if not _is_current(connection):
            make_tables(connection)
        there, _ = _files(folder)
        read, gone = _differences(connection, there)
        forget_files(connection, gone)
        if say is not None and len(read) > 500:
            say(f"reading {len(read):,} track files of {folder} for the index")
        now = time.time_ns()
        for file in read:
            store_file(connection, folder, file, (*there[file], now))
        # What is too young to be sure of is looked into again next time.
        sure = not any(0 <= now - modified < _CLOCK_TICK_NS for _, modified in there.values())
        connection.execute(
            "UPDATE gpkg_contents SET description = ? WHERE table_name = 'files'",
            (_digest(there) if sure else "",),
        )


def tracks_of(index: FolderIndex, fids: Iterable[int] | None = None) -> list[Known]:
    """Fetch tracks from an index: all, in order of their files' names, or some."""
    query = f"SELECT {COLUMNS}, t.centreline FROM tracks t WHERE "  # noqa: S608
    if fids is None:
        rows = index.connection.execute(query + _FIRST + " ORDER BY t.file").fetchall()
    else:
        rows = [index.connection.execute(query + "t.fid = ?", (fid,)).fetchone() for fid in fids]
    return [circuit_from_row(index.folder, row) for row in rows]


def boxes_within(
    index: FolderIndex, position_m: Floats, reach_m: float
) -> tuple[list[int], list[str], Floats, Floats]:
    """Find the tracks whose box comes within a straight distance of a position.

    Parameters
    ----------
    position_m
        Earth-centred, shape (3,).
    reach_m
        May be infinite.

    Returns
    -------
    fids, ids, nearest_m, farthest_m
        Bounds of the straight distance to each line.
    """
    query = f"SELECT b.*, t.id FROM boxes b JOIN tracks t ON t.fid = b.fid WHERE {_FIRST}"  # noqa: S608
    low, high = (position_m - reach_m).tolist(), (position_m + reach_m).tolist()
    bounds = [bound for pair in zip(low, high, strict=True) for bound in pair]
    if np.isfinite(reach_m):
        query += " AND x1 >= ? AND x0 <= ? AND y1 >= ? AND y0 <= ? AND z1 >= ? AND z0 <= ?"
    rows = index.connection.execute(query, bounds if np.isfinite(reach_m) else ()).fetchall()
    if not rows:
        return [], [], np.zeros(0), np.zeros(0)
    box = np.array([row[1:7] for row in rows]).reshape(-1, 3, 2)
    below, above = box[..., 0] - position_m, position_m - box[..., 1]
    nearest = np.linalg.norm(np.maximum(np.maximum(below, above), 0.0), axis=1)
    farthest = np.linalg.norm(np.maximum(np.abs(below), np.abs(above)), axis=1)
    return [row[0] for row in rows], [row[7] for row in rows], nearest, farthest


def has_id(index: FolderIndex, track_id: str) -> bool:
    """Tell whether a folder has a track with an id."""
    query = "SELECT 1 FROM tracks WHERE id = ? LIMIT 1"
    return index.connection.execute(query, (track_id,)).fetchone() is not None
