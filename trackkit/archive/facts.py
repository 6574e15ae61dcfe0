"""What people say anew of recordings that are in an archive: taken up without timing them again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trackkit.archive.columns import KEY, SESSIONS
from trackkit.archive.engines import engine
from trackkit.archive.rows import Described, table_of_rows
from trackkit.archive.store import among, changed, dataset_of, rows_of

_FACTS = ("driver", "vehicle", "class", "notes", "weather", "temperature_degc")


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
    rows = rows_of(archive, SESSIONS, (KEY, *_FACTS)).to_pylist()
    differing = sorted({row[KEY] for row in rows if row | given.get(row[KEY], {}) != row})
    if not differing:
        return 0

    def write(delta: Any) -> None:
        own = engine("pyarrow.dataset").field(KEY).isin(differing)
        every = dataset_of(delta).to_table(filter=own).to_pylist()
        written = table_of_rows(SESSIONS, [row | given[row[KEY]] for row in every])
        engine("deltalake").write_deltalake(
            delta, written, mode="overwrite", predicate=among(differing)
        )

    changed(archive, SESSIONS, write)
    return len(differing)


def _given(description: Described) -> dict[str, Any]:
    every = {
        "driver": description.driver,
        "vehicle": description.vehicle,
        "class": description.class_,
        "notes": description.notes,
        "weather": description.weather,
        "temperature_degc": description.temperature_degc,
    }
    return {name: value for name, value in every.items() if value not in (None, "")}
