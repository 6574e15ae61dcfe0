"""What people say anew of recordings that are in an archive: taken up without timing them again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trackkit.archive.columns import KEY, SESSIONS
from trackkit.archive.rows import DESCRIBED, Described, edit_rows
from trackkit.archive.store import rows_of


def take_up_facts(archive: str, descriptions: Mapping[str, Described]) -> int:
    """Write into the sessions what is now said of their recordings; what is not said stays.

    Parameters
    ----------
    archive
        Its address.
    descriptions
        By SHA-256 of the recordings.

    Returns
    -------
    int
        Of how many recordings something changed.

    Raises
    ------
    OutputError
        When the table cannot be written.
    """
    given = {recording: _given(description) for recording, description in descriptions.items()}
    rows = rows_of(archive, SESSIONS, (KEY, *DESCRIBED)).to_pylist()
    differing = sorted({row[KEY] for row in rows if row | given.get(row[KEY], {}) != row})
    if not differing:
        return 0
    edit_rows(archive, SESSIONS, differing, lambda row: row | given[row[KEY]])
    return len(differing)


def _given(description: Described) -> dict[str, Any]:
    every = description.as_columns()
    return {name: value for name, value in every.items() if value not in (None, "")}
