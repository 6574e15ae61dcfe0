"""What a coach reads first: best laps and times of each driver, and of the day."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from trackkit.files import csv_text
from trackkit.timing.best_times import sector_terms
from trackkit.timing.driven_once import driven_once, is_copy, is_elsewhere, on_track_s
from trackkit.timing.laps import Lap, SectorTime
from trackkit.timing.sessions import (
    Reference,
    Session,
    lap_difference,
    local_time,
    ranking,
    rfc3339,
)
from trackkit.track.model import Track

BEST = 3
"""So many best laps are named."""


@dataclass(frozen=True, eq=False)
class BestLap:
    """One of the best laps.

    Parameters
    ----------
    of
        The lap, and the recording that it is in.
    equal
        Whether the next one is no slower than by one sigma of their difference.
    """

    of: Reference
    equal: bool


@dataclass(frozen=True, eq=False)
class Summary:
    """The laps of one driver, or of all.

    Parameters
    ----------
    driver
        Who it is about; None for all.
    best
        The best laps, fastest first.
    sectors
        The best time of each sector: the sector, its lap and the recording that is in.
    theoretical_best_s, theoretical_best_sigma_s
        Their sum and its uncertainty, seconds; None without a lap that counts, as below.
    continuous_best_s, continuous_best_sigma_s
        The fastest run over one lap length in one go, and its uncertainty, seconds.
    median_s, spread_s
        Of the lap times that count, seconds.
    laps, laps_counted
        How many have a time, and how many of those count.
    on_track_s
        Time from the beginning to the end of all sessions together, seconds.
    """

    driver: str | None
    best: tuple[BestLap, ...]
    sectors: tuple[tuple[SectorTime, Lap, Session], ...]
    theoretical_best_s: float | None
    theoretical_best_sigma_s: float | None
    continuous_best_s: float | None
    continuous_best_sigma_s: float | None
    median_s: float | None
    spread_s: float | None
    laps: int
    laps_counted: int
    on_track_s: float


def summaries(sessions: Sequence[Session], drivers: Mapping[str, str]) -> list[Summary]:
    """Sum up the laps of each driver, in the order of their recordings, and of all.

    Laps that two recordings hold count once, also where two receivers of one vehicle made them, and
    so does the time on track that they share.

    Parameters
    ----------
    sessions
        The recordings of one circuit.
    drivers
        Who drove in each, by file; the label where it is not there.
    """
    by_driver: dict[str, list[Session]] = {}
    for session in sessions:
        by_driver.setdefault(drivers.get(session.file, session.label), []).append(session)
    # Who has nothing but copies of others drove nothing else.
    new = {
        driver: some
        for driver, some in by_driver.items()
        if not all(is_copy(session.report) for session in some)
    }
    own = [_summary(driver, some, drivers) for driver, some in new.items()]
    return own if len(own) < 2 else [*own, _summary(None, sessions, drivers)]


def _summary(
    driver: str | None, sessions: Sequence[Session], drivers: Mapping[str, str]
) -> Summary:
    on_track = on_track_s(sessions, drivers)
    sessions = driven_once(sessions, drivers)
    ranked = ranking(sessions)
    times = np.array([entry.lap.time_s for entry in ranked], dtype=float)
    sectors = _best_sectors(sessions)
    run = min(
        (session.report for session in sessions if session.report.continuous_best_s is not None),
        key=lambda report: report.continuous_best_s or math.inf,
        default=None,
    )
    every = [
        lap
        for session in sessions
        if not is_copy(session.report)
        for lap in session.report.laps
        if lap.time_s is not None and not is_elsewhere(lap)
    ]
    return Summary(
        driver=driver,
        best=tuple(_is_equal(ranked, place) for place in range(min(BEST, len(ranked)))),
        sectors=tuple(sectors),
        theoretical_best_s=sum(s.time_s or 0.0 for s, _, _ in sectors) if sectors else None,
        theoretical_best_sigma_s=_sum_sigma(sectors),
        continuous_best_s=None if run is None else run.continuous_best_s,
        continuous_best_sigma_s=None if run is None else run.continuous_best_sigma_s,
        median_s=float(np.median(times)) if len(times) else None,
        spread_s=float(times.std(ddof=1)) if len(times) > 1 else None,
        laps=len(every),
        laps_counted=len(ranked),
        on_track_s=on_track,
    )


def _is_equal(ranked: Sequence[Reference], place: int) -> BestLap:
    entry = ranked[place]
    if place + 1 >= len(ranked):
        return BestLap(entry, equal=False)
    behind = ranked[place + 1]
    difference = lap_difference(behind.session, behind.lap, entry)
    return BestLap(entry, difference is not None and difference.time_s <= difference.sigma_s)


def _best_sectors(sessions: Sequence[Session]) -> list[tuple[SectorTime, Lap, Session]]:
    choices: dict[int, list[tuple[SectorTime, Lap, Session]]] = {}
    for session in sessions:
        for index, sector, lap in session.report.best_sectors:
            choices.setdefault(index, []).append((sector, lap, session))
    return [
        min(choices[index], key=lambda choice: choice[0].time_s or math.inf)
        for index in sorted(choices)
    ]


def _sum_sigma(sectors: Sequence[tuple[SectorTime, Lap, Session]]) -> float | None:
    """One sigma of the sum; errors of one recording are correlated, of several independent."""
    if not sectors:
        return None
    reports = {id(session.report): session.report for _, _, session in sectors}
    if len(reports) == 1:
        (report,) = reports.values()
        return report.theoretical_best_sigma_s
    variance = 0.0
    for report in reports.values():
        terms = [
            term
            for index, (_, lap, session) in enumerate(sectors)
            if session.report is report
            for term in sector_terms(lap, index, 1.0)
        ]
        variance += report.sigma_of(terms) ** 2
    return math.sqrt(variance)


def summary_row(summary: Summary, zone: ZoneInfo | None) -> dict[str, Any]:
    """Write a summary as ``laps --json`` does; times in seconds."""
    best_s = summary.best[0].of.lap.time_s if summary.best else None
    return {
        "driver": summary.driver,
        "best_laps": [_best_row(best, zone) for best in summary.best],
        "best_sectors": [
            {
                "sector": index,
                **_where(session, lap),
                "lap_counts": lap.counts,
                "time_s": sector.time_s,
                "sigma_s": sector.sigma_s,
            }
            for index, (sector, lap, session) in enumerate(summary.sectors, start=1)
        ],
        "theoretical_best_s": summary.theoretical_best_s,
        "theoretical_best_sigma_s": summary.theoretical_best_sigma_s,
        "continuous_best_s": summary.continuous_best_s,
        "continuous_best_sigma_s": summary.continuous_best_sigma_s,
        "best_over_theoretical_s": _less(best_s, summary.theoretical_best_s),
        "best_over_continuous_s": _less(best_s, summary.continuous_best_s),
        "median_s": summary.median_s,
        "spread_s": summary.spread_s,
        "laps": summary.laps,
        "laps_counted": summary.laps_counted,
        "on_track_s": summary.on_track_s,
    }


def _best_row(best: BestLap, zone: ZoneInfo | None) -> dict[str, Any]:
    session, lap = best.of.session, best.of.lap
    begun = None if lap.start_s is None else session.report.time_of_day(lap.start_s)
    return {
        **_where(session, lap),
        "time_s": lap.time_s,
        "sigma_s": lap.sigma_s,
        "begun": rfc3339(begun),
        "begun_local": rfc3339(local_time(begun, zone)),
        "equal_to_next": best.equal,
    }


def _where(session: Session, lap: Lap) -> dict[str, Any]:
    return {
        "file": session.file,
        "label": session.label,
        "session": lap.session,
        "lap": lap.number,
    }


def _less(longer_s: float | None, shorter_s: float | None) -> float | None:
    return None if longer_s is None or shorter_s is None else longer_s - shorter_s


SUMMARY_COLUMNS = (
    "track",
    "driver",
    "what",
    "number",
    "time_s",
    "sigma_s",
    "below_best_s",
    "laps",
    "file",
    "label",
    "session",
    "lap",
    "lap_counts",
    "begun",
    "begun_local",
    "equal_to_next",
)
"""`driver` is empty for all of them; `number` is the place of a best lap, or the sector."""


def summary_csv(track: Track, summed_up: Sequence[Summary], zone: ZoneInfo | None) -> str:
    """Write summaries as CSV: a row for each best lap, best sector and other figure (`what`)."""
    return csv_text(
        SUMMARY_COLUMNS,
        (
            [{"track": track.id, "driver": summary.driver, **row}.get(n) for n in SUMMARY_COLUMNS]
            for summary in summed_up
            for row in _csv_rows(summary_row(summary, zone))
        ),
    )


def _csv_rows(row: Mapping[str, Any]) -> Iterator[dict[str, object]]:
    for place, best in enumerate(row["best_laps"], start=1):
        yield {**best, "what": "best lap", "number": place, "lap_counts": True}
    for best in row["best_sectors"]:
        yield {**best, "what": "best sector", "number": best["sector"]}
    for name in ("theoretical", "continuous"):
        yield {
            "what": f"{name} best",
            "time_s": row[f"{name}_best_s"],
            "sigma_s": row[f"{name}_best_sigma_s"],
            "below_best_s": row[f"best_over_{name}_s"],
        }
    yield {"what": "median", "time_s": row["median_s"]}
    yield {"what": "spread", "time_s": row["spread_s"]}
    yield {"what": "time on track", "time_s": row["on_track_s"]}
    yield {"what": "laps", "laps": row["laps"]}
    yield {"what": "laps counted", "laps": row["laps_counted"]}
