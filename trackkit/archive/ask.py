"""An archive asked: its tables, its laps, and what they sum up to, as relations of DuckDB."""

from __future__ import annotations

import os
import reprlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from trackkit.archive.address import archive_address, is_store
from trackkit.archive.columns import LAPS, RECORDINGS, TABLES, Table
from trackkit.archive.engines import engine
from trackkit.archive.store import dataset_of, opened
from trackkit.archive.summary_query import (
    BY,
    counted_query,
    numbered_query,
    records_query,
    summary_query,
)
from trackkit.archive.unknown import UnknownPlace, unknown_places
from trackkit.errors import TrackkitError

_PATTERN = frozenset("*?[")
_SQL = {
    "text": "VARCHAR",
    "whole": "BIGINT",
    "number": "DOUBLE",
    "truth": "BOOLEAN",
    "moment": "TIMESTAMPTZ",
    "wholes": "BIGINT[]",
    "numbers": "DOUBLE[]",
}
_OF_SESSION = (
    "name",
    "layout",
    "direction",
    "reversed",
    "day",
    "driver",
    "vehicle",
    "class",
    "notes",
    "weather",
    "temperature_degc",
)


@dataclass(frozen=True)
class Archive:
    """The timed laps of many recordings.

    `open_archive` makes it.  Its tables are Delta tables, which other programs read as well.

    Parameters
    ----------
    address
        A folder, or the address of an object store.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.Archive("season").address
    'season'
    """

    address: str

    def __repr__(self) -> str:
        return f"Archive({reprlib.repr(self.address)})"

    def connection(self) -> Any:
        """Open the tables as views of DuckDB.

        Returns
        -------
        duckdb.DuckDBPyConnection
            With the views ``recordings``, ``sessions``, ``laps``, ``sectors``, ``crossings`` and,
            where they were kept, ``traces``: of recordings that are wholly there, and no others.
            In ``all_laps`` each lap stands with what its session says.

        Raises
        ------
        TrackkitError
            When there is no archive, or the extra ``archive`` is not installed.
        """
        duckdb = engine("duckdb")
        deltas = {table: opened(self.address, table) for table in TABLES}
        if deltas[RECORDINGS] is None:
            raise TrackkitError(
                "is no archive yet",
                file=self.address,
                remedy="add recordings to it first",
            )
        connection = duckdb.connect()
        connection.execute("SET TimeZone = 'UTC'")
        for table, delta in deltas.items():
            if delta is None:
                continue
            there = _store(connection, self.address, table, delta)
            columns = ", ".join(
                f'stored."{column.name}"'
                if column.name in there
                else f'NULL::{_SQL[column.kind]} AS "{column.name}"'
                for column in table.columns
            )
            timed = (
                ""
                if table is RECORDINGS
                else "SEMI JOIN (SELECT recording, geometry FROM stored_recordings "
                "WHERE state = 'timed') USING (recording, geometry)"
            )
            connection.execute(
                f"CREATE VIEW {table.name} AS SELECT {columns} "  # noqa: S608 - names of ours
                f"FROM stored_{table.name} AS stored {timed}"
            )
        of_session = ", ".join(f'sessions."{name}"' for name in _OF_SESSION)
        of_lap = ", ".join(f'laps."{name}"' for name in LAPS.names)
        # Sessions that count are of recordings that do: laps need not be looked at twice.
        connection.execute(
            f"CREATE VIEW all_laps AS SELECT {of_lap}, {of_session} "  # noqa: S608
            "FROM stored_laps AS laps JOIN sessions USING (recording, geometry, session)"
        )
        return connection

    def laps(
        self,
        *,
        circuit: str | None = None,
        layout: str | None = None,
        driver: str | None = None,
        vehicle: str | None = None,
        class_: str | None = None,
        since: date | str | None = None,
        until: date | str | None = None,
        warmer_than_degc: float | None = None,
        colder_than_degc: float | None = None,
        every: bool = False,
    ) -> Any:
        """List laps, each with what its session says.

        Parameters
        ----------
        circuit
            Id of a track, or name of a circuit, whatever the case.
        layout, driver, vehicle, class_
            Only laps of these, whatever the case.
        since, until
            First and last day, by the clock of the circuit, such as ``2026-05-31``.
        warmer_than_degc, colder_than_degc
            Only where the air was no colder, or no warmer, than this, degrees Celsius.
        every
            Laps that do not count as well.

        Returns
        -------
        duckdb.DuckDBPyRelation
            In order of circuit and time; ``.df()`` makes it a frame of pandas.

        Raises
        ------
        TrackkitError
            When there is no archive, the extra ``archive`` is not installed, or a day is none.
        """
        where, values = conditions(
            circuit=circuit,
            layout=layout,
            driver=driver,
            vehicle=vehicle,
            class_=class_,
            since=since,
            until=until,
            warmer_than_degc=warmer_than_degc,
            colder_than_degc=colder_than_degc,
            every=every,
        )
        return self.connection().sql(
            f"SELECT * FROM all_laps WHERE {where} "  # noqa: S608 - values are bound
            "ORDER BY track, begun, recording, session, lap",
            params=values,
        )

    def summary(self, by: Sequence[str] = (), **chosen: Any) -> Any:
        """Sum laps up: bests, consistency and progress of each circuit and layout.

        Parameters
        ----------
        by
            What else they are told apart by: some of ``class``, ``driver``, ``vehicle``, ``day``.
        **chosen
            As `laps` takes it, but for `every`.

        Returns
        -------
        duckdb.DuckDBPyRelation
            A row a group.

        Raises
        ------
        TrackkitError
            As `laps` does; or laps cannot be told apart by something.
        """
        return self.summed_up(by, **chosen)[0]

    def records(self, by: Sequence[str] = (), **chosen: Any) -> Any:
        """List the best lap of each group of `summary`, and those that cannot be told from it.

        A lap is equal to the best where it is slower by no more than one sigma of their difference,
        their errors being taken as independent.

        Parameters
        ----------
        by, **chosen
            As `summary` takes them.

        Returns
        -------
        duckdb.DuckDBPyRelation
            The columns of `laps` and ``place``, 1 being the best; the fastest ten of a group at
            most.

        Raises
        ------
        TrackkitError
            As `summary` does.
        """
        return self.summed_up(by, **chosen)[1]

    def summed_up(self, by: Sequence[str] = (), **chosen: Any) -> tuple[Any, Any]:
        """Sum laps up and list records, the tables being read once.

        Parameters
        ----------
        by, **chosen
            As `summary` takes them.

        Returns
        -------
        summary, records
            As the methods of these names give them.

        Raises
        ------
        TrackkitError
            As `summary` does.
        """
        groups = _checked(by)
        where, values = conditions(**chosen)
        connection = self.connection()
        connection.execute(numbered_query(groups))
        connection.execute(counted_query(where), values)
        return connection.sql(summary_query(groups)), connection.sql(records_query())

    def unknown(self) -> tuple[UnknownPlace, ...]:
        """List the recordings that no known circuit matches, or several, by place.

        Returns
        -------
        tuple of UnknownPlace
            The one with most recordings first.

        Raises
        ------
        TrackkitError
            When there is no archive, or the extra ``archive`` is not installed.
        """
        relation = self.connection().sql(
            "SELECT file, reason, begun, duration_s, longitude_deg, latitude_deg FROM recordings "
            "WHERE state = 'unplaced' ORDER BY begun, file"
        )
        names = relation.columns
        return unknown_places([dict(zip(names, row, strict=True)) for row in relation.fetchall()])


