"""A timed recording as rows of the tables of an archive."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from trackkit.archive.columns import CROSSINGS, KEY, LAPS, SECTORS, SESSIONS, TRACES, Table
from trackkit.archive.engines import engine
from trackkit.archive.store import among, changed, dataset_of
from trackkit.errors import TrackkitError
from trackkit.frames.crossings import crossings_frame
from trackkit.frames.laps import lap_and_sector_frames, traces_frame
from trackkit.library.driven_circuit import Found
from trackkit.timing.driven_files import Entry
from trackkit.timing.report import LapReport
from trackkit.track.digest import geometry_digest
from trackkit.track.validity import local_day

if TYPE_CHECKING:
    import pyarrow as pa
    from pandas import DataFrame


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


def timed_rows(
    found: Found, report: LapReport, recording: str, described: Described, *, traces: bool
) -> dict[str, pa.Table]:
    """Make the rows of a timed recording.

    Parameters
    ----------
    found
        The circuit, as it was driven.
    report
        With its drive.
    recording
        SHA-256 of its content.
    described
        What people say of it.
    traces
        Whether traces are wanted.

    Returns
    -------
    dict
        Tables of Arrow by the names of the archive's tables.
    """
    same = {KEY: recording, "track": found.track.id, "geometry": geometry_digest(found.track)}
    days = _session_days(found, report)
    laps, sectors = lap_and_sector_frames(report)
    tables = {
        "sessions": table_of_rows(SESSIONS, _session_rows(found, report, same, days, described)),
        "laps": _table(LAPS, laps, same),
        "sectors": _table(SECTORS, sectors, same),
        "crossings": _table(CROSSINGS, crossings_frame(report), same),
    }
    if traces:
        frame = traces_frame(report)
        years = {number: None if day is None else int(day[:4]) for number, day in days.items()}
        frame["year"] = frame["session"].map(years)
        tables["traces"] = _table(TRACES, frame, same)
    return tables


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


def _table(table: Table, frame: DataFrame, same: dict[str, str]) -> pa.Table:
    arrow = engine("pyarrow")
    arrays = []
    for field in table.schema:
        if field.name in same:
            arrays.append(arrow.array([same[field.name]] * len(frame), field.type))
        else:
            arrays.append(_array(frame[field.name], field.type))
    laid: pa.Table = arrow.Table.from_arrays(arrays, schema=table.schema)
    return laid


def _array(series: Any, kind: Any) -> Any:
    pa = engine("pyarrow")
    values = pa.array(series, from_pandas=True)
    if pa.types.is_dictionary(values.type):
        values = values.dictionary_decode()
    if pa.types.is_null(values.type):
        return pa.nulls(len(values), kind)
    # Frames count nanoseconds, which Delta has none of.
    return values.cast(kind, safe=not pa.types.is_timestamp(kind))


def _session_days(found: Found, report: LapReport) -> dict[int, str | None]:
    """Tell the day of each session by the clock of the circuit."""
    track = found.track
    longitude = float(track.centreline.longitude_deg[0])
    days: dict[int, str | None] = {}
    for session in report.sessions:
        moment = report.time_of_day(session.begin_s)
        days[session.number] = (
            None if moment is None else local_day(moment, track.timezone, longitude)
        )
    return days


def _session_rows(
    found: Found,
    report: LapReport,
    same: dict[str, str],
    days: dict[int, str | None],
    described: Described,
) -> list[dict[str, Any]]:
    track = found.track
    return [
        {
            **same,
            "session": session.number,
            "name": track.name,
            "layout": track.layout,
            "direction": track.direction,
            "reversed": found.reversed,
            "begun": report.time_of_day(session.begin_s),
            "ended": report.time_of_day(session.end_s),
            "begin_s": session.begin_s,
            "end_s": session.end_s,
            "ending": session.ending,
            "day": days[session.number],
            **described.as_columns(),
        }
        for session in report.sessions
    ]
