"""Rows taken out of a table for good: also out of its old versions and its log.

By the Delta Lake protocol (github.com/delta-io/delta, PROTOCOL.md, from memory) a table deletes
rows by writing files anew without them; the old files stay for who asks for an old version, and the
log tells their least and largest values and what was deleted.  A checkpoint holds what the log has
told so far, so that commits before it may be removed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trackkit.archive.columns import Table
from trackkit.archive.engines import engine
from trackkit.archive.store import address_of, among, changed, opened
from trackkit.archive.stored_files import remove_file, stored_files

_LOG = "_delta_log/"
_LAST_CHECKPOINT = f"{_LOG}_last_checkpoint"


def delete_rows(archive: str, table: Table, recordings: Sequence[str]) -> None:
    """Delete what a table holds of some recordings; old versions still have it.

    Raises
    ------
    OutputError
        When the table cannot be written.
    """
    if opened(archive, table) is not None and recordings:
        changed(archive, table, lambda delta: delta.delete(among(recordings)))


def purge(archive: str, table: Table) -> None:
    """Remove all of a table but what stands in it now: old versions, orphaned files, log entries.

    Nobody else may change the table meanwhile.  Broken off at any moment, it leaves a table that
    opens, and is finished by doing it again.

    Raises
    ------
    OutputError
        When the table cannot be written.
    """
    if opened(archive, table) is None:
        return

    def settle(delta: Any) -> None:
        # The last commit stays in the log, and those before it may tell what was deleted.
        engine("deltalake").write_deltalake(delta, table.schema.empty_table(), mode="append")

    changed(archive, table, settle)
    changed(archive, table, lambda delta: delta.create_checkpoint())
    changed(archive, table, lambda delta: _sweep(address_of(archive, table), delta))


def _sweep(place: str, delta: Any) -> None:
    """Remove the files that the table as it stands does not need."""
    log_entry = f"{_LOG}{delta.version():020d}."
    # Their names alone hold a number of their own; how paths are written differs by version.
    rows = {uri.rpartition("/")[2] for uri in delta.file_uris()}
    for name in stored_files(place):
        of_log = name == _LAST_CHECKPOINT or (name.startswith(log_entry) and "#" not in name)
        if not of_log and name.rpartition("/")[2] not in rows:
            remove_file(place, name)
