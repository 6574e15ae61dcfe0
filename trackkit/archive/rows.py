"""Rows of the tables of an archive, and what people say in them of a recording."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from trackkit.archive.columns import KEY, Table
from trackkit.archive.engines import engine
from trackkit.archive.store import among, changed, dataset_of
from trackkit.errors import TrackkitError
from trackkit.timing.driven_files import Entry

if TYPE_CHECKING:
    import pyarrow as pa


DESCRIBED = ("driver", "vehicle", "class", "notes", "weather", "temperature_degc")
"""Columns of sessions that say what people say of a recording."""
_COLUMN_OF = {"class_" if column == "class" else column: column for column in DESCRIBED}


@dataclass(frozen=True)
class Described:
    """What people say of a recording; None where they say nothing.

    Parameters
    ----------
    driver, vehicle, class_, notes, weather
        In their words.
    temperature_degc
        Of the air, degrees Celsius.
    """

    driver: str | None = None
    vehicle: str | None = None
    class_: str | None = None
    notes: str | None = None
    weather: str | None = None
    temperature_degc: float | None = None

    def with_entry(self, entry: Entry) -> Described:
        """Take from a table of drivers what it says; the rest stays.

        Raises
        ------
        TrackkitError
            When its temperature is no number.
        """
        return Described(
            driver=entry.driver or self.driver,
            vehicle=entry.vehicle or self.vehicle,
            class_=entry.class_ or self.class_,
            notes=entry.notes or self.notes,
            weather=entry.weather or self.weather,
            temperature_degc=_temperature(entry.temperature, self.temperature_degc),
        )

    @classmethod
    def of_row(cls, row: Mapping[str, Any]) -> Described:
        """Take what a row of sessions says."""
        return cls(**{name: row.get(column) for name, column in _COLUMN_OF.items()})

    def as_columns(self) -> dict[str, Any]:
        """Give it by the names of the columns of sessions."""
        return {column: getattr(self, name) for name, column in _COLUMN_OF.items()}

    def with_other(self, other: Described | None) -> Described:
        """Take what another description says; what that does not say stays."""
        if other is None:
            return self
        given = {name: value for name, value in vars(other).items() if value not in (None, "")}
        return replace(self, **given)


def _temperature(text: str, otherwise: float | None) -> float | None:
    if not text:
        return otherwise
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise TrackkitError(
            f"the table of drivers has a temperature {text!r}, which is no number",
            remedy="write degrees Celsius, such as 21.5",
        ) from error


def table_of_rows(table: Table, rows: list[dict[str, Any]]) -> pa.Table:
    """Lay rows out as a table of Arrow; what a row does not have is missing."""
    whole = [{name: row.get(name) for name in table.names} for row in rows]
    arrow: pa.Table = engine("pyarrow").Table.from_pylist(whole, schema=table.schema)
    return arrow


def edit_rows(
    archive: str,
    table: Table,
    recordings: Sequence[str],
    edited: Callable[[dict[str, Any]], dict[str, Any]],
) -> None:
    """Put an edited row in the place of each that a table holds of some recordings.

    Raises
    ------
    OutputError
        When the table cannot be written.
    """

    def write(delta: Any) -> None:
        own = engine("pyarrow.dataset").field(KEY).isin(recordings)
        rows = dataset_of(delta).to_table(filter=own).to_pylist()
        written = table_of_rows(table, [edited(row) for row in rows])
        engine("deltalake").write_deltalake(
            delta, written, mode="overwrite", predicate=among(recordings)
        )

    changed(archive, table, write)
