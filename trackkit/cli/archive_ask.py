"""``trackkit archive laps``, ``summary`` and ``unknown``: what an archive holds."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import click

from trackkit.caution import TRAINING
from trackkit.cli.archive_options import at_option, choosing_options
from trackkit.cli.common import (
    Command,
    force_option,
    json_option,
    print_json,
    refuse_outputs,
    remark,
    table,
    units_option,
)
from trackkit.cli.time_cells import plain_time, speed_cell
from trackkit.units import units

_SHOWN = 100
"""So many laps are printed where nothing else is asked for."""
_BY = ("class", "driver", "vehicle", "day")
csv_option = click.option("--csv", "csv_path", metavar="FILE.csv", help="Write all as CSV.")
parquet_option = click.option(
    "--parquet", "parquet_path", metavar="FILE.parquet", help="Write all as Parquet."
)


@click.command("laps", cls=Command)
@at_option
@choosing_options
@click.option("--every", is_flag=True, help="Laps that do not count as well.")
@click.option(
    "--most",
    type=click.IntRange(1),
    default=_SHOWN,
    show_default=True,
    metavar="N",
    help="Print so many laps, the fastest of each circuit first; files and JSON have all.",
)
@csv_option
@parquet_option
@force_option
@units_option
@json_option
def laps_command(
    at: str | None,
    every: bool,
    most: int,
    csv_path: str | None,
    parquet_path: str | None,
    force: bool,
    as_json: bool,
    **chosen: Any,
) -> None:
    """List laps, fastest first, with who drove when and how sure the times are."""
    from trackkit import open_archive

    outputs = {"--csv": csv_path, "--parquet": parquet_path}
    refuse_outputs(outputs, force=force)
    laps = open_archive(at).laps(every=every, **chosen)
    _write(laps, csv_path, parquet_path, force=force)
    if as_json:
        print_json({"laps": _rows(laps), "caution": TRAINING})
        return
    ranked = laps.order("track, time_s, begun")
    rows = _rows(ranked.limit(most + 1))
    if not rows:
        click.echo("no lap is like that")
        return
    shown = units()
    table(
        ["circuit", "time", "driver", "vehicle", "class", "day", "lap", f"top {shown.speed}"],
        [
            [
                _circuit(row),
                plain_time(row["time_s"], row["sigma_s"]),
                row["driver"] or "-",
                row["vehicle"] or "-",
                row["class"] or "-",
                row["day"] or "-",
                f"{row['session']}.{row['lap']}",
                speed_cell(row["top_mps"]),
            ]
            for row in rows[:most]
        ],
    )
    if len(rows) > most:
        remark(f"the first {most:,} are shown: --most N shows more, --csv FILE writes all")
    remark(TRAINING)


@click.command("summary", cls=Command)
@at_option
@click.option(
    "--by",
    multiple=True,
    type=click.Choice(_BY),
    help="Tell laps apart by this too; may be given again.",
)
@choosing_options
@csv_option
@parquet_option
@force_option
@json_option
def summary_command(
    at: str | None,
    by: tuple[str, ...],
    csv_path: str | None,
    parquet_path: str | None,
    force: bool,
    as_json: bool,
    **chosen: Any,
) -> None:
    """Sum laps up by circuit and layout: bests and records, consistency, progress.

    Consistency is how far laps are from the mean of their session, one standard deviation. Progress
    is from the best lap of the first day to that of the last; negative is faster.
    """
    from trackkit import open_archive

    refuse_outputs({"--csv": csv_path, "--parquet": parquet_path}, force=force)
    summary, best = open_archive(at).summed_up(by, **chosen)
    _write(summary, csv_path, parquet_path, force=force)
    records, rows = _rows(best), _rows(summary)
    if as_json:
        print_json({"by": list(by), "summary": rows, "records": records, "caution": TRAINING})
        return
    if not rows:
        click.echo("no lap is like that")
        return
    equal = {_key(row, by): row["equal"] for row in rows}
    headings = ["circuit", *by, "laps", "days", "best", "median", "consistency", "progress"]
    table(headings, [[*_group(row, by), *_figures(row)] for row in rows])
    table(
        ["circuit", *by, "record", "", *(name for name in ("driver", "day") if name not in by)],
        [_record(row, by, equal[_key(row, by)]) for row in records],
    )
    click.echo("= is no slower than the record by more than one sigma of their difference")
    remark(TRAINING)


@click.command("unknown", cls=Command)
@at_option
@json_option
def unknown_command(at: str | None, as_json: bool) -> None:
    """List recordings that no known circuit matches by place, ready for build.

    With a track file of the place in the library, `archive add` times them.
    """
    from trackkit import open_archive

    places = open_archive(at).unknown()
    if as_json:
        print_json({"places": [place.as_row() for place in places]})
        return
    if not places:
        click.echo("every recording is on a known circuit")
    for number, place in enumerate(places):
        if number:
            click.echo()
        first = "" if place.first is None else f", from {place.first:%Y-%m-%d}"
        last = "" if place.last is None else f" to {place.last:%Y-%m-%d}"
        count = len(place.files)
        click.echo(
            f"{place.latitude_deg:.5f},{place.longitude_deg:.5f}: {count:,} "
            f"recording{'' if count == 1 else 's'}{first}{last}; {'; '.join(place.reasons)}"
        )
        command = ["trackkit", "build", *place.files, "--name", "NAME"]
        click.echo(f"  {shlex.join(command)}")


def _rows(relation: Any) -> list[dict[str, Any]]:
    names = relation.columns
    return [
        {
            name: value.isoformat() if isinstance(value, datetime) else value
            for name, value in zip(names, row, strict=True)
        }
        for row in relation.fetchall()
    ]


def _write(relation: Any, csv_path: str | None, parquet_path: str | None, *, force: bool) -> None:
    from trackkit.files import csv_text, whole_file, write_whole

    if csv_path is not None:
        rows = _rows(relation)
        text = csv_text(relation.columns, (list(row.values()) for row in rows))
        write_whole(csv_path, text, force=force)
    if parquet_path is not None:
        with whole_file(parquet_path, force=force) as scratch:
            relation.write_parquet(str(scratch))


def _circuit(row: Mapping[str, Any]) -> str:
    from trackkit.track.title import title_of

    return title_of(row["name"], row["layout"])


def _group(row: Mapping[str, Any], by: Sequence[str]) -> list[str]:
    return [_circuit(row), *(row[name] or "-" for name in by)]


def _figures(row: Mapping[str, Any]) -> list[str]:
    from trackkit.cli.common import duration
    from trackkit.timing.decimals import decimals

    places = decimals(row["best_sigma_s"])
    progress = row["progress_s"]
    sign = "+" if progress is not None and progress > 0 else ""
    return [
        f"{row['laps']:,}",
        f"{row['days']:,}",
        plain_time(row["best_s"], row["best_sigma_s"]),
        duration(row["median_s"], places),
        duration(row["consistency_s"], places),
        f"{sign}{plain_time(progress, row['progress_sigma_s'])}",
    ]


def _key(row: Mapping[str, Any], by: Sequence[str]) -> tuple[Any, ...]:
    """Tell of which group of a summary a row is."""
    return tuple(row[name] for name in ("track", "direction", *by))


def _record(row: Mapping[str, Any], by: Sequence[str], equal: int) -> list[str]:
    others = [row[name] or "-" for name in ("driver", "day") if name not in by]
    time = plain_time(row["time_s"], row["sigma_s"])
    return [*_group(row, by), time, "=" if equal > 1 else "", *others]
