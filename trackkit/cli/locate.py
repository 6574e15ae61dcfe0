"""``trackkit locate``: which known circuit this is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    columns_option,
    each_file,
    json_option,
    plain_minus,
    print_json,
    remarks,
    table,
)
from trackkit.cli.library import library_option, opened

if TYPE_CHECKING:
    from trackkit.locating import Located


@click.command(cls=Command)
@click.argument("where", nargs=-1, required=True, metavar="LAT LON | RECORDING...")
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
@json_option
@click.pass_context
def locate(
    ctx: click.Context,
    where: tuple[str, ...],
    given: tuple[str, ...],
    radius: float,
    columns: str | None,
    as_json: bool,
) -> None:
    """Tell which known circuit a position, or the start of a recording, is at.

    Folders are searched in this order: those given with --library, those named by the environment
    variable TRACKKIT_LIBRARY, the user's own, the sample circuits.
    """
    fix = _position(where)
    known = opened(given)

    def answer(position: tuple[float, float]) -> Located:
        return known.locate(*position, radius_m=1000.0 * radius)

    if fix is not None:
        located = answer(fix)
        if as_json:
            print_json(located_row(located))
        else:
            _print(located, radius)
        return
    found, failed = each_file(
        where, lambda path: (path, answer(_first_position(path, columns))), "locating"
    )
    if as_json:
        print_json({"recordings": [{"file": path, **located_row(at)} for path, at in found]})
    else:
        for path, located in found:
            click.echo(f"{path}:")
            _print(located, radius)
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


def _first_position(path: str, columns: str | None) -> tuple[float, float]:
    from trackkit.cli.common import parse_columns
    from trackkit.errors import NoTimesError
    from trackkit.library import first_position
    from trackkit.readers import read_line, read_recording

    try:
        recording = read_recording(path, columns=parse_columns(columns))
    except NoTimesError:
        # Where a line lies can be told without knowing when it was driven.
        line = read_line(path)
        return float(line.longitude_deg[0]), float(line.latitude_deg[0])
    remarks(recording.remarks, path)
    return first_position(recording)


def located_row(located: Located) -> dict[str, Any]:
    """Write an answer as ``locate --json`` does."""
    return {
        "answer": located.answer,
        "candidates": [
            {
                "id": c.id,
                "name": c.name,
                "layout": c.layout,
                "direction": c.direction,
                "distance_m": round(c.distance_m, 3),
                "probability": None,
            }
            for c in located.candidates
        ],
        "tied": list(located.tied),
    }


def _print(located: Located, radius_km: float) -> None:
    if not located.candidates:
        click.echo("no circuit is known: the libraries are empty")
        return
    nearest = located.candidates[0]
    name = f"{nearest.name} ({nearest.layout})" if nearest.layout else nearest.name
    if located.tied:
        click.echo(
            f"at {len(located.tied)} layouts or directions at once; one fix cannot tell them "
            f"apart: {', '.join(located.tied)}"
        )
    elif located.answer == "at":
        click.echo(f"at {name}, {nearest.distance_m:.0f} m from its centreline")
    elif located.answer == "near":
        click.echo(f"near {name}, {_far(nearest.distance_m)} from its centreline")
    else:
        click.echo(
            f"no known circuit within {radius_km:g} km; the nearest is {name}, "
            f"{_far(nearest.distance_m)} away"
        )
    table(
        ["id", "name", "layout", "direction", "distance"],
        [
            [c.id, c.name, c.layout, c.direction or "-", _far(c.distance_m)]
            for c in located.candidates
        ],
    )


def _far(distance_m: float) -> str:
    return f"{distance_m:.1f} m" if distance_m < 1000 else f"{distance_m / 1000:,.2f} km"
