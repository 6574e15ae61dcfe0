"""The tables of an archive: their columns, in order, with kinds, units and meanings.

docs/archive.md tells them to people, and other programs read them: a column keeps its name, its
unit and its meaning, and new ones come at the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from trackkit.archive.engines import engine
from trackkit.frames.crossings import CROSSING_COLUMNS
from trackkit.frames.laps import LAP_COLUMNS, SECTOR_COLUMNS, TRACE_COLUMNS, WHICH

if TYPE_CHECKING:
    import pyarrow as pa

Kind = Literal["text", "whole", "number", "truth", "moment"]


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
    """

    name: str
    columns: tuple[Column, ...]
    partitions: tuple[str, ...] = ()

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
TABLES = (RECORDINGS, SESSIONS, LAPS, SECTORS, CROSSINGS, TRACES)
"""All tables, `RECORDINGS` first; `TRACES` is there where traces were asked for."""
IN_THE_LOG = ("recording", "track", "geometry", "session", "lap", "begun", "state")
"""Columns whose least and largest values Delta may write into its log: nothing about people."""
