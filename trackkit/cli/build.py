"""``trackkit build``: from recordings, or a drawn line, to a track file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.caution import CLOSED_ROADS, EDGES
from trackkit.cli.buildreport import report
from trackkit.cli.common import (
    Command,
    columns_option,
    crs_option,
    force_option,
    held_for_change,
    json_option,
    place_from,
    read_recordings,
    refuse_outputs,
    remark,
    remarks,
    units_option,
)
from trackkit.cli.underlay import (
    embedded_in,
    picture_of,
    underlay_crs_option,
    underlay_option,
    underlay_size_option,
)
from trackkit.track.names import names_in
from trackkit.units import as_read

if TYPE_CHECKING:
    from trackkit.building.build import Build
    from trackkit.checks.verdict import Judgement
    from trackkit.errors import TrackkitError
    from trackkit.track.model import Track
    from trackkit.track.places import Place
    from trackkit.underlay.embed import EmbeddedPicture
    from trackkit.underlay.picture import Underlay


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
    explained = _Explained(explain, picture, underlay_size)
    if revise is not None:
        _revise(
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
        built = _from_line(from_line, crs, picture, name, layout, is_open, place, sectors)
    elif left_edge:
        built, failed = _from_edges(
            ctx, (left_edge, right_edge, recordings), columns, name, layout, is_open, place, sectors
        )
    else:
        built, failed = _from_recordings(
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
    track, judgement = _judged(track, recorded=not from_line)
    ground = _ground(explained, track)
    built = replace(built, track=write_track(track, target, force=force))
    _explain(built, judgement, explain, ground, force=force)
    report(built, judgement, target, as_json=as_json, details=details, is_new=is_new)
    if failed:
        ctx.exit(1)


def _judged(track: Track, *, recorded: bool) -> tuple[Track, Judgement]:
    """Judge a track as it will be read back, and have it carry the verdict."""
    from trackkit import check_track, judge_track
    from trackkit.track.file import stored

    kept = stored(track)
    judgement = judge_track(kept, check_track(kept), recorded=recorded)
    return replace(track, verdict=judgement.verdict), judgement


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


def _revise(
    ctx: click.Context,
    path: str,
    recordings: tuple[str, ...],
    columns: str | None,
    output: str | None,
    explained: _Explained,
    new_layout: str | None,
    *,
    force: bool,
    as_json: bool,
    details: bool,
) -> None:
    from trackkit import as_new_layout, compare_tracks, read_track, revise_track, write_track
    from trackkit.track.ids import slug

    held = held_for_change(path) if output is None and new_layout is None else None
    old = read_track(path)
    if output is None and new_layout is not None:
        # The track before stays as it is, and is replaced beside it.
        output = str(Path(path).with_name(f"{slug(f'{old.name} {new_layout}')}.geojson"))
    # Before the file is changed: revised again, it would count the same laps twice.
    refuse_outputs({"--output": output, "--explain": explained.path}, force=force)
    read, failed = read_recordings(recordings, columns)
    if not read:
        ctx.exit(1)
    revision = revise_track(old, read)
    if new_layout is not None:
        revision = as_new_layout(old, revision, new_layout, read)
    elif revision.changed:
        remark(
            "the layout has changed: its times are no longer those of before; --as-new-layout NAME "
            "makes it a layout of its own, so that records do not mix"
        )
    track, judgement = _judged(revision.build.track, recorded=True)
    ground = _ground(explained, track)
    if output is None:
        track = write_track(track, path, held=held)
    else:
        track = write_track(track, output, force=force)
    moved = compare_tracks(old, track)
    more = {
        "changed": [
            {
                "begin_m": round(s.begin_m, 1),
                "end_m": round(s.end_m, 1),
                "most_m": round(s.most_m, 2),
            }
            for s in revision.changed
        ],
        "moved": moved.as_row(),
    }
    built = replace(revision.build, track=track)
    _explain(built, judgement, explained.path, ground, force=force)
    report(
        built,
        judgement,
        output or path,
        as_json=as_json,
        details=details,
        more=more,
        moved=tuple(as_read(line, (*names_in(old), *names_in(track))) for line in moved.lines()),
    )
    if failed:
        ctx.exit(1)


@dataclass(frozen=True)
class _Explained:
    """The page that is asked for, the picture on it, and how large that may be."""

    path: str | None
    picture: Underlay | None
    size_mb: float


def _ground(page: _Explained, track: Track) -> EmbeddedPicture | None:
    """Cut the picture before anything is written: it may not reach the track."""
    if page.path is None or page.picture is None:
        return None
    return embedded_in(page.picture, track, page.size_mb)


def _explain(
    built: Build,
    judgement: Judgement,
    path: str | None,
    ground: EmbeddedPicture | None,
    *,
    force: bool,
) -> None:
    if path is None:
        return
    from trackkit import write_explanation

    write_explanation(built, path, judgement=judgement, underlay=ground, force=force)
    remark(f"wrote {path}: each step from the raw fixes to the line")


def _from_recordings(
    ctx: click.Context,
    paths: tuple[str, ...],
    columns: str | None,
    name: str,
    layout: str,
    is_open: bool,
    finish: Place | None,
    sectors: int,
    lap_length_m: float | None,
    *,
    pit_gates: bool,
) -> tuple[Build, list[TrackkitError]]:
    from trackkit import build_track

    read, failed = read_recordings(paths, columns)
    if not read:
        ctx.exit(1)
    built = build_track(
        read,
        name,
        layout=layout,
        is_open=is_open,
        finish=finish,
        sectors=sectors,
        lap_length_m=lap_length_m,
        pit_gates=pit_gates,
    )
    return built, failed


def _from_edges(
    ctx: click.Context,
    paths: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]],
    columns: str | None,
    name: str,
    layout: str,
    is_open: bool,
    finish: Place | None,
    sectors: int,
) -> tuple[Build, list[TrackkitError]]:
    from trackkit import build_between

    read, failed = [], []
    for some in paths:
        recordings, wrong = read_recordings(some, columns)
        read.append(recordings)
        failed += wrong
    left, right, driven = read
    if not left or not right:
        ctx.exit(1)
    built = build_between(
        left,
        right,
        name,
        driven=driven,
        layout=layout,
        is_open=is_open,
        finish=finish,
        sectors=sectors,
    )
    return built, failed


def _from_line(
    path: str,
    crs: str | None,
    picture: Underlay | None,
    name: str,
    layout: str,
    is_open: bool,
    finish: Place | None,
    sectors: int,
) -> Build:
    from trackkit import build_from_line, read_line
    from trackkit.errors import NoLapError
    from trackkit.recordings.drawn.read import rights_in
    from trackkit.track.history import source_entry

    line = read_line(path, crs=crs)
    remarks(line.remarks, path)
    credit, licence = rights_in(path, crs)
    sources, sigma = [source_entry(path) | ({"credit": credit} if credit else {})], None
    if picture is not None:
        from trackkit.underlay.accuracy import traced_sigma_m

        sigma, basis = traced_sigma_m(picture, line.longitude_deg, line.latitude_deg)
        # Large as pictures are, the file alone is named, without its digest.
        shown = Path(picture.path).name
        sources.append({"file": shown, "kind": "picture", "credit": picture.credit})
        remark(f"the line is known to {sigma:.2f} m, one sigma sideways: {basis}")
    try:
        built = build_from_line(
            line.longitude_deg,
            line.latitude_deg,
            name,
            layout=layout,
            is_open=is_open,
            elevation_m=line.elevation_m,
            finish=finish,
            sectors=sectors,
            sources=sources,
            sigma_m=sigma,
        )
    except NoLapError as error:
        raise NoLapError(error.what, file=path, remedy=error.remedy) from error
    return replace(built, track=replace(built.track, licence=licence))
