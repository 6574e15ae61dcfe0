"""Tables of an archive: made, opened, and changed by several writers at once.

They are Delta tables (the Delta Lake protocol, github.com/delta-io/delta, from memory), written by
delta-rs.  Each commit of one table is done whole or not at all, and there is none over several:
the row of a recording in the table ``recordings`` is written last, and what has none does not
count.
"""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from trackkit.archive.address import is_store
from trackkit.archive.columns import IN_THE_LOG, KEY, RECORDINGS, TABLES, Table
from trackkit.archive.engines import engine
from trackkit.errors import OutputError, TrackkitError

if TYPE_CHECKING:
    import pyarrow as pa

VERSION = 1
"""Of the layout of the tables; a larger one is not understood."""
_DESCRIPTION = "archive of trackkit"
_TRIES = 60
_FIRST_WAIT_S, _LONGEST_WAIT_S = 0.05, 2.0
_SMALL_FILES = 32
"""So many files of a table are put together into few."""
_ROWS_WITH_LISTS = 16
_HASH = re.compile(r"[0-9a-f]{64}")


def address_of(archive: str, table: Table) -> str:
    """Say where a table lies."""
    return f"{archive}/{table.name}"


def is_table(place: str) -> bool:
    """Tell whether a Delta table lies in a folder or at an address."""
    # Old deltalake makes a folder of what it only looks at.
    if not is_store(place) and not Path(place).is_dir():
        return False
    return bool(engine("deltalake").DeltaTable.is_deltatable(place))


def opened(archive: str, table: Table) -> Any:
    """Open a table as a `deltalake.DeltaTable`.

    Returns
    -------
    DeltaTable or None
        None where there is none.

    Raises
    ------
    TrackkitError
        When it cannot be opened, or is of a newer trackkit.
    """
    deltalake = engine("deltalake")
    place = address_of(archive, table)
    try:
        if not is_table(place):
            return None
        delta = deltalake.DeltaTable(place)
        description = str(delta.metadata().description or "")
    except (OSError, ValueError, deltalake.exceptions.DeltaError) as error:
        raise TrackkitError(
            f"cannot be opened as a Delta table ({_first_line(error)})",
            file=place,
            remedy="name another archive, or bring back a copy of this one",
        ) from error
    version = description.removeprefix(_DESCRIPTION).strip()
    if not description.startswith(_DESCRIPTION) or not version.isdecimal():
        raise TrackkitError(
            "is a Delta table, and no archive of trackkit",
            file=place,
            remedy="name another archive",
        )
    if int(version) > VERSION:
        raise TrackkitError(
            f"is of version {version}, and this trackkit knows versions up to {VERSION}",
            file=place,
            remedy="install a newer trackkit",
        )
    return delta


def replace_rows(archive: str, table: Table, rows: pa.Table, recordings: Sequence[str]) -> None:
    """Put rows in the place of all that a table holds of some recordings, in one commit.

    What another writer commits meanwhile is taken in and the commit tried again.

    Parameters
    ----------
    archive
        Its address.
    table
        Which one; it is made where there is none.
    rows
        Of those recordings and no others; none where there is nothing of them.
    recordings
        Their SHA-256.

    Raises
    ------
    OutputError
        When the table cannot be written, or another writer was always faster.
    """
    deltalake = engine("deltalake")
    if not recordings:
        return

    def write(delta: Any) -> None:
        deltalake.write_deltalake(
            delta,
            rows,
            mode="overwrite",
            predicate=among(recordings),
            writer_properties=_properties(table),
        )

    changed(archive, table, write)


def among(recordings: Sequence[str]) -> str:
    """Write the condition that a row is of some recordings, given by their SHA-256."""
    return f"{KEY} IN ({', '.join(_quoted(recording) for recording in sorted(set(recordings)))})"


def changed(archive: str, table: Table, change: Callable[[Any], Any]) -> Any:
    """Change a table, again from the beginning where another writer was faster.

    Parameters
    ----------
    archive, table
        Which one; it is made where there is none.
    change
        Is given the table as it stands and commits once.

    Returns
    -------
    Whatever `change` does.

    Raises
    ------
    OutputError
        When the table cannot be written, or another writer was always faster.
    """
    exceptions = engine("deltalake").exceptions
    place = address_of(archive, table)
    for attempt in range(_TRIES):
        try:
            return change(_widened(archive, table) or _made(archive, table))
        except exceptions.CommitFailedError as error:
            last: Exception = error
            # At random, so that writers who met once do not meet again.
            most_s = min(_FIRST_WAIT_S * 2**attempt, _LONGEST_WAIT_S)
            time.sleep(random.uniform(0.0, most_s))  # noqa: S311 - no secret
        except (OSError, exceptions.DeltaError) as error:
            raise OutputError(f"cannot be written ({_first_line(error)})", file=place) from error
    raise OutputError(
        f"could not be written: another writer was faster {_TRIES} times",
        file=place,
        remedy="run the same again when others are done; it goes on where it was",
    ) from last