def _store(connection: Any, archive: str, table: Table, delta: Any) -> list[str]:
    """Give DuckDB the rows of a table, and list the columns that it has.

    It reads the Parquet files of a folder by itself, and of those only the columns and groups of
    rows that a question concerns.  An object store is left to Arrow, to which delta-rs gives the
    keys; so are a table without files and names that DuckDB would take for a pattern.  Files that
    were written before a column was added lack it, and a table may, where nothing was since.
    """
    name = f"stored_{table.name}"
    # Addresses are written as in a URL: a blank is %20.
    files = [] if is_store(archive) else [unquote(uri) for uri in delta.file_uris()]
    plain = all(Path(file).is_file() and _PATTERN.isdisjoint(file) for file in files)
    if not files or not plain:
        connection.register(name, dataset_of(delta))
        return list(connection.view(name).columns)
    listed = ", ".join("'" + file.replace("'", "''") + "'" for file in files)
    kinds = ", ".join(
        f"{column.name}: {_SQL[column.kind]}"
        for column in table.columns
        if column.name in table.partitions
    )
    partitioned = f"true, hive_types = {{{kinds}}}" if kinds else "false"
    rows = connection.sql(
        f"SELECT * FROM read_parquet([{listed}], union_by_name = true, "  # noqa: S608 - a view binds none
        f"hive_partitioning = {partitioned})"
    )
    rows.create_view(name)
    return list(rows.columns)


def open_archive(at: str | os.PathLike[str] | None = None) -> Archive:
    """Open an archive; nothing is read until it is asked.

    Parameters
    ----------
    at
        A folder, or the address of an object store; None for what ``TRACKKIT_ARCHIVE`` names, or
        the user's own.

    Returns
    -------
    Archive
        To ask.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.open_archive("s3://club/season").address
    's3://club/season'
    """
    return Archive(archive_address(at))


def conditions(
    *,
    circuit: str | None = None,
    layout: str | None = None,
    driver: str | None = None,
    vehicle: str | None = None,
    class_: str | None = None,
    since: date | str | None = None,
    until: date | str | None = None,
    warmer_than_degc: float | None = None,
    colder_than_degc: float | None = None,
    every: bool = False,
) -> tuple[str, list[Any]]:
    """Write which laps are wanted as a condition of SQL, and the values that it binds."""
    parts: list[str] = []
    values: list[Any] = []
    if circuit is not None:
        parts.append("lower(?) IN (lower(track), lower(name))")
        values.append(circuit)
    for column, value in (
        ("layout", layout),
        ("driver", driver),
        ("vehicle", vehicle),
        ("class", class_),
    ):
        if value is not None:
            parts.append(f'lower("{column}") = lower(?)')
            values.append(value)
    for sign, day in ((">=", since), ("<=", until)):
        if day is not None:
            parts.append(f"day {sign} ?")
            values.append(_day(day))
    for sign, degc in ((">=", warmer_than_degc), ("<=", colder_than_degc)):
        if degc is not None:
            parts.append(f"temperature_degc {sign} ?")
            values.append(float(degc))
    if not every:
        parts.append("counts")
    return " AND ".join(parts) or "true", values


def _day(day: date | str) -> str:
    try:
        return date.fromisoformat(str(day)).isoformat()
    except ValueError as error:
        raise TrackkitError(
            f"{str(day)!r} is no day", remedy="write year, month and day, such as 2026-05-31"
        ) from error


def _checked(by: Sequence[str]) -> tuple[str, ...]:
    unknown = sorted(set(by) - set(BY))
    if unknown:
        raise TrackkitError(
            f"laps cannot be told apart by {unknown[0]!r}", remedy=f"use some of {', '.join(BY)}"
        )
    return tuple(name for name in BY if name in by)
