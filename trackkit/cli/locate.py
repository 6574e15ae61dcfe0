"""``trackkit locate``: which known circuit this is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from trackkit.caution import RECEIVER
from trackkit.cli.common import (
    Command,
    columns_option,
    json_option,
    parse_columns,
    plain_minus,
    print_json,
    remark,
    remarks,
    table,
    units_option,
)
from trackkit.cli.library import library_option, opened
from trackkit.cli.located_text import days, open_between, title
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.library.known import Candidate, Located

_CSV_KEYS = ("id", "name", "layout", "direction", "reversed", "distance_m", "probability")


@click.command(cls=Command)
@click.argument("where", nargs=-1, required=True, metavar="LAT LON | RECORDING... | -")
@library_option
@click.option(
    "--radius",
    type=click.FloatRange(0, 20_100),
    default=5.0,
    show_default=True,
    metavar="KM",
    help="Within this of a circuit the answer is near.",
)
@columns_option
@click.option("--csv", "as_csv", is_flag=True, help="Print recordings as CSV, a line each.")
@units_option
@json_option
@click.pass_context
def locate(
    ctx: click.Context,
    where: tuple[str, ...],
    given: tuple[str, ...],
    radius: float,
    columns: str | None,
    as_csv: bool,
    as_json: bool,
) -> None:
    """Tell which known circuit a position, or a recording, is at.

    A position names the circuit; a drive tells layout and direction too. With - fixes are read from
    standard input as NMEA 0183, and the answer is printed as soon as it is settled, and again
    whenever it changes. Set the receiver going before you leave, and read the answer when you
    stand.

    Folders are searched in this order: those given with --library, those named by the environment
    variable TRACKKIT_LIBRARY, the user's own, the sample circuits.
    """
    if as_csv and as_json:
        raise click.UsageError("--csv and --json exclude each other")
    radius_m = 1000.0 * radius
    if where == ("-",):
        if as_csv:
            raise click.UsageError("--csv is for recordings")
        from trackkit.cli.locatestream import stream

        if not as_json:
            remark(RECEIVER)
        stream(opened(given), radius_m, as_json=as_json)
        return
    fix = _position(where)
    if fix is not None:
        if as_csv:
            raise click.UsageError("--csv is for recordings")
        from trackkit import locate as locate_place

        located = locate_place(fix, opened(given), radius_m=radius_m)
        if as_json:
            print_json(located.as_row())
        else:
            _print(located, radius)
        return
    _recordings(ctx, where, given, radius, columns, "csv" if as_csv else "json" if as_json else "")


def _recordings(
    ctx: click.Context,
    paths: tuple[str, ...],
    given: tuple[str, ...],
    radius: float,
    columns: str | None,
    form: str,
) -> None:
    from trackkit.cli.locatemany import locate_each

    # Opened here, so that its warnings are printed once and not by every worker process.
    library = opened(given)
    answers: list[tuple[str, Located]] = []
    failed = False
    for outcome in locate_each(paths, library, given, 1000.0 * radius, parse_columns(columns)):
        remarks(outcome.remarks, outcome.path)
        if outcome.located is None:
            failed = True
            remark(f"trackkit: {outcome.error}")
        else:
            answers.append((outcome.path, outcome.located))
            if not form:
                click.echo(f"{outcome.path}:")
                _print(outcome.located, radius)
    if form == "json":
        print_json({"recordings": [{"file": path, **at.as_row()} for path, at in answers]})
    if form == "csv":
        _print_csv(answers)
    if failed:
        ctx.exit(1)


def _position(words: tuple[str, ...]) -> tuple[float, float] | None:
    """Read LAT LON (or LAT,LON); anything else names recordings."""
    parts = [plain_minus(part) for word in words for part in word.split(",") if part]
    if len(parts) != 2:
        return None
    try:
        latitude, longitude = (float(part) for part in parts)
    except ValueError:
        return None
    if not (abs(latitude) <= 90 and abs(longitude) <= 360):
        raise click.BadParameter(
            f"{parts[0]} {parts[1]} is not a latitude (-90 to 90) and a longitude in degrees",
            param_hint="LAT LON",
        )
    return longitude, latitude


def _print_csv(answers: list[tuple[str, Located]]) -> None:
    from trackkit.files import csv_text

    rows = []
    for path, located in answers:
        row = located.as_row()
        nearest = [row["candidates"][0][key] if row["candidates"] else "" for key in _CSV_KEYS]
        # Booleans stay True and False here, which scripts already rely on.
        nearest = [str(value) if isinstance(value, bool) else value for value in nearest]
        rows.append([path, row["answer"], *nearest, " ".join(row["tied"]), row["part_at_m"]])
    header = ["file", "answer", *_CSV_KEYS, "tied", "part_at_m"]
    click.echo(csv_text(header, rows), nl=False)


def _print(located: Located, radius_km: float) -> None:
    if not located.candidates:
        click.echo("no circuit is known: the libraries are empty")
        return
    first = located.candidates[0]
    away = f"{_far(first.distance_m)} from its centreline"
    driven = first.probability is not None
    if located.tied and driven:
        among = [candidate for candidate in located.candidates if candidate.id in located.tied]
        click.echo(f"at {first.name}: {open_between(among, located.part_at_m)}")
    elif located.tied:
        click.echo(
            f"at {len(located.tied)} layouts or directions at once; one fix cannot tell them "
            f"apart: {', '.join(located.tied)}"
        )
    elif located.answer == "at" and driven:
        click.echo(f"at {title(first)}, {_sure(first)} sure, {away}")
    elif located.answer == "at":
        click.echo(
            f"at {title(first)}, {units().length_text(first.distance_m)} from its centreline"
        )
    elif located.answer == "near":
        click.echo(f"near {title(first)}, {away}")
    else:
        click.echo(
            f"no known circuit within {_radius(radius_km)}; the nearest is {title(first)}, "
            f"{_far(first.distance_m)} away"
        )
    dated = any(days(candidate) for candidate in located.candidates)
    table(
        [
            *("id", "name", "layout", "direction", "distance"),
            *(["probability"] if driven else []),
            "line",
            *(["valid"] if dated else []),
        ],
        [
            [
                candidate.id,
                candidate.name,
                candidate.layout,
                candidate.direction or "-",
                _far(candidate.distance_m),
                *([_sure(candidate)] if driven else []),
                candidate.origin,
                *([days(candidate) or "yes"] if dated else []),
            ]
            for candidate in located.candidates
        ],
    )

    for credit in dict.fromkeys(candidate.credit for candidate in located.candidates):
        if credit:
            click.echo(f"data: {credit}")
    answered = located.tied or (first.id,)
    for candidate in located.candidates:
        if candidate.id in answered and days(candidate):
            when = "on the day it was driven" if driven else "today"
            remark(f"{title(candidate)} [{candidate.id}] is not valid {when}: {days(candidate)}")


def _sure(candidate: Candidate) -> str:
    probability = candidate.probability or 0.0
    return "over 99.9%" if probability > 0.999 else f"{probability:.1%}"


def _radius(radius_km: float) -> str:
    shown = units()
    return f"{1000 * radius_km * shown.long_per_m:.4g} {shown.long_length}"


def _far(distance_m: float) -> str:
    return units().distance_text(distance_m)
