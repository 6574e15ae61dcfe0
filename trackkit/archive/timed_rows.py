"""A timed recording as rows of the tables of an archive, laid out straight from its report."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from trackkit.archive.columns import CROSSINGS, LAPS, SECTORS, SESSIONS, TRACES, Table
from trackkit.archive.engines import engine
from trackkit.archive.rows import Described, table_of_rows
from trackkit.frames.columns import times_of_day
from trackkit.library.driven_circuit import Found
from trackkit.timing.best_marks import BestMarks, best_marks
from trackkit.timing.crossing_columns import crossing_columns, gate_crossings, lap_of_crossing
from trackkit.timing.report import LapReport
from trackkit.timing.sessions import Session
from trackkit.track.crossed import timed_gates
from trackkit.track.model import Track
from trackkit.track.validity import local_day

if TYPE_CHECKING:
    import pyarrow as pa

_OF_LAP = (
    "kind",
    "complete",
    "counts",
    "start_s",
    "time_s",
    "sigma_s",
    "top_mps",
    "lowest_mps",
    "pit_time_s",
    "pit_speed_mps",
)
_OF_SECTOR = ("time_s", "sigma_s", "split_s", "top_mps", "lowest_mps")


def timed_rows(
    found: Found,
    report: LapReport,
    same: Mapping[str, str],
    described: Described,
    *,
    traces: bool,
) -> dict[str, pa.Table]:
    """Make the rows of a timed recording.

    Parameters
    ----------
    found
        The circuit, as it was driven.
    report
        With its drive.
    same
        What all rows share: SHA-256 of its content, id of the track, and digest of its geometry.
    described
        What people say of it.
    traces
        Whether traces are wanted.

    Returns
    -------
    dict
        Tables of Arrow by the names of the archive's tables.
    """
    days = _session_days(found, report)
    marks = best_marks(found.track, Session(report.name, report.name, report))
    tables = {
        "sessions": table_of_rows(SESSIONS, _session_rows(found, report, same, days, described)),
        "laps": _laid_out(LAPS, _lap_columns(report, marks), same),
        "sectors": _laid_out(SECTORS, _sector_columns(found.track, report, marks), same),
        "crossings": _laid_out(CROSSINGS, _crossing_columns(found.track, report), same),
    }
    if traces:
        from trackkit.frames.laps import traces_frame

        frame = traces_frame(report)
        years = {number: None if day is None else int(day[:4]) for number, day in days.items()}
        frame["year"] = frame["session"].map(years)
        tables["traces"] = _laid_out(TRACES, frame, same)
    return tables


def _lap_columns(report: LapReport, marks: BestMarks) -> dict[str, Any]:
    laps = report.laps
    return {
        "session": [lap.session for lap in laps],
        "lap": [lap.number for lap in laps],
        "missed": [" ".join(lap.missed) for lap in laps],
        "remarks": ["; ".join(remark.text for remark in lap.remarks) for lap in laps],
        "begun": [_moment(report, lap.start_s) for lap in laps],
        "best": [marks.of_lap(lap) for lap in laps],
        **{name: [getattr(lap, name) for lap in laps] for name in _OF_LAP},
    }


def _sector_columns(track: Track, report: LapReport, marks: BestMarks) -> dict[str, Any]:
    gates = timed_gates(track)
    ends = [*gates[1:], gates[0]] if track.closed else gates[1:]
    each = [(lap, place) for lap in report.laps for place in range(len(lap.sectors))]
    begun = [lap.passed[place] for lap, place in each]
    begun_s = [None if crossing is None else crossing.time_s for crossing in begun]
    passed = [lap.passed[place + 1] for lap, place in each]
    of_sector = [lap.sectors[place] for lap, place in each]
    return {
        "session": [lap.session for lap, _ in each],
        "lap": [lap.number for lap, _ in each],
        "kind": [lap.kind for lap, _ in each],
        "sector": [place + 1 for _, place in each],
        "gate": [ends[place].id for _, place in each],
        "gate_name": [ends[place].name for _, place in each],
        "counts": [lap.counts or (lap.is_whole and lap.is_clean(place)) for lap, place in each],
        "begun": [_moment(report, time_s) for time_s in begun_s],
        "start_s": begun_s,
        "gate_speed_mps": [None if end is None else end.speed_mps for end in passed],
        "remarks": [
            "; ".join(remark.text for remark in lap.remarks if place in remark.sectors)
            for lap, place in each
        ],
        "best": [marks.of_sector(lap, place) for lap, place in each],
        **{name: [getattr(sector, name) for sector in of_sector] for name in _OF_SECTOR},
    }


def _crossing_columns(track: Track, report: LapReport) -> dict[str, Any]:
    placed = gate_crossings(report)
    gates = {gate.id: gate for gate in track.gates}
    each = [gates[crossing.crossing.gate] for crossing in placed]
    names = [lap_of_crossing(report, crossing) for crossing in placed]
    columns = crossing_columns(track, report, placed)
    return {
        **columns,
        "session": [session for session, _, _ in names],
        "lap": [lap for _, lap, _ in names],
        "kind": [kind for _, _, kind in names],
        "gate": [gate.id for gate in each],
        "gate_name": [gate.name for gate in each],
        "gate_kind": [gate.kind for gate in each],
        "time_of_day": times_of_day(report.start, columns["time_s"]),
    }


def _moment(report: LapReport, time_s: float | None) -> datetime | None:
    return None if time_s is None else report.time_of_day(time_s)


def _laid_out(table: Table, columns: Any, same: Mapping[str, str]) -> pa.Table:
    """Lay columns out as a table of Arrow; what is the same in all rows is given once."""
    arrow = engine("pyarrow")
    count = len(columns["session"])
    arrays = []
    for field in table.schema:
        if field.name in same:
            arrays.append(arrow.repeat(arrow.scalar(same[field.name], field.type), count))
        else:
            arrays.append(_array(columns[field.name], field.type))
    laid: pa.Table = arrow.Table.from_arrays(arrays, schema=table.schema)
    return laid


def _array(values: Any, kind: Any) -> Any:
    pa = engine("pyarrow")
    if isinstance(values, list):
        return pa.array(values, kind, from_pandas=True)
    array = pa.array(values, from_pandas=True)
    if pa.types.is_dictionary(array.type):
        array = array.dictionary_decode()
    # Moments of numpy and pandas count nanoseconds, which Delta has none of.
    return array.cast(kind, safe=not pa.types.is_timestamp(kind))


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
    same: Mapping[str, str],
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
