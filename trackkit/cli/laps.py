"""``trackkit laps``: lap and sector times of recordings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    columns_option,
    duration,
    each_file,
    json_option,
    print_json,
    remark,
    remarks,
    table,
)
from trackkit.cli.describe import title

if TYPE_CHECKING:
    from trackkit.timing import Lap, LapReport
    from trackkit.track import Track


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
@columns_option
@json_option
@click.pass_context
def laps(
    ctx: click.Context,
    track_path: str,
    recordings: tuple[str, ...],
    columns: str | None,
    as_json: bool,
) -> None:
    """Time the laps and sectors of recordings over a track."""
    from trackkit.cli.common import parse_columns
    from trackkit.readers import read_recording
    from trackkit.timing import time_laps
    from trackkit.trackfile import read_track

    track = read_track(track_path)
    mapping = parse_columns(columns)

    def work(path: str) -> LapReport:
        recording = read_recording(path, columns=mapping)
        remarks(recording.remarks, path)
        return time_laps(track, recording)

    reports, failed = each_file(recordings, work, "timing laps")
    if as_json:
        print_json({"track": track.id, "recordings": [report_row(report) for report in reports]})
    else:
        for number, report in enumerate(reports):
            if number:
                click.echo()
            _print(track, report)
    remark("GPS times are for training, not for officiating.")
    if failed:
        ctx.exit(1)


def report_row(report: LapReport) -> dict[str, Any]:
    """Write a report as ``laps --json`` does."""
    start = report.recording.start
    return {
        "file": report.recording.name,
        "start": None if start is None else start.isoformat().replace("+00:00", "Z"),
        "laps": [lap_row(lap) for lap in report.laps],
        "best_lap_s": report.best_lap_s,
        "theoretical_best_s": report.theoretical_best_s,
        "continuous_best_s": report.continuous_best_s,
    }


def lap_row(lap: Lap) -> dict[str, Any]:
    """Write a lap as ``laps --json`` does."""
    return {
        "number": lap.number,
        "kind": lap.kind,
        "complete": lap.complete,
        "start_s": lap.start_s,
        "time_s": lap.time_s,
        "sigma_s": lap.sigma_s,
        "missed": list(lap.missed),
        "sectors": [
            {"time_s": s.time_s, "sigma_s": s.sigma_s, "split_s": s.split_s} for s in lap.sectors
        ],
    }


def _print(track: Track, report: LapReport) -> None:
    count = len(report.counted)
    click.echo(
        f"{report.recording.name}: {count} complete flying lap{'' if count == 1 else 's'} of "
        f"{title(track)}"
    )
    if not report.laps:
        click.echo(
            "no gate was crossed: the recording may be of another circuit (`trackkit locate`)"
        )
        return
    sectors = len(report.laps[0].sectors)
    best = [
        min((lap.sectors[i].time_s or 0.0 for lap in report.counted), default=None)
        for i in range(sectors)
    ]
    rows = []
    for lap in report.laps:
        cells = [str(lap.number), lap.kind]
        counted = lap in report.counted
        cells.append(_marked(lap.time_s, report.best_lap_s if counted else None))
        for sector, fastest in zip(lap.sectors, best, strict=True):
            cells.append(_marked(sector.time_s, fastest if counted else None))
        cells.append(", ".join(track.gate(g).name for g in lap.missed) if lap.missed else "")
        rows.append(cells)
    headings = ["lap", "kind", "time", *(f"sector {i + 1}" for i in range(sectors)), "missed gates"]
    if not any(lap.missed for lap in report.laps):
        headings, rows = headings[:-1], [row[:-1] for row in rows]
    table(headings, rows)
    if report.best_lap_s is None:
        missed = any(lap.missed for lap in report.laps)
        hint = ": is it another layout? `trackkit locate` tells the circuits near" if missed else ""
        click.echo(f"no complete flying lap{hint}")
        return
    click.echo(
        f"best lap {duration(report.best_lap_s)}, theoretical best "
        f"{duration(report.theoretical_best_s)}, continuous best "
        f"{duration(report.continuous_best_s)} (* marks the best of its column)"
    )


def _marked(time_s: float | None, best_s: float | None) -> str:
    """Write a time; the best of its column has a star, the others room for one."""
    return duration(time_s) + ("*" if time_s is not None and time_s == best_s else " ")
