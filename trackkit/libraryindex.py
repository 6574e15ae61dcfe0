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
import struct
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trackkit.errors import TrackFileError, TrackkitError, reading_failed
from trackkit.locating import Known, known_from
from trackkit.nearlines import Floats, earth_centred

INDEX_NAME = ".trackkit-index.gpkg"
_IDENTIFIER = "trackkit-index-"
VERSION = "1"
"""Raised whenever the tables, or what is read from a track file into them, change."""
_PATIENCE_S = 120.0
_CLOCK_TICK_NS = 2_000_000_000
"""The coarsest modification time in use, that of FAT: two seconds."""
_DIP_PER_M = 1.0 / (8.0 * 6_335_000.0)
"""How far a geodesic rises above its chord, over the chord's square (b²/a: smallest radius)."""
_HUGE_M = 1e9
_SHAPED = struct.Struct("<2sBBiBII")
_COLUMNS = "t.id, t.name, t.layout, t.direction, t.country, t.closed, t.length_m, t.band_m, t.file"

_TABLES = """
PRAGMA application_id = 1196444487;
PRAGMA user_version = 10300;
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE,
  srs_id INTEGER REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL PRIMARY KEY REFERENCES gpkg_contents(table_name),
  column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL REFERENCES gpkg_spatial_ref_sys(srs_id),
  z TINYINT NOT NULL, m TINYINT NOT NULL);
CREATE TABLE files (
  fid INTEGER PRIMARY KEY, file TEXT NOT NULL UNIQUE, size INTEGER NOT NULL,
  modified_ns INTEGER NOT NULL, sha256 BLOB NOT NULL, read_ns INTEGER NOT NULL, fault TEXT);
CREATE TABLE tracks (
  fid INTEGER PRIMARY KEY, centreline BLOB NOT NULL, id TEXT NOT NULL, name TEXT NOT NULL,
  layout TEXT NOT NULL, direction TEXT, country TEXT, closed INTEGER NOT NULL,
  length_m DOUBLE NOT NULL, band_m DOUBLE NOT NULL, file TEXT NOT NULL UNIQUE);
CREATE INDEX tracks_by_id ON tracks (id, file);
CREATE VIRTUAL TABLE boxes USING rtree (fid, x0, x1, y0, y1, z0, z1);
INSERT INTO gpkg_spatial_ref_sys VALUES
  ('Undefined Cartesian', -1, 'NONE', -1, 'undefined', NULL),
  ('Undefined geographic', 0, 'NONE', 0, 'undefined', NULL),
  ('WGS 84', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,'
   || '298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0],'
   || 'UNIT["degree",0.0174532925199433],AUTHORITY["EPSG","4326"]]', NULL);
INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES
  ('tracks', 'features', 'tracks', 4326), ('files', 'attributes', 'files', NULL);
INSERT INTO gpkg_geometry_columns VALUES ('tracks', 'centreline', 'LINESTRING', 4326, 0, 0);
"""

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
                # Damaged. It is a cache: begin again, once.
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
        # Where a process has died over its update, SQLite mends that, but not without writing.
        with suppress(sqlite3.OperationalError), _closed_on_error(_connect(place, "ro")) as index:
            if _told(index) == _digest(there):
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
        name, uri=place is not None, timeout=_PATIENCE_S, isolation_level=None,
        check_same_thread=False,
    )  # fmt: skip


def _files(folder: Path) -> tuple[dict[str, tuple[int, int]], list[str]]:
    """List the track files of a folder with size and modification time, and what cannot be."""
    found: dict[str, tuple[int, int]] = {}
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
                    found[entry.name] = (status.st_size, status.st_mtime_ns)
    except OSError as error:
        raise TrackkitError(
            f"cannot be listed ({error.strerror})",
            file=folder,
            remedy="name another folder as the library",
        ) from error
    return found, sorted(warnings)


def _is_current(connection: sqlite3.Connection) -> bool:
    return _told(connection) is not None


def _told(connection: sqlite3.Connection) -> str | None:
    """Fetch the digest of the listing the index was made from; None if it is of another version."""
    try:
        row = connection.execute(
            "SELECT description FROM gpkg_contents WHERE identifier = ?", (_IDENTIFIER + VERSION,)
        ).fetchone()
    except sqlite3.OperationalError as error:
        if "no such table" in str(error):
            return None
        raise
    return None if row is None else str(row[0])


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
            _make_tables(connection)
        there, _ = _files(folder)
        read, gone = _differences(connection, there)
        _forget(connection, gone)
        if say is not None and len(read) > 500:
            say(f"reading {len(read):,} track files of {folder} for the index")
        now = time.time_ns()
        for file in read:
            _read_file(connection, folder, file, (*there[file], now))
        # What is too young to be sure of is looked into again next time.
        sure = not any(0 <= now - modified < _CLOCK_TICK_NS for _, modified in there.values())
        connection.execute(
            "UPDATE gpkg_contents SET description = ? WHERE table_name = 'files'",
            (_digest(there) if sure else "",),
        )


