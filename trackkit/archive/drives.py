"""Kept drives read from an archive, a few at a time, by whichever process works on them."""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from trackkit.archive.columns import DRIVES, KEY
from trackkit.archive.engines import engine
from trackkit.archive.store import address_of, dataset_of, opened


@dataclass(frozen=True)
class KeptRows:
    """Where some kept drives stand in an archive.

    Parameters
    ----------
    archive
        Its address.
    version
        Of the table, which may have been changed since.
    file, group
        The table's file and the row group in it.
    recordings
        Those wanted.
    """

    archive: str
    version: int
    file: str
    group: int
    recordings: tuple[str, ...]


def kept_rows(archive: str, wanted: Container[str]) -> list[KeptRows]:
    """List where the drives of some recordings stand."""
    delta = opened(archive, DRIVES)
    if delta is None:
        return []
    version = delta.version()
    listed = []
    for fragment in dataset_of(delta).get_fragments():
        for part in fragment.split_by_row_group():
            recordings = part.to_table(columns=[KEY])[KEY].to_pylist()
            chosen = tuple(recording for recording in recordings if recording in wanted)
            if chosen:
                group = part.row_groups[0].id
                listed.append(KeptRows(archive, version, fragment.path, group, chosen))
    return listed


def read_kept(rows: KeptRows) -> Iterator[tuple[str, dict[str, Any]]]:
    """Read kept drives: each recording, and its columns by name, lists as arrays."""
    fragment = _files(rows.archive, rows.version)[rows.file]
    table = fragment.subset(row_group_ids=[rows.group]).to_table()
    for place, recording in enumerate(table[KEY].to_pylist()):
        if recording in rows.recordings:
            yield recording, {name: _cell(table[name][place]) for name in table.column_names}


@lru_cache(maxsize=1)
def _files(archive: str, version: int) -> dict[str, Any]:
    delta = engine("deltalake").DeltaTable(address_of(archive, DRIVES), version=version)
    return {fragment.path: fragment for fragment in dataset_of(delta).get_fragments()}


def _cell(scalar: Any) -> Any:
    if not scalar.is_valid or not engine("pyarrow").types.is_list(scalar.type):
        return scalar.as_py()
    return scalar.values.to_numpy(zero_copy_only=False)