def _widened(archive: str, table: Table) -> Any:
    """Open a table to change it, with the columns that came after it was made; its rows stay."""
    delta = opened(archive, table)
    if delta is None:
        return None
    there = _columns_there(delta)
    lacking = [field for field in table.schema if field.name not in there]
    if not lacking:
        return delta
    schema = engine("deltalake").Schema.from_arrow(engine("pyarrow").schema(lacking))
    delta.alter.add_columns(schema.fields)
    return opened(archive, table)


def _columns_there(delta: Any) -> set[str]:
    return {field.name for field in delta.schema().fields}


def _properties(table: Table) -> Any:
    """Say how the Parquet files of a table are written, None for as usual."""
    deltalake = engine("deltalake")
    if not table.long_lists:
        return None
    # Few rows are read at once, and hardly a number comes twice.
    return deltalake.WriterProperties(
        compression="ZSTD",
        max_row_group_size=_ROWS_WITH_LISTS,
        default_column_properties=deltalake.ColumnProperties(dictionary_enabled=False),
    )


def _made(archive: str, table: Table) -> Any:
    deltalake = engine("deltalake")
    if not is_store(archive):
        Path(archive).mkdir(parents=True, exist_ok=True)
    try:
        return deltalake.DeltaTable.create(
            address_of(archive, table),
            table.schema,
            mode="ignore",
            partition_by=list(table.partitions) or None,
            name=table.name,
            description=f"{_DESCRIPTION} {VERSION}",
            configuration={
                "delta.dataSkippingStatsColumns": ",".join(
                    name for name in IN_THE_LOG if name in table.names
                )
            },
        )
    except deltalake.exceptions.DeltaError:
        # Old deltalake fails where another writer makes the table at the same moment.
        delta = opened(archive, table)
        if delta is None:
            raise
        return delta


def rows_of(archive: str, table: Table, columns: Sequence[str]) -> pa.Table:
    """Read columns of a table; no row where there is no such table, nothing in columns it lacks."""
    pa = engine("pyarrow")
    delta = opened(archive, table)
    if delta is None:
        rows = pa.table({})
    else:
        there = _columns_there(delta)
        rows = dataset_of(delta).to_table(columns=[name for name in columns if name in there])
    return pa.table(
        {
            name: rows[name]
            if name in rows.column_names
            else pa.nulls(rows.num_rows, table.schema.field(name).type)
            for name in columns
        }
    )


def dataset_of(delta: Any) -> Any:
    """Give a table as a dataset of Arrow.

    Of a folder Arrow reads files by itself: where its threads have Python read them, as for an
    object store, a process that ends at that moment may end with an abort after all is done.
    """
    engine("pyarrow.dataset")
    fs = engine("pyarrow.fs")
    plain = str(delta.table_uri).removeprefix("file://")
    # Some versions of delta-rs write a path as in a URL, where a blank is %20.
    for path in (plain, unquote(plain)):
        if (Path(path) / "_delta_log").is_dir():
            folder = fs.SubTreeFileSystem(path, fs.LocalFileSystem())
            return delta.to_pyarrow_dataset(filesystem=folder)
    return delta.to_pyarrow_dataset()


def put_together(archive: str) -> None:
    """Put the small files of each table together where there are many.

    Another writer who changes the table meanwhile is in no way disturbed: then it stays as it is.
    """
    exceptions = engine("deltalake").exceptions
    for table in TABLES:
        delta = opened(archive, table)
        if delta is None or len(delta.file_uris()) <= _SMALL_FILES:
            continue
        try:
            delta.optimize.compact(writer_properties=_properties(table))
            delta.vacuum(dry_run=False)
        except exceptions.CommitFailedError:
            continue


def known_recordings(archive: str, columns: Sequence[str]) -> dict[str, Mapping[str, Any]]:
    """Read what the archive holds of each recording, by its SHA-256."""
    rows = rows_of(archive, RECORDINGS, (KEY, *columns)).to_pylist()
    return {row[KEY]: row for row in rows}


def _quoted(recording: str) -> str:
    if not _HASH.fullmatch(recording):
        raise ValueError(f"{recording!r} is no SHA-256")
    return f"'{recording}'"


def _first_line(error: BaseException) -> str:
    return str(error).strip().split("\n", 1)[0]
