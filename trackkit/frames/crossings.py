"""Crossings of gates as a frame of pandas."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.frames.columns import frame_of, times_of_day
from trackkit.frames.laps import listed_reports, timed_sessions
from trackkit.timing import crossing_columns
from trackkit.timing.column_names import AT_CROSSING, CROSSING_COLUMNS, CROSSING_TEXTS
from trackkit.timing.crossing_columns import GateCrossing, gate_crossings, lap_of_crossing
from trackkit.timing.report import LapReport
from trackkit.track.model import Track

if TYPE_CHECKING:
    from pandas import DataFrame


def crossings_frame(
    reports: LapReport | Iterable[LapReport],
    *,
    drivers: Mapping[str, str] | None = None,
) -> DataFrame:
    """Lay the crossings of all gates out as a frame, a row a crossing.

    A row is where the vehicle passed the line between a gate's ends.  The crossing that ends a lap
    and begins the next is the row of the lap that it ends.

    Parameters
    ----------
    reports
        With their drives, as `time_laps` gives them.
    drivers
        Who drove, by the recordings' names or the names of their files.

    Returns
    -------
    DataFrame
        Which lap, 0 and of no kind where the first has not begun; the gate, its name and kind; time
        of day, UTC; seconds since the first fix; elapsed seconds since the lap's first crossing,
        missing in an out lap; chainage, metres; longitude within ±180 and latitude, degrees; speed,
        m/s; acceleration along the direction of travel and to the left of it, m/s^2; distance to
        the left of the centreline, metres; and one sigma of each that has one.

    Raises
    ------
    TrackkitError
        When a report was made by hand, or its drive was not kept.

    Examples
    --------
    >>> import trackkit
    >>> "gate" in trackkit.crossings_frame([])
    True
    """
    import pandas as pd

    columns: dict[str, list[Any]] = {name: [] for name in CROSSING_TEXTS}
    parts: dict[str, list[Any]] = {name: [np.empty(0)] for name in AT_CROSSING}
    parts["time_of_day"] = [times_of_day(None, np.empty(0))]
    for track, session, driver in timed_sessions(listed_reports(reports), drivers):
        report = session.report
        crossings = gate_crossings(report)
        of_report = crossing_columns.crossing_columns(track, report, crossings)
        parts["time_of_day"].append(times_of_day(report.start, of_report["time_s"]))
        for name, values in of_report.items():
            parts[name].append(values)
        for placed in crossings:
            row = _texts(track, report, placed)
            for name, value in {**row, "recording": session.file, "driver": driver}.items():
                columns[name].append(value)
    whole = {name: np.concatenate(values) for name, values in parts.items()}
    texts = frame_of(CROSSING_TEXTS, columns)
    return pd.concat([texts, frame_of(tuple(whole), whole)], axis=1)[list(CROSSING_COLUMNS)]


def _texts(track: Track, report: LapReport, placed: GateCrossing) -> dict[str, Any]:
    gate = track.gate(placed.crossing.gate)
    session, lap, kind = lap_of_crossing(report, placed)
    return {
        "track": track.id,
        "session": session,
        "lap": lap,
        "kind": kind,
        "gate": gate.id,
        "gate_name": gate.name,
        "gate_kind": gate.kind,
    }
