"""The laps of recordings as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import duration, table
from trackkit.official.pairing import SURE
from trackkit.timing.sessions import (
    Difference,
    decimals,
    lap_difference,
    local_time,
    passages,
    ranking,
    sector_differences,
)

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from trackkit.official.pairing import Agreement, Pairing
    from trackkit.timing.laps import Lap, SectorTime
    from trackkit.timing.sessions import Reference, Session
    from trackkit.track.model import Track

_RANKED = 10
_KMH = 3.6


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
        if pairing is not None:
            _print_pairing(pairing)
    if len(sessions) > 1:
        _print_ranking(sessions)
    if any(session.report.laps for session in sessions):
        click.echo("± is one sigma of a time, * the best of its column; speeds are in km/h")
    if reference is not None:
        whose = f" of {reference.session.label}" if len(sessions) > 1 else ""
        click.echo(f"differences are to lap {reference.lap.number}{whose}")


def _print_session(
    track: Track, session: Session, reference: Reference | None, zone: ZoneInfo | None
) -> None:
    report = session.report
    count = len(report.counted)
    file = "" if session.label == session.file else f" ({session.file})"
    click.echo(
        f"{session.label}{file}: {count} complete flying lap{'' if count == 1 else 's'} of "
        f"{track.title}"
    )
    start = report.start
    if start is not None:
        local = local_time(start, zone)
        there = f", {local:%Y-%m-%d %H:%M:%S} {track.timezone}" if local else ""
        click.echo(f"begun {start:%Y-%m-%d %H:%M:%S} UTC{there}")
    if not report.laps:
        click.echo(
            "no gate was crossed: the recording may be of another circuit (`trackkit locate`)"
        )
        return
    _print_laps(session, reference, zone)
    _print_missed(track, session)
    _print_speed_gates(track, session)
    if report.best_lap_s is None:
        missed = any(lap.missed for lap in report.laps)
        hint = ": is it another layout? `trackkit locate` tells the circuits near" if missed else ""
        click.echo(f"no complete flying lap{hint}")
        return
    _print_bests(track, session)


def _print_laps(session: Session, reference: Reference | None, zone: ZoneInfo | None) -> None:
    report = session.report
    sectors = range(len(report.laps[0].sectors))
    best = [
        min((lap.sectors[i].time_s or 0.0 for lap in report.counted), default=None) for i in sectors
    ]
    pits = any(lap.pit_visits for lap in report.laps)
    rows = []
    for lap in report.laps:
        counted = best if lap.counts else [None] * len(best)
        rows.append(
            [
                str(lap.number),
                lap.kind,
                _begun(session, lap, zone),
                time_cell(lap.time_s, lap.sigma_s, report.best_lap_s if lap.counts else None),
                difference_cell(lap_difference(session, lap, reference)),
                *(
                    time_cell(sector.time_s, sector.sigma_s, fastest)
                    for sector, fastest in zip(lap.sectors, counted, strict=True)
                ),
                _speed(lap.top_mps),
                _speed(lap.lowest_mps),
                *([_pit_time(lap), _speed(lap.pit_speed_mps)] if pits else []),
            ]
        )
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
    ]
    table(headings, rows)


def _pit_time(lap: Lap) -> str:
    return "-" if lap.pit_time_s is None else duration(lap.pit_time_s, 1)


def _begun(session: Session, lap: Lap, zone: ZoneInfo | None) -> str:
    if lap.start_s is None:
        return "-"
    moment = session.report.time_of_day(lap.start_s)
    if moment is None:
        return duration(lap.start_s, 1)
    return f"{local_time(moment, zone) or moment:%H:%M:%S}"


def time_cell(time_s: float | None, sigma_s: float | None, best_s: float | None = None) -> str:
    """Write a time with as many decimals as its uncertainty supports, and the uncertainty.

    Decimal points line up; the best of its column has a star, the others room for one.
    """
    if time_s is None:
        return "-"
    star = "*" if time_s == best_s else " "
    places = decimals(sigma_s)
    room = " " * (3 - places + (places == 0))
    return f"{duration(time_s, places)}{star}{room}{_sigma(sigma_s, places)}{room}"


def difference_cell(difference: Difference | None) -> str:
    """Write a difference with its sign and as many decimals as its uncertainty supports."""
    if difference is None:
        return "-"
    places = decimals(difference.sigma_s)
    text = duration(difference.time_s, places)
    if not text.startswith("-") and difference.sigma_s > 0:
        text = f"+{text}"
    return text + " " * (3 - places + (places == 0))


def _sigma(sigma_s: float | None, places: int) -> str:
    """Write one sigma to so many decimals, never as nought."""
    return "" if sigma_s is None else f"±{max(sigma_s, 10.0**-places):.{places}f}"


def _plain(time_s: float | None, sigma_s: float | None) -> str:
    places = decimals(sigma_s)
    return f"{duration(time_s, places)} {_sigma(sigma_s, places)}".rstrip()


def _speed(speed_mps: float | None) -> str:
    return "-" if speed_mps is None else f"{speed_mps * _KMH:.1f}"


def _print_missed(track: Track, session: Session) -> None:
    laps_by_gate: dict[str, list[str]] = {}
    for lap in session.report.laps:
        for gate in lap.missed:
            laps_by_gate.setdefault(gate, []).append(str(lap.number))
    for gate, numbers in laps_by_gate.items():
        several = "s" if len(numbers) > 1 else ""
        click.echo(f"missed: {track.gate(gate).name} on lap{several} {', '.join(numbers)}")


def _print_speed_gates(track: Track, session: Session) -> None:
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
        fastest = max(crossing.speed_mps for _, crossing in passed)
        click.echo()
        table(
            [gate.name, "km/h", "since the lap began"],
            [
                [
                    f"lap {lap.number}",
                    _speed(crossing.speed_mps) + ("*" if crossing.speed_mps == fastest else " "),
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
    lines = [("best lap", report.best_lap_s, sigma, f"lap {best.number}")]
    lap = next(lap for lap in report.counted if run in lap.passed)
    where = f"from {track.gate(run.gate).name}, lap {lap.number}"
    lines.append(
        ("continuous best", report.continuous_best_s or 0.0, report.continuous_best_sigma_s, where)
    )
    lines.append(
        (
            "theoretical best",
            report.theoretical_best_s or 0.0,
            report.theoretical_best_sigma_s,
            "the best sectors together",
        )
    )
    for name, time, of_it, note in lines:
        less = report.best_lap_s - time
        apart = f", {duration(less, decimals(of_it))} below the best lap" if less > 0 else ""
        click.echo(f"{name} {_plain(time, of_it)}{apart} ({note})")
    if report.spread_s is not None:
        click.echo(
            f"median {duration(report.median_s, decimals(sigma))}, spread "
            f"{duration(report.spread_s, decimals(sigma))} (standard deviation)"
        )


def _print_details(track: Track, session: Session, reference: Reference | None) -> None:
    rows = []
    for lap in session.report.laps:
        ends = [crossing for _, crossing in passages(track, lap)]
        compared = sector_differences(session, lap, reference)
        for index, (sector, difference) in enumerate(zip(lap.sectors, compared, strict=True)):
            end = ends[index + 1]
            rows.append(
                [
                    str(lap.number),
                    str(index + 1),
                    time_cell(sector.time_s, sector.sigma_s),
                    _split(sector),
                    difference_cell(difference)
                    + ("" if difference is None else _difference_sigma(difference)),
                    _speed(sector.top_mps),
                    _speed(sector.lowest_mps),
                    "-" if end is None else _speed(end.speed_mps),
                ]
            )
    click.echo()
    table(["lap", "sector", "time", "split", "difference", "top", "low", "at its end"], rows)


def _split(sector: SectorTime) -> str:
    return duration(sector.split_s, decimals(sector.sigma_s))


def _difference_sigma(difference: Difference) -> str:
    if difference.sigma_s == 0:
        return ""
    return f" {_sigma(difference.sigma_s, decimals(difference.sigma_s))}"


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
                str(entry.lap.number),
                time_cell(entry.lap.time_s, entry.lap.sigma_s),
                difference_cell(difference)
                + ("" if difference is None else _difference_sigma(difference)),
            ]
        )
    table(["rank", "recording", "lap", "time", "behind the first"], rows)
    if len(ranked) > _RANKED:
        click.echo(f"and {len(ranked) - _RANKED} more laps")


def _print_pairing(pairing: Pairing) -> None:
    click.echo()
    count = len(pairing.pairs)
    click.echo(f"official times of {pairing.times.file}: {count} pair{'' if count == 1 else 's'}")
    if not pairing.pairs:
        click.echo(
            "no official time agrees with a recorded lap: is it another driver's, or session's?"
        )
    rows = []
    for pair in pairing.pairs:
        difference = Difference(pair.difference_s, pair.sigma_s)
        notes = ["outlier"] if pair.outlier else []
        if pair.probability < SURE:
            notes.append(f"in doubt ({pair.probability:.0%} probable)")
        rows.append(
            [
                str(pair.official.number),
                duration(pair.official.time_s),
                str(pair.lap.number),
                time_cell(pair.lap.time_s, pair.lap.sigma_s),
                difference_cell(difference) + _difference_sigma(difference),
                ", ".join(notes),
            ]
        )
    if rows:
        table(
            ["official lap", "official", "lap", "recorded", "recorded less official", "remark"],
            rows,
        )
    _print_alone("official laps without a recorded one", pairing.official_alone)
    _print_alone("recorded laps without an official one", pairing.laps_alone)
    outliers = [str(pair.lap.number) for pair in pairing.pairs if pair.outlier]
    if pairing.agreement is not None:
        _print_agreement("recorded less official", pairing.agreement)
        click.echo(f"outliers: {', '.join(f'lap {number}' for number in outliers) or 'none'}")
    listed = max((len(pair.official.sectors_s) for pair in pairing.pairs), default=0)
    if listed and not pairing.sectors:
        timed = len(pairing.pairs[0].lap.sectors)
        click.echo(f"sectors are not compared: the list has {listed}, the track {timed}")
    for number, agreement in enumerate(pairing.sectors, start=1):
        if agreement is not None:
            _print_agreement(f"sector {number}", agreement)


def _print_alone(what: str, laps: Sequence[object]) -> None:
    if laps:
        click.echo(f"{what}: {', '.join(str(getattr(lap, 'number')) for lap in laps)}")  # noqa: B009


def _print_agreement(what: str, agreement: Agreement) -> None:
    places = decimals(agreement.bias_sigma_s)
    bias = duration(agreement.bias_s, places)
    sign = "" if bias.startswith("-") else "+"
    text = f"{what}: bias {sign}{bias}"
    if agreement.bias_sigma_s is not None and agreement.spread_s is not None:
        text += f" {_sigma(agreement.bias_sigma_s, places)}, spread {agreement.spread_s:.3f}"
    if agreement.expected_s is not None:
        text += f" ({agreement.expected_s:.3f} expected from the uncertainties)"
    without = f", {len(agreement.outliers)} left out" if agreement.outliers else ""
    click.echo(f"{text}, over {agreement.count}{without}")