def _make_tables(connection: sqlite3.Connection) -> None:
    names = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    ).fetchall()
    if ("boxes",) in names:
        connection.execute("DROP TABLE boxes")
    for (name,) in names:
        if not name.startswith("boxes"):
            connection.execute(f'DROP TABLE "{name}"')
    for statement in _TABLES.split(";\n"):
        connection.execute(statement)
    connection.execute(
        "UPDATE gpkg_contents SET identifier = ? WHERE table_name = 'files'",
        (_IDENTIFIER + VERSION,),
    )


def _forget(connection: sqlite3.Connection, files: Iterable[str]) -> None:
    for file in files:
        connection.execute(
            "DELETE FROM boxes WHERE fid IN (SELECT fid FROM files WHERE file = ?)", (file,)
        )
        connection.execute("DELETE FROM tracks WHERE file = ?", (file,))
        connection.execute("DELETE FROM files WHERE file = ?", (file,))


def _read_file(
    connection: sqlite3.Connection,
    folder: Path,
    file: str,
    status: tuple[int, int, int],
) -> None:
    path = folder / file
    fault = known = None
    try:
        now = hashlib.sha256(path.read_bytes()).digest()
    except OSError as error:
        now, fault = b"", f"{reading_failed(path, error)} (left out)"
    before = connection.execute("SELECT sha256 FROM files WHERE file = ?", (file,)).fetchone()
    if now and before == (now,):
        connection.execute(
            "UPDATE files SET size = ?, modified_ns = ?, read_ns = ? WHERE file = ?",
            (*status, file),
        )
        return
    _forget(connection, [file])
    if fault is None:
        from trackkit.trackfile import read_track

        try:
            known = _sound(known_from(read_track(path, validate=False), path))
        except TrackFileError as error:
            fault = f"{error} (left out)".removeprefix(str(folder) + os.sep)
    else:
        fault = f"{file}: {fault}"
    fid = connection.execute(
        "INSERT INTO files (file, size, modified_ns, sha256, read_ns, fault)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        (file, status[0], status[1], now, status[2], fault),
    ).lastrowid
    if known is not None:
        connection.execute(
            "INSERT INTO tracks VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                fid, _to_blob(known.longitude_deg, known.latitude_deg), known.id, known.name,
                known.layout, known.direction, known.country, known.closed, known.length_m,
                known.band_m, file,
            ),
        )  # fmt: skip
        connection.execute("INSERT INTO boxes VALUES (?, ?, ?, ?, ?, ?, ?)", (fid, *_box(known)))


def _sound(known: Known) -> Known:
    """Refuse what reading without the schema lets through and nothing can be said with."""
    texts = (known.id, known.name, known.layout)
    perhaps = (known.direction, known.country)
    numbers = (known.length_m, known.band_m)
    if not (
        all(isinstance(text, str) for text in texts)
        and all(text is None or isinstance(text, str) for text in perhaps)
        and all(isinstance(number, int | float) and abs(number) < _HUGE_M for number in numbers)
    ):
        raise TrackFileError(
            "the track file is damaged (its id, its name or another member is of the wrong kind)",
            file=known.path,
            remedy="`trackkit check` lists every fault",
        )
    return known


def _box(known: Known) -> list[float]:
    """Box around a line in Earth-centred metres, with what its geodesics rise above the chords."""
    vertex = earth_centred(known.longitude_deg, known.latitude_deg)
    step = float(np.linalg.norm(np.diff(vertex, axis=0), axis=1).max())
    rise = 0.01 + step * step * _DIP_PER_M
    low, high = vertex.min(axis=0) - rise, vertex.max(axis=0) + rise
    return np.stack([low, high], axis=1).ravel().tolist()


def _to_blob(longitude_deg: Floats, latitude_deg: Floats) -> bytes:
    """Write a line as GeoPackage has it: its header, then well-known binary, little-endian."""
    line = np.stack([longitude_deg, latitude_deg], axis=1).astype("<f8")
    return _SHAPED.pack(b"GP", 0, 1, 4326, 1, 2, len(line)) + line.tobytes()


def _from_blob(blob: bytes) -> Floats:
    return np.frombuffer(blob, dtype="<f8", offset=_SHAPED.size).reshape(-1, 2).astype(float)


def tracks_of(index: FolderIndex, fids: Iterable[int] | None = None) -> list[Known]:
    """Fetch tracks from an index: all, in order of their files' names, or some."""
    query = f"SELECT {_COLUMNS}, t.centreline FROM tracks t WHERE "  # noqa: S608
    if fids is None:
        rows = index.connection.execute(query + _FIRST + " ORDER BY t.file").fetchall()
    else:
        rows = [index.connection.execute(query + "t.fid = ?", (fid,)).fetchone() for fid in fids]
    return [_known(index.folder, row) for row in rows]


def _known(folder: Path, row: tuple[object, ...]) -> Known:
    *described, file, blob = row
    id_, name, layout, direction, country, closed, length_m, band_m = described
    line = _from_blob(blob)  # type: ignore[arg-type]
    return Known(
        id=str(id_), name=str(name), layout=str(layout),
        direction=None if direction is None else str(direction),
        country=None if country is None else str(country),
        closed=bool(closed), length_m=float(length_m),  # type: ignore[arg-type]
        band_m=float(band_m),  # type: ignore[arg-type]
        path=folder / str(file), longitude_deg=line[:, 0], latitude_deg=line[:, 1],
    )  # fmt: skip


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
