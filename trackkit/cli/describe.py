"""``trackkit describe`` and ``diff``: what a track file says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import Command, gate_table, json_option, print_json, table, units_option
from trackkit.cli.many import are_many, each_track
from trackkit.units import as_read, units

if TYPE_CHECKING:
    from trackkit.geometry.bends import Straight
    from trackkit.track.model import Track


@click.command(cls=Command)
@click.argument("track_paths", metavar="TRACK|FOLDER...", nargs=-1, required=True)
@units_option
@json_option
@click.pass_context
def describe(ctx: click.Context, track_paths: tuple[str, ...], as_json: bool) -> None:
    """Print length, corners, straights, gates and elevation of a track.

    Of several, or of a folder, a line each.
    """
    if are_many(track_paths):
        _describe_many(ctx, track_paths, as_json=as_json)
        return
    from trackkit import check_track, describe_track, judge_track, read_track
    from trackkit.cli.track_text import summary
    from trackkit.cli.verdict_text import stored_line, verdict_lines
    from trackkit.track.credit import credits_of

    (path,) = track_paths
    track = read_track(path)
    if as_json:
        print_json(_row(track, path))
        return
    described = describe_track(track)
    judgement = judge_track(track, check_track(track))
    click.echo(summary(track))
    heights, shown = described.elevation, units()
    if heights is not None:
        click.echo(
            f"elevation {shown.length_figure(heights.lowest_m)} to "
            f"{shown.length_text(heights.highest_m)}, steepest "
            f"gradient {heights.steepest_percent:.1f} % at "
            f"{shown.length_text(heights.steepest_at_m)}; "
            f"{shown.length_text(track.length_surface_m or 0.0, 1)} along the surface"
        )
    if track.notes:
        click.echo(track.notes)
    if track.licence:
        click.echo(f"licence: {track.licence}")
    for credit in credits_of(track):
        click.echo(f"data: {credit}")
    gate_table(track.gates)
    shape_tables(track, described.straights)
    for line in verdict_lines(judgement, path, track):
        click.echo(line)
    stored = stored_line(track)
    if stored is not None:
        click.echo(f"    {stored}")


def _row(track: Track, path: str) -> dict[str, Any]:
    from trackkit import check_track, describe_track, judge_track
    from trackkit.cli.verdict_text import verdict_row

    judgement = judge_track(track, check_track(track))
    return describe_track(track).as_row() | {"verdict": verdict_row(judgement, path)}


def _describe_many(ctx: click.Context, paths: Sequence[str], *, as_json: bool) -> None:
    from trackkit import read_track
    from trackkit.cli.track_text import summary

    def work(path: str) -> Any:
        track = read_track(path)
        return _row(track, path) if as_json else summary(track)

    done, failed = each_track(paths, work, "describing")
    if as_json:
        print_json({"tracks": [{"file": path, **row} for path, row in done]})
    else:
        for path, line in done:
            click.echo(f"{path}: {line}")
    if failed:
        ctx.exit(1)


def shape_tables(track: Track, straights: Sequence[Straight]) -> None:
    """Print the corners and straights of a track."""
    unit, figure = units().length, units().length_figure
    table(
        [
            "corner",
            "name",
            "turn",
            *(f"{what} {unit}" for what in ("entry", "apex", "exit", "least radius")),
        ],
        [
            [
                str(c.number),
                c.name,
                c.turn,
                figure(c.entry_m),
                figure(c.apex_m),
                figure(c.exit_m),
                figure(c.min_radius_m, 1),
            ]
            for c in track.corners
        ],
    )
    from trackkit.geometry.bends import WORTH_TELLING_M

    long_enough = [s for s in straights if s.length_m >= WORTH_TELLING_M]
    table(
        [f"straight from {unit}", f"length {unit}"],
        [[figure(s.start_m), figure(s.length_m)] for s in long_enough],
    )


@click.command(cls=Command)
@click.argument("first", metavar="TRACK")
@click.argument("second", metavar="TRACK")
@units_option
@json_option
def diff(first: str, second: str, as_json: bool) -> None:
    """Tell what moved between two track files, and by how much."""
    from trackkit import compare_tracks, read_track
    from trackkit.track.names import names_in

    tracks = read_track(first), read_track(second)
    comparison = compare_tracks(*tracks)
    if as_json:
        print_json(comparison.as_row())
        return
    texts = [text for member in comparison.members for text in member if isinstance(text, str)]
    # Of a long text the line has only the beginning.
    names = [*names_in(tracks[0]), *names_in(tracks[1]), *texts, *(text[:57] for text in texts)]
    for line in comparison.lines():
        click.echo(as_read(line, names))
