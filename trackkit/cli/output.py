"""``trackkit map`` and ``simulate``: files made from a track."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.caution import TILES_PRIVACY
from trackkit.cli.circuits import track_and_recordings
from trackkit.cli.common import (
    Command,
    columns_option,
    force_option,
    gates_option,
    json_option,
    print_json,
    refuse_outputs,
    remark,
    remarks,
    units_option,
)
from trackkit.cli.cores import on_all_cores
from trackkit.cli.drives import Drives, circuit_of, read_drives, skipped_option, tell_skipped
from trackkit.cli.many import Targets, are_many, each_track, output_folder
from trackkit.cli.recording_folders import label_option
from trackkit.cli.underlay import (
    embedded_in,
    picture_of,
    underlay_crs_option,
    underlay_option,
    underlay_size_option,
)
from trackkit.errors import OutputError
from trackkit.timing.driven_files import files_of
from trackkit.units import as_read

if TYPE_CHECKING:
    from trackkit.paper.sheet import Paper
    from trackkit.track.model import Track
    from trackkit.underlay.picture import Underlay

PAPER_SUFFIXES = (".svg", ".pdf", ".png")


@click.command("map", cls=Command)
@click.argument("track_path", metavar="[TRACK]")
@click.argument("recordings", nargs=-1, metavar="[RECORDING|FOLDER...]")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE",
    help="Page (.html) or picture for paper (.svg, .pdf, .png) to write; a folder for several.",
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
    help="Whom the map names for those pictures, or for that of --underlay; needed with --tiles.",
)
@underlay_option
@underlay_crs_option
@underlay_size_option
@click.option(
    "--paper",
    type=click.Choice(["A4", "A3", "Letter", "Tabloid"], case_sensitive=False),
    help="Size of a picture's sheet.  [default: A4]",
)
@click.option(
    "--everything",
    is_flag=True,
    help="Keep on the page what was driven more than 500 m from the circuit too, such as the way "
    "home.",
)
@gates_option
@label_option
@skipped_option
@columns_option
@force_option
@units_option
@click.pass_context
def map_(
    ctx: click.Context,
    track_path: str,
    recordings: tuple[str, ...],
    output: str,
    tiles: str | None,
    credit: str | None,
    underlay_path: str | None,
    underlay_crs: str | None,
    underlay_size: float,
    paper: Paper | None,
    everything: bool,
    gates: str | None,
    labels: tuple[str, ...],
    skipped: bool,
    columns: str | None,
    force: bool,
) -> None:
    """Draw a track, its gates, findings and laps on one HTML page that works with no network.

    With a FILE that ends in .svg, .pdf or .png it is a picture on a sheet of paper instead, for a
    notice board, with tables of gates, sectors and corners. With several track files, or a folder
    of them, and a folder -o, each gets a page there, and index.html has all of them on one map.

    TRACK is a track file, or the id of one in the library; without it the circuit of the recordings
    is located. A folder after it stands for the recordings in it. A table drivers.csv beside them
    names them on the page. Of recordings the page holds what was driven within 500 m of the
    circuit, so that whoever gets the file does not get the way home.
    """
    suffix = Path(output).suffix.lower()
    words = (track_path, *recordings)
    many = _are_tracks(words, suffix)
    _refuse_pairs(tiles, credit, underlay_path, many=many)
    if paper and suffix not in PAPER_SUFFIXES:
        raise click.UsageError(f"--paper is for a picture: {', '.join(PAPER_SUFFIXES)}")
    if everything and suffix in PAPER_SUFFIXES:
        raise click.UsageError("--everything is for the page; a picture shows the circuit alone")
    if gates is not None and (many or suffix in PAPER_SUFFIXES):
        raise click.UsageError("--gates are laid over one track, on a page")
    picture = picture_of(underlay_path, underlay_crs, credit)
    if many:
        _refuse_labels(labels, "track files")
        _map_many(ctx, words, output, tiles, credit, force=force)
        return
    if suffix not in (".html", ".htm", *PAPER_SUFFIXES):
        raise OutputError(
            f"ends in none of .html, {', '.join(PAPER_SUFFIXES)}",
            file=output,
            remedy="choose a name that ends in .html for a page, in another for a picture",
        )
    if suffix in PAPER_SUFFIXES:
        if tiles:
            raise click.UsageError("--tiles are for the page, not for a picture")
        _refuse_labels(labels, "a picture")
        _draw_on_paper(
            ctx, words, output, paper or "A4", columns, picture, skipped=skipped, force=force
        )
        return
    from trackkit import with_gate_set, write_map

    host = None if tiles is None else _tile_host(tiles, credit)
    with on_all_cores():
        track, drives = _track_with_recordings(words, labels, columns, skipped=skipped)
        if gates is not None:
            track = with_gate_set(track, gates)
        embedded = None if picture is None else embedded_in(picture, track, underlay_size)
        write_map(
            track,
            output,
            recordings=drives.recordings,
            names=drives.names,
            drivers=drives.drivers,
            findings="checked",
            tiles=tiles,
            credit=None if tiles is None else credit,
            underlay=embedded,
            everything=everything,
            force=force,
        )
    click.echo(f"wrote {output}")
    if not everything:
        _say_left_out(track, drives)
    if host is not None:
        remark(f"the page asks {host} for pictures whenever it is opened. {TILES_PRIVACY}")
    if drives.failed:
        ctx.exit(1)


def _say_left_out(track: Track, drives: Drives) -> None:
    from trackkit.pages.nearby import left_out, shown_of

    shown = [shown_of(track, recording, everything=False) for recording in drives.recordings]
    sentence = left_out(drives.recordings, shown, drives.names)
    if sentence:
        remark(as_read(f"{sentence}; --everything keeps them", drives.names))


def _refuse_pairs(
    tiles: str | None, credit: str | None, underlay_path: str | None, *, many: bool
) -> None:
    """Refuse options about pictures that do not go together."""
    if tiles and underlay_path:
        raise click.UsageError("give --tiles or --underlay: one lies over the other")
    if underlay_path is None and (tiles is None) != (credit is None):
        raise click.UsageError("--tiles URL and --credit TEXT go together: give both, or neither")
    if many and underlay_path:
        raise click.UsageError("--underlay is for a page of one track")


def _refuse_labels(labels: tuple[str, ...], what: str) -> None:
    if labels:
        raise click.UsageError(f"--label names recordings on a page, not {what}")


def _track_with_recordings(
    words: tuple[str, ...], labels: tuple[str, ...], columns: str | None, *, skipped: bool
) -> tuple[Track, Drives]:
    """Read a track and recordings, with their names on a page, and say what was wrong with any.

    Without a track it is the one that they were all driven on.

    Raises
    ------
    TrackkitError
        When their circuit is not known, or they are of several.
    """
    from trackkit import read_track

    track_path, named = track_and_recordings(words)
    track = None if track_path is None else read_track(track_path)
    drives = read_drives(named, labels, columns)
    tell_skipped(drives.skipped, named=skipped)
    return track or circuit_of(drives, words[0]).track, drives


def _tile_host(tiles: str | None, credit: str | None) -> str | None:
    """Say which host a page is to ask for pictures; None for no host."""
    from trackkit.pages.tiles import tile_layer

    try:
        layer = tile_layer(tiles, credit)
    except OutputError as error:
        raise click.BadParameter(str(error), param_hint="--tiles") from error
    return None if layer is None else layer.host


def _are_tracks(words: tuple[str, ...], suffix: str) -> bool:
    """Tell whether a page is asked for of each of several track files."""
    if not are_many(words):
        return False
    if any(Path(word).is_dir() for word in words):
        if suffix not in (".html", ".htm", *PAPER_SUFFIXES):
            return True
        if Path(words[0]).is_dir() and not files_of(words):
            raise click.UsageError(
                "of a folder each track file gets its page: name a folder for -o"
            )
        return False
    return suffix not in (".html", ".htm", *PAPER_SUFFIXES) and all(
        word.lower().endswith(".geojson") for word in words
    )


def _map_many(
    ctx: click.Context,
    words: tuple[str, ...],
    output: str,
    tiles: str | None,
    credit: str | None,
    *,
    force: bool,
) -> None:
    from trackkit import Listing, read_track, write_circuits, write_map

    host = _tile_host(tiles, credit)
    folder = output_folder(output)
    index = folder / "index.html"
    refuse_outputs({"-o": str(index)}, force=force)
    targets = Targets(folder, ".html", but=index.name)

    def work(path: str) -> Listing:
        track = read_track(path)
        target = targets.of(path)
        judgement = write_map(
            track, target, findings="checked", tiles=tiles, credit=credit, force=force
        )
        return Listing(track, target.name, judgement)

    done, failed = each_track(words, work, "drawing")
    for _, listing in done:
        click.echo(f"wrote {folder / listing.page}")
    if done:
        write_circuits([listing for _, listing in done], index, force=force)
        click.echo(f"wrote {index}")
    if host is not None:
        remark(
            f"each page but {index.name} asks {host} for pictures whenever it is opened. "
            f"{TILES_PRIVACY}"
        )
    if failed:
        ctx.exit(1)


def _draw_on_paper(
    ctx: click.Context,
    words: tuple[str, ...],
    output: str,
    paper: Paper,
    columns: str | None,
    picture: Underlay | None,
    *,
    skipped: bool,
    force: bool,
) -> None:
    from trackkit import check_track, judge_track, write_paper
    from trackkit.cli.verdict_text import verdict_sentence

    track, drives = _track_with_recordings(words, (), columns, skipped=skipped)
    verdict = verdict_sentence(judge_track(track, check_track(track)), track)
    remarks(
        write_paper(
            track,
            output,
            recordings=drives.recordings,
            paper=paper,
            verdict=verdict,
            underlay=picture,
            force=force,
        )
    )
    click.echo(f"wrote {output}")
    if drives.failed:
        ctx.exit(1)


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
@click.option(
    "--channels",
    is_flag=True,
    help="Record engine speed, gear, brake and water temperature too (.csv and .gpx).",
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
    channels: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Make a practice recording; its exact crossing times go to RECORDING.truth.json."""
    from trackkit import read_track, simulate_drive, write_simulation

    if channels and Path(output).name.lower().removesuffix(".gz").endswith(".nmea"):
        raise click.UsageError("NMEA 0183 holds no --channels: write .csv or .gpx")
    simulation = simulate_drive(
        read_track(track_path), laps=laps, rate_hz=rate, seed=seed, noise=noise, channels=channels
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
