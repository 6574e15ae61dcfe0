"""The summary of a day as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import duration, table
from trackkit.cli.time_cells import plain_time
from trackkit.timing.decimals import decimals
from trackkit.timing.driving_sessions import span_text
from trackkit.timing.sessions import lap_name, local_time

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from trackkit.timing.sessions import Session
    from trackkit.timing.summary import BestLap, Summary


def print_summaries(summaries: Sequence[Summary], zone: ZoneInfo | None) -> None:
    """Print who was how fast, and when; the laps follow elsewhere."""
    rows = []
    for summary in summaries:
        for place, best in enumerate(summary.best, start=1):
            lap = best.of.lap
            rows.append(
                [
                    (summary.driver or "all") if place == 1 else "",
                    str(place),
                    plain_time(lap.time_s, lap.sigma_s),
                    _mark(summary, place),
                    lap_name(best.of.session.report, lap),
                    _when(best, zone),
                    best.of.session.file,
                ]
            )
    if rows:
        table(["driver", "best", "time", "", "lap", "begun", "recording"], rows)
    for summary in summaries:
        first, *others = _lines(summary)
        click.echo(f"{summary.driver or 'all'}: {first}")
        for line in others:
            click.echo(f"  {line}")
    click.echo("* is faster than the next by more than one sigma of their difference, = is not")
    click.echo()


def _mark(summary: Summary, place: int) -> str:
    """Mark laps that cannot be told from the one before or after them, or the best."""
    of_pair = summary.best[max(place - 2, 0) : place]
    if any(best.equal for best in of_pair):
        return "="
    return "*" if place == 1 else ""


def _when(best: BestLap, zone: ZoneInfo | None) -> str:
    start_s = best.of.lap.start_s
    moment = None if start_s is None else best.of.session.report.time_of_day(start_s)
    if moment is None:
        return duration(start_s, 1)
    return f"{local_time(moment, zone) or moment:%Y-%m-%d %H:%M:%S}"


def _lines(summary: Summary) -> list[str]:
    laps = f"{summary.laps} lap{'' if summary.laps == 1 else 's'}"
    driven = f"{summary.laps_counted} of {laps} count, {span_text(summary.on_track_s)} on track"
    if summary.median_s is not None and summary.spread_s is not None:
        sigma = summary.best[0].of.lap.sigma_s
        median, spread = (
            duration(time_s, decimals(sigma)) for time_s in (summary.median_s, summary.spread_s)
        )
        driven += f", median {median}, spread {spread}"
    lines = [driven]
    best_s = summary.best[0].of.lap.time_s if summary.best else None
    for name, time_s, sigma_s in (
        ("continuous best", summary.continuous_best_s, summary.continuous_best_sigma_s),
        ("theoretical best", summary.theoretical_best_s, summary.theoretical_best_sigma_s),
    ):
        if time_s is not None and best_s is not None:
            below = duration(best_s - time_s, decimals(sigma_s))
            lines.append(f"{name} {plain_time(time_s, sigma_s)}, {below} below the best lap")
    if len(summary.sectors) > 1:
        times = [plain_time(sector.time_s, sector.sigma_s) for sector, _, _ in summary.sectors]
        lines.append(f"best sectors {', '.join(times)}")
    return lines


def is_worth_a_summary(sessions: Sequence[Session]) -> bool:
    """Tell whether there are several recordings or sessions to sum up."""
    return sum(len(session.report.sessions) for session in sessions) > 1
