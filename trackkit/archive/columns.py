"""The tables of an archive: their columns, in order, with kinds, units and meanings.

docs/archive.md tells them to people, and other programs read them: a column keeps its name, its
unit and its meaning, and new ones come at the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from trackkit.archive.engines import engine
from trackkit.timing.column_names import (
    CROSSING_COLUMNS,
    LAP_COLUMNS,
    SECTOR_COLUMNS,
    TRACE_COLUMNS,
    WHICH,
)
from trackkit.timing.kept_columns import (
    TIMING_LISTS,
    TIMING_NUMBERS,
    TIMING_TRUTHS,
    TIMING_WHOLES,
)

if TYPE_CHECKING:
    import pyarrow as pa

Kind = Literal["text", "whole", "number", "truth", "moment", "wholes", "numbers"]


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Parameters
    ----------
    name
        With the unit as its ending.
    kind
        What its values are; all may be missing.
    """

    name: str
    kind: Kind


@dataclass(frozen=True)
class Table:
    """A table of an archive.

    Parameters
    ----------
    name
        Of its folder.
    columns
        In their order.
    partitions
        Columns by whose values its files lie in folders.
    long_lists
        Whether its rows are few and large.
    """

    name: str
    columns: tuple[Column, ...]
    partitions: tuple[str, ...] = ()
    long_lists: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(column.name for column in self.columns)

    @property
    def schema(self) -> pa.Schema:
        """The columns as Arrow has them: times of day in UTC, to a microsecond."""
        pa = engine("pyarrow")
        kinds = {
            "text": pa.string(),
            "whole": pa.int64(),
            "number": pa.float64(),
            "truth": pa.bool_(),
            "moment": pa.timestamp("us", "UTC"),
            "wholes": pa.list_(pa.int64()),
            "numbers": pa.list_(pa.float64()),
        }
        return pa.schema([(column.name, kinds[column.kind]) for column in self.columns])


_WHOLE = ("session", "lap", "sector", "year", "size_bytes", "fixes", "fixes_left_out")
_TRUTHS = ("complete", "counts", "reversed", "has_speed", "has_course")
_MOMENTS = ("begun", "ended", "added", "modified", "time_of_day")
_NUMBERS = ("_s", "_m", "_deg", "_mps", "_mps2", "_m2ps5", "_degc")


def _kind(name: str) -> Kind:
    if name in _WHOLE:
        return "whole"
    if name in _TRUTHS:
        return "truth"
    if name in _MOMENTS:
        return "moment"
    return "number" if name.endswith(_NUMBERS) else "text"


def _table(name: str, *columns: str, partitions: tuple[str, ...] = ()) -> Table:
    return Table(name, tuple(Column(column, _kind(column)) for column in columns), partitions)


KEY = "recording"
"""The column that all tables share: SHA-256 of the recording's content (FIPS 180-4)."""
_LAP = (KEY, "track", "geometry", "session", "lap")
_NOT_KEPT = (*WHICH, "difference_s", "difference_sigma_s")
"""Who drove stands with the session alone, and differences are to a lap of one day."""

RECORDINGS = _table(
    "recordings",
    KEY,
    "state",
    "reason",
    "file",
    "size_bytes",
    "modified",
    "added",
    "version",
    "library",
    "begun",
    "duration_s",
    "interval_s",
    "fixes",
    "fixes_left_out",
    "has_speed",
    "has_course",
    "accuracy_m",
    "white_m",
    "wander_m",
    "wander_time_s",
    "doppler_mps",
    "slow_doppler_mps",
    "slow_doppler_time_s",
    "jerk_m2ps5",
    "longitude_deg",
    "latitude_deg",
    "track",
    "geometry",
    "remarks",
    "circuits_around",
    "gate_names",
)
SESSIONS = _table(
    "sessions",
    KEY,
    "track",
    "geometry",
    "session",
    "name",
    "layout",
    "direction",
    "reversed",
    "begun",
    "ended",
    "begin_s",
    "end_s",
    "ending",
    "day",
    "driver",
    "vehicle",
    "class",
    "notes",
    "weather",
    "temperature_degc",
)
LAPS = _table("laps", *_LAP, *(name for name in LAP_COLUMNS if name not in _NOT_KEPT))
SECTORS = _table("sectors", *_LAP, *(name for name in SECTOR_COLUMNS if name not in _NOT_KEPT))
CROSSINGS = _table("crossings", *_LAP, *(name for name in CROSSING_COLUMNS if name not in WHICH))
TRACES = _table(
    "traces",
    *_LAP,
    "year",
    *(name for name in TRACE_COLUMNS if name not in WHICH),
    partitions=("track", "year"),
)
DRIVES = Table(
    "drives",
    (
        *_table("", KEY, "track", "geometry", "begun").columns,
        *(Column(name, "number") for name in TIMING_NUMBERS),
        *(Column(name, "truth") for name in TIMING_TRUTHS),
        Column("whole_laps", "whole"),
        *(Column(name, "wholes") for name in TIMING_WHOLES),
        *(Column(name, "numbers") for name in TIMING_LISTS),
        Column("csv_columns", "text"),
        Column("traces", "truth"),
    ),
    long_lists=True,
)
TABLES = (RECORDINGS, SESSIONS, LAPS, SECTORS, CROSSINGS, TRACES, DRIVES)
"""All tables, `RECORDINGS` first; `TRACES` is there where traces were asked for."""
IN_THE_LOG = ("recording", "track", "geometry", "session", "lap", "begun", "state")
"""Columns whose least and largest values Delta may write into its log: nothing about people."""
