"""The tables of a library's index."""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import TrackFileError, reading_failed
from trackkit.library.known import Known, circuit_of
from trackkit.library.lines import earth_centred
from trackkit.remedies import Remedy

IDENTIFIER = "trackkit-index-"
VERSION = "4"
"""Raised whenever the tables, or what is read from a track file into them, change."""
_DIP_PER_M = 1.0 / (8.0 * 6_335_000.0)
"""How far a geodesic rises above its chord, over the chord's square (b²/a: smallest radius)."""
_HUGE_M = 1e9
_SHAPED = struct.Struct("<2sBBiBII")
COLUMNS = (
    "t.id, t.name, t.layout, t.direction, t.country, t.closed, t.length_m, t.band_m, t.timezone, "
    "t.valid_from, t.valid_until, t.replaces, t.origin, t.credit, t.file"
)

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
  length_m DOUBLE NOT NULL, band_m DOUBLE NOT NULL, timezone TEXT, valid_from TEXT,
  valid_until TEXT, replaces TEXT, origin TEXT NOT NULL,
  credit TEXT NOT NULL, file TEXT NOT NULL UNIQUE);
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


def make_tables(connection: sqlite3.Connection) -> None:
    """Make an index's tables afresh, without those of another version."""
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
        (IDENTIFIER + VERSION,),
    )


def listing_digest(connection: sqlite3.Connection) -> str | None:
    """Fetch the digest of the listing the index was made from; None if it is of another version."""
    try:
        row = connection.execute(
            "SELECT description FROM gpkg_contents WHERE identifier = ?", (IDENTIFIER + VERSION,)
        ).fetchone()
    except sqlite3.OperationalError as error:
        if "no such table" in str(error):
            return None
        raise
    return None if row is None else str(row[0])


def forget_files(connection: sqlite3.Connection, files: Iterable[str]) -> None:
    """Take out what the index holds of some track files."""
    for file in files:
        connection.execute(
            "DELETE FROM boxes WHERE fid IN (SELECT fid FROM files WHERE file = ?)", (file,)
        )
        connection.execute("DELETE FROM tracks WHERE file = ?", (file,))
        connection.execute("DELETE FROM files WHERE file = ?", (file,))


def store_file(
    connection: sqlite3.Connection,
    folder: Path,
    file: str,
    status: tuple[int, int, int],
) -> None:
    """Read a track file into the index, unless its content is what the index holds already.

    Parameters
    ----------
    connection, folder, file
        The index, its folder, and the file's name there.
    status
        Size in bytes, modification time and time of this reading, nanoseconds.
    """
    from trackkit.files import sha256_of

    path = folder / file
    fault = circuit = None
    try:
        now = bytes.fromhex(sha256_of(path))
    except OSError as error:
        now, fault = b"", f"{reading_failed(path, error)} (left out)"
    before = connection.execute("SELECT sha256 FROM files WHERE file = ?", (file,)).fetchone()
    if now and before == (now,):
        connection.execute(
            "UPDATE files SET size = ?, modified_ns = ?, read_ns = ? WHERE file = ?",
            (*status, file),
        )
        return
    forget_files(connection, [file])
    if fault is None:
        from trackkit.track.file import read_as_stated

        try:
            circuit = _sound(circuit_of(read_as_stated(path), path))
        except TrackFileError as error:
            fault = f"{error} (left out)".removeprefix(str(folder) + os.sep)
    else:
        fault = f"{file}: {fault}"
    fid = connection.execute(
        "INSERT INTO files (file, size, modified_ns, sha256, read_ns, fault)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        (file, status[0], status[1], now, status[2], fault),
    ).lastrowid
    if circuit is not None:
        connection.execute(
            "INSERT INTO tracks VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                fid,
                _to_blob(circuit.longitude_deg, circuit.latitude_deg),
                circuit.id,
                circuit.name,
                circuit.layout,
                circuit.direction,
                circuit.country,
                circuit.closed,
                circuit.length_m,
                circuit.band_m,
                circuit.timezone,
                circuit.valid_from,
                circuit.valid_until,
                circuit.replaces,
                circuit.origin,
                circuit.credit,
                file,
            ),
        )
        connection.execute("INSERT INTO boxes VALUES (?, ?, ?, ?, ?, ?, ?)", (fid, *_box(circuit)))


def _sound(circuit: Known) -> Known:
    """Refuse what reading without the schema lets through and nothing can be said with."""
    texts = (circuit.id, circuit.name, circuit.layout)
    perhaps = (
        circuit.direction,
        circuit.country,
        circuit.timezone,
        circuit.valid_from,
        circuit.valid_until,
        circuit.replaces,
    )
    numbers = (circuit.length_m, circuit.band_m)
    if not (
        all(isinstance(text, str) for text in texts)
        and all(text is None or isinstance(text, str) for text in perhaps)
        and all(isinstance(number, int | float) and abs(number) < _HUGE_M for number in numbers)
    ):
        raise TrackFileError(
            "the track file is damaged (its id, its name or another member is of the wrong kind)",
            file=circuit.path,
            remedy=Remedy("a check lists every fault", do="check"),
        )
    return circuit


def _box(circuit: Known) -> list[float]:
    """Box around a line in Earth-centred metres, with what its geodesics rise above the chords."""
    vertex = earth_centred(circuit.longitude_deg, circuit.latitude_deg)
    step = float(np.linalg.norm(np.diff(vertex, axis=0), axis=1).max())
    rise = 0.01 + step * step * _DIP_PER_M
    low, high = vertex.min(axis=0) - rise, vertex.max(axis=0) + rise
    return np.stack([low, high], axis=1).ravel().tolist()


def _to_blob(longitude_deg: Floats, latitude_deg: Floats) -> bytes:
    """Write a line as GeoPackage has it: its header, then well-known binary, little-endian."""
    line = np.stack([longitude_deg, latitude_deg], axis=1).astype("<f8")
    return _SHAPED.pack(b"GP", 0, 1, 4326, 1, 2, len(line)) + line.tobytes()


def line_from_blob(blob: bytes) -> Floats:
    """Longitudes and latitudes, degrees, shape (n, 2), of a line as GeoPackage has it."""
    return np.frombuffer(blob, dtype="<f8", offset=_SHAPED.size).reshape(-1, 2).astype(float)


def circuit_from_row(folder: Path, row: tuple[object, ...]) -> Known:
    """Make a known circuit of a row of `COLUMNS` and the line behind them."""
    *described, origin, credit, file, blob = row
    id_, name, layout, direction, country, closed, length_m, band_m, *dated = described
    timezone, valid_from, valid_until, replaces = (
        None if value is None else str(value) for value in dated
    )
    line = line_from_blob(blob)  # type: ignore[arg-type]
    return Known(
        id=str(id_),
        name=str(name),
        layout=str(layout),
        direction=None if direction is None else str(direction),
        country=None if country is None else str(country),
        closed=bool(closed),
        length_m=float(length_m),  # type: ignore[arg-type]
        band_m=float(band_m),  # type: ignore[arg-type]
        path=folder / str(file),
        longitude_deg=line[:, 0],
        latitude_deg=line[:, 1],
        timezone=timezone,
        valid_from=valid_from,
        valid_until=valid_until,
        replaces=replaces,
        origin=origin,  # type: ignore[arg-type]
        credit=str(credit),
    )
