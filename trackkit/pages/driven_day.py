"""What a page says first of the laps on it: summaries of drivers, and which laps are the best."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from trackkit.timing.best_marks import best_laps, best_of_sector
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.sessions import Session
from trackkit.timing.summary import Summary, summaries


def day_document(reports: Sequence[LapReport], drivers: Sequence[str]) -> dict[str, Any] | None:
    """Sum up laps by driver, and mark the best laps and sectors of each recording.

    Parameters
    ----------
    reports
        The laps of each recording.
    drivers
        Who drove in each.

    Returns
    -------
    dict or None
        Ready for `json.dumps`, as pages/web/base.schema.json says; None where no lap has a time.
    """
    if not any(lap.time_s is not None for report in reports for lap in report.laps):
        return None
    sessions = [
        Session(str(place), name, report)
        for place, (report, name) in enumerate(zip(reports, drivers, strict=True))
    ]
    # A recording that goes by its file says nothing of who drove.
    names = {s.file: s.label for s in sessions if s.label != s.report.name}
    return {
        "summaries": [_summary_row(summary) for summary in summaries(sessions, names)],
        "bests": [
            {
                "laps": _numbers(best_laps(session)),
                "sectors": [
                    _numbers(best_of_sector(session, sector)) for sector in range(_sectors(session))
                ],
            }
            for session in sessions
        ],
    }


def _summary_row(summary: Summary) -> dict[str, Any]:
    return {
        "driver": summary.driver,
        "best_laps": [
            {
                "recording": int(best.of.session.file),
                "session": best.of.lap.session,
                "number": best.of.lap.number,
                "equal_to_next": best.equal,
            }
            for best in summary.best
        ],
        "median_s": summary.median_s,
        "spread_s": summary.spread_s,
        "theoretical_best_s": summary.theoretical_best_s,
        "theoretical_best_sigma_s": summary.theoretical_best_sigma_s,
        "continuous_best_s": summary.continuous_best_s,
        "continuous_best_sigma_s": summary.continuous_best_sigma_s,
        "laps": summary.laps,
        "laps_counted": summary.laps_counted,
    }


def _sectors(session: Session) -> int:
    return max((len(lap.sectors) for lap in session.report.laps), default=0)


def _numbers(laps: Iterable[Lap]) -> list[list[int]]:
    return [[lap.session, lap.number] for lap in laps]
