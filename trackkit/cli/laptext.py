"""The laps of recordings as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.channel_text import print_channels
from trackkit.cli.common import duration, table
from trackkit.cli.official_text import print_pairing
from trackkit.cli.time_cells import (
    difference_cell,
    difference_sigma,
    plain_time,
    speed_cell,
    time_cell,
)
from trackkit.timing.best_marks import Mark, best_marks
from trackkit.timing.decimals import decimals
from trackkit.timing.sessions import (
    lap_difference,
    lap_name,
    local_time,
    passages,
    ranking,
    sector_differences,
)
from trackkit.units import as_read, units

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from trackkit.official.pairing import Pairing
    from trackkit.timing.best_marks import BestMarks
    from trackkit.timing.driving_sessions import DrivingSession
    from trackkit.timing.laps import Lap, SectorTime
    from trackkit.timing.report import LapReport
    from trackkit.timing.sessions import Reference, Session
    from trackkit.track.model import Track

_RANKED = 10
_SIGNS: dict[Mark | None, str] = {"alone": "*", "equal": "=", None: " "}


def print_sessions(
    track: Track,
    sessions: Sequence[Session],
    reference: Reference | None,
    zone: ZoneInfo | None,
    pairings: Sequence[Pairing | None],
    *,
    details: bool,
) -> None:
    """Print the laps of each session, and a ranking where there are several."""
    for number, (session, pairing) in enumerate(zip(sessions, pairings, strict=True)):
        if number:
            click.echo()
        _print_session(track, session, reference, zone)
        if details and session.report.laps:
            _print_details(track, session, reference)
            print_channels(session.report)
        if pairing is not None:
            print_pairing(pairing, session.report)
    if len(sessions) > 1:
        _print_ranking(sessions)
    if any(session.report.laps for session in sessions):
        click.echo(
            "± is one sigma of a time, * the best of its column, = bests that cannot be told "
            f"apart; speeds are in {units().speed}"
        )
    if reference is not None:
        whose = f" of {reference.session.label}" if len(sessions) > 1 else ""
        name = lap_name(reference.session.report, reference.lap)
        click.echo(f"differences are to lap {name}{whose}")


def _print_session(
    track: Track, session: Session, reference: Reference | None, zone: ZoneInfo | None
) -> None:
    report = session.report
    file = "" if session.label == session.file else f" ({session.file})"
    click.echo(f"{session.label}{file}: {_counting(report.laps, track.title)}")
    start = report.start
    if start is not None:
        local = local_time(start, zone)
        there = f", {local:%Y-%m-%d %H:%M:%S} {track.timezone}" if local else ""
        click.echo(f"begun {start:%Y-%m-%d %H:%M:%S} UTC{there}")
    copied = [shared.first for shared in report.shared if shared.whole]
    if copied:
        click.echo(f"holds nothing but fixes of {copied[0]}: see there")
        return
    if not report.laps:
        click.echo(
            "no gate was crossed: the recording may be of another circuit (`trackkit locate`)"
        )
        return
    marks = best_marks(track, session)
    if len(report.sessions) < 2:
        for driving in report.sessions:
            if driving.ending != "recording":
                click.echo(f"driving {driving.sentence}")
        _print_laps(session, marks, report.laps, reference, zone)
    else:
        for driving in report.sessions:
            laps = [lap for lap in report.laps if lap.session == driving.number]
            click.echo()
            click.echo(
                f"session {driving.number}, {_span(session, driving, zone)}: {_counting(laps)}; "
                f"{driving.sentence}"
            )
            if laps:
                _print_laps(session, marks, laps, reference, zone)
        click.echo("2.5 is lap 5 of session 2")
    _print_missed(track, session)
    _print_speed_gates(track, session, marks)
    if report.best_lap_s is None:
        _print_why_none(report)
        return
    _print_bests(track, session)


def _counting(laps: Sequence[Lap], title: str = "") -> str:
    """Say how many laps, of which circuit, are complete and flying, and how many of them count."""
    flying = sum(lap.is_whole for lap in laps)
    count = sum(lap.counts for lap in laps)
    text = f"{flying} complete flying lap{'' if flying == 1 else 's'}"
    text += f" of {title}" if title else ""
    return text if count == flying else f"{text}, of which {count} count{'s' * (count == 1)}"


def _span(session: Session, driving: DrivingSession, zone: ZoneInfo | None) -> str:
    begin = session.report.time_of_day(driving.begin_s)
    end = session.report.time_of_day(driving.end_s)
    if begin is None or end is None:
        return f"{duration(driving.begin_s, 0)} to {duration(driving.end_s, 0)}"
    begin, end = local_time(begin, zone) or begin, local_time(end, zone) or end
    where = "" if zone is not None else " UTC"
    return f"{begin:%Y-%m-%d %H:%M:%S} to {end:%H:%M:%S}{where}"


def _print_why_none(report: LapReport) -> None:
    if any(_is_aside(lap) for lap in report.laps):
        click.echo("no lap counts: --all-laps counts those with something wrong with them")
        return
    missed = any(lap.missed for lap in report.laps)
    hint = ": is it another layout? `trackkit locate` tells the circuits near" if missed else ""
    click.echo(f"no complete flying lap{hint}")


def _print_laps(
    session: Session,
    marks: BestMarks,
    laps: Sequence[Lap],
    reference: Reference | None,
    zone: ZoneInfo | None,
) -> None:
    report = session.report
    sectors = range(len(report.laps[0].sectors))
    pits = any(lap.pit_visits for lap in laps)
    aside = any(_is_aside(lap) for lap in laps)
    rows = [
        [
            lap_name(report, lap),
            lap.kind,
            _begun(session, lap, zone),
            time_cell(lap.time_s, lap.sigma_s, _SIGNS[marks.of_lap(lap)]),
            difference_cell(lap_difference(session, lap, reference)),
            *(
                time_cell(sector.time_s, sector.sigma_s, _SIGNS[marks.of_sector(lap, index)])
                for index, sector in enumerate(lap.sectors)
            ),
            speed_cell(lap.top_mps),
            speed_cell(lap.lowest_mps),
            *([_pit_time(lap), speed_cell(lap.pit_speed_mps)] if pits else []),
            *(["no" if _is_aside(lap) else ""] if aside else []),
        ]
        for lap in laps
    ]
    headings = [
        "lap",
        "kind",
        "begun",
        "time",
        "diff.",
        *(f"sector {i + 1}" for i in sectors),
        "top",
        "low",
        *(["pit time", "pit top"] if pits else []),
        *(["counts"] if aside else []),
    ]
    table(headings, rows)
    _print_remarks(report, laps)


def _is_aside(lap: Lap) -> bool:
    """Tell whether a lap would count, had nothing been wrong with it."""
    return lap.set_aside and lap.is_whole


def _print_remarks(report: LapReport, laps: Sequence[Lap]) -> None:
    for lap in laps:
        if lap.remarks:
            aside = " does not count" if _is_aside(lap) else ""
            texts = "; ".join(as_read(remark.text) for remark in lap.remarks)
            click.echo(f"lap {lap_name(report, lap)}{aside}: {texts}")


def _pit_time(lap: Lap) -> str:
    return "-" if lap.pit_time_s is None else duration(lap.pit_time_s, 1)


def _begun(session: Session, lap: Lap, zone: ZoneInfo | None) -> str:
    if lap.start_s is None:
        return "-"
    moment = session.report.time_of_day(lap.start_s)
    if moment is None:
        return duration(lap.start_s, 1)
    return f"{local_time(moment, zone) or moment:%H:%M:%S}"


def _print_missed(track: Track, session: Session) -> None:
    laps_by_gate: dict[str, list[str]] = {}
    for lap in session.report.laps:
        for gate in lap.missed:
            laps_by_gate.setdefault(gate, []).append(lap_name(session.report, lap))
    for gate, numbers in laps_by_gate.items():
        several = "s" if len(numbers) > 1 else ""
        click.echo(f"missed: {track.gate(gate).name} on lap{several} {', '.join(numbers)}")


def _print_speed_gates(track: Track, session: Session, marks: BestMarks) -> None:
    for gate in track.gates_of_kind("speed"):
        passed = [
            (lap, crossing)
            for lap in session.report.laps
            for crossing in lap.speed_gates
            if crossing.gate == gate.id
        ]
        if not passed:
            click.echo(f"{gate.name}: not passed")
            continue
        click.echo()
        table(
            [gate.name, units().speed, "since the lap began"],
            [
                [
                    f"lap {lap_name(session.report, lap)}",
                    speed_cell(crossing.speed_mps) + _SIGNS[marks.speeds.get(crossing)],
                    "-"
                    if lap.passed[0] is None
                    else duration(crossing.time_s - lap.passed[0].time_s, 2),
                ]
                for lap, crossing in passed
            ],
        )


def _print_bests(track: Track, session: Session) -> None:
    report = session.report
    best, run = report.best_lap, report.continuous_from
    if best is None or report.best_lap_s is None or run is None:
        return
    sigma = best.sigma_s
    lines = [("best lap", report.best_lap_s, sigma, f"lap {lap_name(report, best)}")]
    lap = next(lap for lap in report.counted if run in lap.passed)
    where = f"from {track.gate(run.gate).name}, lap {lap_name(report, lap)}"
    lines.append(
        ("continuous best", report.continuous_best_s or 0.0, report.continuous_best_sigma_s, where)
    )
    lines.append(
        (
            "theoretical best",
            report.theoretical_best_s or 0.0,
            report.theoretical_best_sigma_s,
            "the best sectors together" + _from_others(report),
        )
    )
    for name, time, of_it, note in lines:
        less = report.best_lap_s - time
        apart = f", {duration(less, decimals(of_it))} below the best lap" if less > 0 else ""
        click.echo(f"{name} {plain_time(time, of_it)}{apart} ({note})")
    if report.spread_s is not None:
        click.echo(
            f"median {duration(report.median_s, decimals(sigma))}, spread "
            f"{duration(report.spread_s, decimals(sigma))} (standard deviation)"
        )


def _from_others(report: LapReport) -> str:
    """Say which best sectors are of laps that do not count."""
    others = [
        f"sector {index + 1} of lap {lap_name(report, lap)}"
        for index, _, lap in report.best_sectors
        if not lap.counts
    ]
    return f"; {' and '.join(others)}, clean in a lap that does not count" if others else ""


def _print_details(track: Track, session: Session, reference: Reference | None) -> None:
    rows = []
    for lap in session.report.laps:
        ends = [crossing for _, crossing in passages(track, lap)]
        compared = sector_differences(session, lap, reference)
        for index, (sector, difference) in enumerate(zip(lap.sectors, compared, strict=True)):
            end = ends[index + 1]
            rows.append(
                [
                    lap_name(session.report, lap),
                    str(index + 1),
                    time_cell(sector.time_s, sector.sigma_s),
                    _split(sector),
                    difference_cell(difference)
                    + ("" if difference is None else difference_sigma(difference)),
                    speed_cell(sector.top_mps),
                    speed_cell(sector.lowest_mps),
                    "-" if end is None else speed_cell(end.speed_mps),
                ]
            )
    click.echo()
    table(["lap", "sector", "time", "split", "difference", "top", "low", "at its end"], rows)


def _split(sector: SectorTime) -> str:
    return duration(sector.split_s, decimals(sector.sigma_s))


def _print_ranking(sessions: Sequence[Session]) -> None:
    ranked = ranking(sessions)
    if not ranked:
        return
    click.echo()
    rows = []
    for rank, entry in enumerate(ranked[:_RANKED], start=1):
        difference = lap_difference(entry.session, entry.lap, ranked[0])
        rows.append(
            [
                str(rank),
                entry.session.label,
                lap_name(entry.session.report, entry.lap),
                time_cell(entry.lap.time_s, entry.lap.sigma_s),
                difference_cell(difference)
                + ("" if difference is None else difference_sigma(difference)),
            ]
        )
    table(["rank", "recording", "lap", "time", "behind the first"], rows)
    if len(ranked) > _RANKED:
        click.echo(f"and {len(ranked) - _RANKED} more laps")
