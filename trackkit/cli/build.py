"""``trackkit build``: from recordings, or a drawn line, to a track file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.caution import CLOSED_ROADS, EDGES
from trackkit.cli.build_explained import Explained, explain_build, ground_of, judged
from trackkit.cli.build_from import from_drawn_line, from_edges, from_recordings
from trackkit.cli.build_revise import revise_with
from trackkit.cli.buildreport import report
from trackkit.cli.common import (
    Command,
    columns_option,
    crs_option,
    force_option,
    json_option,
    place_from,
    refuse_outputs,
    remark,
    units_option,
)
from trackkit.cli.underlay import (
    picture_of,
    underlay_crs_option,
    underlay_option,
    underlay_size_option,
)

if TYPE_CHECKING:
    from trackkit.errors import TrackkitError


def _country(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:  # noqa: ARG001
    from trackkit.track.facts import country_of

    return value if value is None else _taken(country_of, value)


def _timezone(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:  # noqa: ARG001
    from trackkit.track.facts import time_zone_of

    return value if value is None else _taken(time_zone_of, value)


def _taken(reader: Callable[[str], str | None], value: str) -> str | None:
    from trackkit.errors import TrackFileError

    try:
        return reader(value)
    except TrackFileError as error:
        raise click.BadParameter(str(error)) from error


@click.command(cls=Command)
@click.argument("recordings", nargs=-1, metavar="RECORDING...")
@click.option("--name", default="", help="Name of the circuit.  [required unless --revise]")
@click.option("--layout", default="", help="Name of the layout, where there are several.")
@click.option(
    "-o", "--output", metavar="TRACK", help="Track file to write.  [default: from the name]"
)
@click.option(
    "--finish",
    metavar="PLACE",
    help="Where the finish gate goes: LAT,LON or two ends LAT,LON/LAT,LON.  [default: chosen]",
)
@click.option(
    "--sectors",
    type=click.IntRange(1, 50),
    default=1,
    metavar="N",
    help="Make N sectors, with N - 1 sector gates.",
)
@click.option(
    "--lap-length",
    type=click.FloatRange(min=100.0),
    metavar="M",
    help="Of several layouts driven, build the one whose lap is about M metres.  [default: the "
    "most driven]",
)
@click.option(
    "--pit-gates",
    is_flag=True,
    help="Place pit-entry and pit-exit gates where a pit lane is found.",
)
@click.option(
    "--anyway", is_flag=True, help="Take --finish even where such a gate can hardly be meant."
)
@click.option(
    "--open",
    "is_open",
    is_flag=True,
    help=f"A course from one point to another. {CLOSED_ROADS}",
)
@click.option(
    "--revise",
    metavar="TRACK",
    help="Fold the laps into this track file; the previous one stays beside it as TRACK~.",
)
@click.option(
    "--as-new-layout",
    "new_layout",
    metavar="NAME",
    help="With --revise: where the track has changed, write a layout of its own that replaces it "
    "from the day of the recording on.",
)
@click.option(
    "--left",
    "left_edge",
    multiple=True,
    metavar="FILE",
    help=f"A recording along the left edge; with --right. {EDGES}",
)
@click.option(
    "--right", "right_edge", multiple=True, metavar="FILE", help="And along the right edge."
)
@click.option("--from-line", metavar="FILE", help="Start from a line already drawn.")
@click.option(
    "--explain", metavar="FILE.html", help="Draw each step from raw fixes to the line into a page."
)
@underlay_option
@underlay_crs_option
@underlay_size_option
@click.option("--credit", metavar="TEXT", help="Whose picture --underlay is; shown on the page.")
@crs_option
@columns_option
@click.option("--country", callback=_country, metavar="CODE", help="Two letters, ISO 3166-1.")
@click.option("--timezone", callback=_timezone, metavar="ZONE", help="Such as Europe/Vienna.")
@click.option("--licence", metavar="SPDX", help="Licence of the track file, such as CC0-1.0.")
@click.option(
    "--details",
    is_flag=True,
    help="Print every remark, and the tables of gates, corners, straights and band.",
)
@force_option
@units_option
@json_option
@click.pass_context
def build(
    ctx: click.Context,
    recordings: tuple[str, ...],
    name: str,
    layout: str,
    output: str | None,
    finish: str | None,
    sectors: int,
    lap_length: float | None,
    anyway: bool,
    pit_gates: bool,
    is_open: bool,
    revise: str | None,
    new_layout: str | None,
    left_edge: tuple[str, ...],
    right_edge: tuple[str, ...],
    from_line: str | None,
    explain: str | None,
    underlay_path: str | None,
    underlay_crs: str | None,
    underlay_size: float,
    credit: str | None,
    crs: str | None,
    columns: str | None,
    country: str | None,
    timezone: str | None,
    licence: str | None,
    details: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Make a track file from recordings of at least one whole lap.

    The lap is found by itself, whatever is around it: a parked start, the pit exit, a stop on the
    way, the in lap.  Several recordings of one layout are averaged.

    --underlay lies under the page of --explain; with --from-line it is the picture that the line
    was drawn over, and its pixel and its fit say how well the line is known.
    """
    from trackkit import write_track
    from trackkit.track.ids import slug

    given = {
        "--name": name,
        "--layout": layout,
        "--finish": finish,
        "--from-line": from_line,
        "--open": is_open,
        "--lap-length": lap_length,
        "--sectors": sectors > 1,
        "--left": left_edge,
        "--right": right_edge,
        "--pit-gates": pit_gates,
        "--explain": explain,
    }
    _require_fitting({option for option, value in given.items() if value}, recordings, revise)
    if new_layout is not None and revise is None:
        raise click.UsageError("--as-new-layout goes with --revise")
    if underlay_path is None and credit is not None:
        raise click.UsageError("--credit is about a picture: give it with --underlay")
    if underlay_path is not None and not (explain or from_line):
        raise click.UsageError("--underlay goes with --explain, or with --from-line")
    picture = picture_of(underlay_path, underlay_crs, credit)
    explained = Explained(explain, picture, underlay_size)
    if revise is not None:
        revise_with(
            ctx,
            revise,
            recordings,
            columns,
            output,
            explained,
            new_layout,
            force=force,
            as_json=as_json,
            details=details,
        )
        return
    if not name.strip():
        raise click.BadParameter("a track needs a name", param_hint="--name")
    target = output or f"{slug(f'{name} {layout}'.strip())}.geojson"
    is_new = not Path(target).exists()
    refuse_outputs({"--output": target, "--explain": explain}, force=force)
    place = replace(place_from(finish, crs), anyway=anyway) if finish else None
    if is_open and not from_line:
        remark(CLOSED_ROADS)
    if left_edge:
        remark(EDGES)
    failed: list[TrackkitError] = []
    if from_line:
        built = from_drawn_line(from_line, crs, picture, name, layout, is_open, place, sectors)
    elif left_edge:
        built, failed = from_edges(
            ctx, (left_edge, right_edge, recordings), columns, name, layout, is_open, place, sectors
        )
    else:
        built, failed = from_recordings(
            ctx,
            recordings,
            columns,
            name,
            layout,
            is_open,
            place,
            sectors,
            lap_length,
            pit_gates=pit_gates,
        )
    licence = licence or built.track.licence
    track = replace(built.track, country=country, timezone=timezone, licence=licence)
    track, judgement = judged(track, recorded=not from_line)
    ground = ground_of(explained, track)
    built = replace(built, track=write_track(track, target, force=force))
    explain_build(built, judgement, explain, ground, force=force)
    report(built, judgement, target, as_json=as_json, details=details, is_new=is_new)
    if failed:
        ctx.exit(1)


_NOT_TOGETHER = {
    "--left": {"--from-line", "--lap-length", "--pit-gates", "--explain"},
    "--from-line": {"--lap-length", "--pit-gates", "--explain"},
    "--open": {"--lap-length", "--pit-gates"},
}


def _require_fitting(given: set[str], recordings: tuple[str, ...], revise: str | None) -> None:
    """Refuse options that say nothing together.

    Raises
    ------
    click.UsageError
        With the options that do not fit.
    """
    if revise is not None:
        fixed = sorted(given - {"--explain"})
        if fixed:
            raise click.UsageError(
                f"--revise keeps what the track file says: leave {fixed[0]} out."
            )
        if not recordings:
            raise click.UsageError("Give one or more recordings to revise the track with.")
        return
    if ("--left" in given) != ("--right" in given):
        raise click.UsageError("Give both edges: --left FILE and --right FILE.")
    for option, others in _NOT_TOGETHER.items():
        wrong = sorted(given & others)
        if option in given and wrong:
            raise click.UsageError(f"{option} takes no {wrong[0]}.")
    if bool(recordings or "--left" in given) == ("--from-line" in given):
        raise click.UsageError("Give one or more recordings, or a line with --from-line.")
