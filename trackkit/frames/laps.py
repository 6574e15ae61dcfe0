"""Laps, sectors and traces of reports as frames of pandas."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import TrackkitError
from trackkit.frames.columns import columns_of, frame_of, series_of, times_of_day
from trackkit.recordings.channel import distinct_names
from trackkit.timing import trace_columns
from trackkit.timing.best_marks import best_marks
from trackkit.timing.channels import channel_at, channel_cells, channel_columns, channel_titles
from trackkit.timing.column_names import LAP_COLUMNS, SECTOR_COLUMNS, TRACE_COLUMNS, WHICH
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.rows import lap_row, marked_row
from trackkit.timing.sessions import Reference, Session, choose_reference
from trackkit.track.model import Track

if TYPE_CHECKING:
    from pandas import DataFrame

_NO_MOMENTS = np.empty(0, dtype="datetime64[ns]")


def laps_frame(
    reports: LapReport | Iterable[LapReport],
    *,
    drivers: Mapping[str, str] | None = None,
    reference: str | None = None,
) -> DataFrame:
    """Lay the laps of one report or many out as a frame, a row a lap.

    Parameters
    ----------
    reports
        From `time_laps` or `time_many`, of one track or several.
    drivers
        Who drove, by the recordings' names or the names of their files.
    reference
        The lap that others of the track are compared with, as ``trackkit laps --reference`` takes
        it; the fastest that counts of each track when None.

    Returns
    -------
    DataFrame
        The rows of ``trackkit laps --json``, flattened: which lap it is (track, recording, driver,
        session, lap), times and sigmas in seconds, speeds in m/s, times of day in UTC; gates missed
        and remarks as texts; ``best`` is ``alone`` where the lap is surely the best of its
        recording and ``equal`` where it cannot be told from it.  Three columns a channel follow,
        such as ``RPM least``, ``RPM largest`` and ``RPM mean``, in its own unit.

    Raises
    ------
    TrackkitError
        When a report was made by hand, without a track, or there is no such reference lap.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.laps_frame([]).columns[:5].tolist()
    ['track', 'recording', 'driver', 'session', 'lap']
    """
    listed = listed_reports(reports)
    return _laps_frame(_each_lap(listed, drivers, reference), _figure_columns(listed))


def _laps_frame(each: Iterable[_EachLap], channels: Sequence[str]) -> DataFrame:
    rows = (
        {
            **row,
            **which,
            "missed": " ".join(row["missed"]),
            "remarks": "; ".join(remark["text"] for remark in row["remarks"]),
            "begun": None if lap.start_s is None else session.report.time_of_day(lap.start_s),
            **channel_cells(lap.channels),
        }
        for _, session, lap, which, row in each
    )
    return frame_of(LAP_COLUMNS, columns_of((*LAP_COLUMNS, *channels), rows), channels)


def sectors_frame(
    reports: LapReport | Iterable[LapReport],
    *,
    drivers: Mapping[str, str] | None = None,
    reference: str | None = None,
) -> DataFrame:
    """Lay the sectors of one report or many out as a frame, a row a sector of a lap.

    Parameters
    ----------
    reports, drivers, reference
        As for `laps_frame`.

    Returns
    -------
    DataFrame
        The sectors of ``trackkit laps --json``, flattened: which lap, the sector from 1, the gate
        at its end, whether it may be the best, times and sigmas in seconds, speeds in m/s, and what
        channels were in it, as in `laps_frame`.

    Raises
    ------
    TrackkitError
        As for `laps_frame`.

    Examples
    --------
    >>> import trackkit
    >>> "split_s" in trackkit.sectors_frame([])
    True
    """
    listed = listed_reports(reports)
    return _sectors_frame(_each_lap(listed, drivers, reference), _figure_columns(listed))


def _sectors_frame(each: Iterable[_EachLap], channels: Sequence[str]) -> DataFrame:
    rows = (
        sector
        for track, session, lap, which, row in each
        for sector in _sector_rows(track, session, lap, which, row)
    )
    return frame_of(SECTOR_COLUMNS, columns_of((*SECTOR_COLUMNS, *channels), rows), channels)


def traces_frame(
    reports: LapReport | Iterable[LapReport],
    *,
    drivers: Mapping[str, str] | None = None,
) -> DataFrame:
    """Lay the laps of one report or many out along the track as a frame, a row a metre of a lap.

    A row is where the vehicle passed the line square to the track at a chainage, so that what is
    not known of its place along the track is in the sigma of the elapsed time.

    Parameters
    ----------
    reports
        With their drives, as `time_laps` gives them; laps without a time are left out.
    drivers
        As for `laps_frame`.

    Returns
    -------
    DataFrame
        Which lap; chainage, metres; elapsed time since it began, seconds; time of day, UTC;
        longitude within ±180 and latitude, degrees; height as the receiver gave it and distance to
        the left of the centreline, metres; speed, m/s; acceleration along the direction of travel
        and to the left of it, m/s^2; and one sigma of each that has one.  Channels follow, read
        where each place was passed; one that is called as another column has a number behind it.

    Raises
    ------
    TrackkitError
        When a report was made by hand, or its drive was not kept.

    Examples
    --------
    >>> import trackkit
    >>> "offset_sigma_m" in trackkit.traces_frame([])
    True
    """
    listed = listed_reports(reports)
    traced: list[TracedLap] = []
    for track, session, driver in timed_sessions(listed, drivers):
        report = session.report
        for lap, columns in trace_columns.trace_columns(track, report.drive, report.laps):
            which = (track.id, report.name, driver, lap.session, lap.number, lap.kind)
            channels = {
                channel.title: channel_at(channel, columns["time_s"])
                for channel in report.drive.recording.channels
            }
            traced.append(TracedLap(which, report.start, columns, channels))
    titles = (channel.title for report in listed for channel in report.drive.recording.channels)
    return flattened(traced, tuple(dict.fromkeys(titles)))


@dataclass(frozen=True, eq=False)
class TracedLap:
    """Which lap, when its recording began, its `trace_columns` and its channels there, by title."""

    which: tuple[Any, ...]
    start: datetime | None
    columns: Mapping[str, Floats]
    channels: Mapping[str, Floats]


def flattened(laps: Sequence[TracedLap], channels: Sequence[str]) -> DataFrame:
    """Lay traced laps and their channels, by title, out below each other as one frame."""
    import pandas as pd

    counts = [len(lap.columns["time_s"]) for lap in laps]
    index = np.repeat(np.arange(len(laps)), counts)
    series: dict[str, Any] = {}
    for place, name in enumerate((*WHICH, "kind")):
        series[name] = series_of(name, [lap.which[place] for lap in laps]).array.take(index)
    moments = [times_of_day(lap.start, lap.columns["time_s"]) for lap in laps]
    series["time_of_day"] = series_of("time_of_day", np.concatenate([_NO_MOMENTS, *moments]))
    for name in TRACE_COLUMNS:
        if name not in series:
            series[name] = np.concatenate([np.empty(0), *(lap.columns[name] for lap in laps)])
    names = distinct_names((*TRACE_COLUMNS, *channels))
    for name, title in zip(names[len(TRACE_COLUMNS) :], channels, strict=True):
        parts = [
            lap.channels[title] if title in lap.channels else np.full(count, np.nan)
            for lap, count in zip(laps, counts, strict=True)
        ]
        series[name] = np.concatenate([np.empty(0), *parts])
    return pd.DataFrame({name: series[name] for name in names}, copy=False)


def listed_reports(reports: LapReport | Iterable[LapReport]) -> list[LapReport]:
    """Make a list of one report or of many."""
    return [reports] if isinstance(reports, LapReport) else list(reports)


def _figure_columns(reports: Sequence[LapReport]) -> list[str]:
    return channel_columns(channel_titles(lap for report in reports for lap in report.laps))


_EachLap = tuple[Track, Session, Lap, dict[str, Any], dict[str, Any]]


def _each_lap(
    reports: Sequence[LapReport],
    drivers: Mapping[str, str] | None,
    wanted: str | None,
) -> Iterator[_EachLap]:
    """Go through laps: their track and session, which lap it is, and its row of JSON."""
    every = timed_sessions(reports, drivers)
    by_track: dict[str, list[Session]] = {}
    for track, session, _ in every:
        by_track.setdefault(track.id, []).append(session)
    if wanted is None:
        references = {name: choose_reference(sessions) for name, sessions in by_track.items()}
    else:
        chosen = choose_reference([session for _, session, _ in every], wanted)
        references = {
            name: chosen
            for name, sessions in by_track.items()
            if chosen is not None and chosen.session in sessions
        }
    for track, session, driver in every:
        reference: Reference | None = references.get(track.id)
        marks = best_marks(track, session)
        for lap in session.report.laps:
            row = marked_row(lap_row(track, session, lap, reference), track, lap, marks)
            which = (track.id, session.file, driver, lap.session, lap.number)
            yield track, session, lap, dict(zip(WHICH, which, strict=True)), row


def _sector_rows(
    track: Track, session: Session, lap: Lap, which: dict[str, Any], row: dict[str, Any]
) -> Iterator[dict[str, Any]]:
    for index, sector in enumerate(row["sectors"]):
        begun, end = lap.passed[index], row["gates"][index + 1]
        spoiling = [remark.text for remark in lap.remarks if index in remark.sectors]
        yield {
            **sector,
            **which,
            **channel_cells(lap.sectors[index].channels),
            "kind": lap.kind,
            "sector": index + 1,
            "gate": end["gate"],
            "gate_name": track.gate(end["gate"]).name,
            "gate_speed_mps": end["speed_mps"],
            "counts": lap.counts or (lap.is_whole and lap.is_clean(index)),
            "start_s": None if begun is None else begun.time_s,
            "begun": None if begun is None else session.report.time_of_day(begun.time_s),
            "remarks": "; ".join(spoiling),
        }


def timed_sessions(
    reports: Sequence[LapReport], drivers: Mapping[str, str] | None
) -> list[tuple[Track, Session, str | None]]:
    """Give each report its track and its driver."""
    names = drivers or {}
    sessions = []
    for report in reports:
        driver = names.get(report.name, names.get(Path(report.name).name))
        session = Session(report.name, driver or report.name, report)
        sessions.append((report.timed_track, session, driver))
    unused = sorted(set(names) - {n for r in reports for n in (r.name, Path(r.name).name)})
    if unused:
        raise TrackkitError(
            f"no recording is called {unused[0]!r}, which a driver is given for",
            remedy="name recordings as their reports do",
        )
    return sessions
