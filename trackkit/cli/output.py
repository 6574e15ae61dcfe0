"""``trackkit map``, ``export`` and ``simulate``: files made from a track."""

from __future__ import annotations

from pathlib import Path

import click

from trackkit.caution import TILES_PRIVACY
from trackkit.cli.common import (
    Command,
    columns_option,
    force_option,
    json_option,
    print_json,
    read_recordings,
    remark,
    remarks,
)
from trackkit.errors import OutputError

PAPER_SUFFIXES = (".svg", ".pdf", ".png")


@click.command("map", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recordings", nargs=-1, metavar="[RECORDING...]")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE",
    help="Page (.html) or picture for paper (.svg, .pdf, .png) to write.",
)
@click.option(
    "--tiles",
    metavar="URL",
    help="Pictures under the map, from a server that you may use: an address with {z}, {x} and {y} "
    f"in it, such as https://tiles.example.org/{{z}}/{{x}}/{{y}}.png. {TILES_PRIVACY} Without, the "
    "page asks no network for anything.",
)
@click.option(
    "--credit",
    metavar="TEXT",
    help="Whom the map names for those pictures; needed with --tiles.",
)
@columns_option
@force_option
@click.pass_context
def map_(
    ctx: click.Context,
    track_path: str,
    recordings: tuple[str, ...],
    output: str,
    tiles: str | None,
    credit: str | None,
    columns: str | None,
    force: bool,
) -> None:
    """Draw a track, its gates, findings and laps on one HTML page that works with no network.

    With a FILE that ends in .svg, .pdf or .png it is a picture on a sheet of A4 instead, for a
    notice board, with tables of gates, sectors and corners.
    """
    if (tiles is None) != (credit is None):
        raise click.UsageError("--tiles URL and --credit TEXT go together: give both, or neither")
    suffix = Path(output).suffix.lower()
    if suffix not in (".html", ".htm", *PAPER_SUFFIXES):
        raise OutputError(
            f"ends in none of .html, {', '.join(PAPER_SUFFIXES)}",
            file=output,
            remedy="choose a name that ends in .html for a page, in another for a picture",
        )
    if suffix in PAPER_SUFFIXES:
        if tiles:
            raise click.UsageError("--tiles are for the page, not for a picture")
        _draw_on_paper(ctx, track_path, recordings, output, columns, force=force)
        return
    from trackkit import check_track, read_track, write_map
    from trackkit.pages.tiles import tile_layer

    try:
        layer = tile_layer(tiles, credit)
    except OutputError as error:
        raise click.BadParameter(str(error), param_hint="--tiles") from error
    track = read_track(track_path)
    read, failed = read_recordings(recordings, columns)
    write_map(
        track,
        output,
        recordings=read,
        findings=check_track(track),
        tiles=tiles,
        credit=credit,
        force=force,
    )
    click.echo(f"wrote {output}")
    if layer is not None:
        remark(f"the page asks {layer.host} for pictures whenever it is opened. {TILES_PRIVACY}")
    if failed:
        ctx.exit(1)


def _draw_on_paper(
    ctx: click.Context,
    track_path: str,
    recordings: tuple[str, ...],
    output: str,
    columns: str | None,
    *,
    force: bool,
) -> None:
    from trackkit import read_track, write_paper

    track = read_track(track_path)
    read, failed = read_recordings(recordings, columns)
    remarks(write_paper(track, output, recordings=read, force=force))
    click.echo(f"wrote {output}")
    if failed:
        ctx.exit(1)


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.option(
    "--to",
    "fmt",
    type=click.Choice(["geojson", "gpx", "kml", "gpkg", "csv"]),
    required=True,
    help="Format; csv is a table of the gates.",
)
@click.option("-o", "--output", required=True, metavar="FILE", help="File to write.")
@force_option
def export(track_path: str, fmt: str, output: str, force: bool) -> None:
    """Write a track in another open format."""
    from trackkit import export_track, read_track

    export_track(read_track(track_path), output, fmt, force=force)
    click.echo(f"wrote {output}")


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="RECORDING",
    help="Recording to write: .nmea, .gpx or .csv, also with .gz.",
)
@click.option(
    "--laps",
    type=click.IntRange(1, 1000),
    default=5,
    metavar="N",
    show_default=True,
    help="Flying laps.",
)
@click.option(
    "--rate",
    type=click.FloatRange(0.2, 100),
    default=10.0,
    show_default=True,
    metavar="HZ",
    help="Fixes a second.",
)
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=0,
    show_default=True,
    help="Another seed gives another drive and other noise.",
)
@click.option(
    "--noise",
    type=click.FloatRange(0, 100),
    metavar="TIMES",
    default=1.0,
    show_default=True,
    help="Times the usual receiver noise; 0 for none.",
)
@force_option
@json_option
def simulate(
    track_path: str,
    output: str,
    laps: int,
    rate: float,
    seed: int,
    noise: float,
    force: bool,
    as_json: bool,
) -> None:
    """Make a practice recording; its exact crossing times go to RECORDING.truth.json."""
    from trackkit import read_track, simulate_drive, write_simulation

    simulation = simulate_drive(
        read_track(track_path), laps=laps, rate_hz=rate, seed=seed, noise=noise
    )
    write_simulation(simulation, output, force=force)
    if as_json:
        print_json({"recording": output, "truth": f"{output}.truth.json", **simulation.truth})
        return
    recording = simulation.recording
    click.echo(
        f"wrote {output} ({len(recording):,} fixes in {recording.duration_s:.0f} s) and "
        f"{output}.truth.json"
    )
