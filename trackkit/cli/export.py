"""``trackkit export``: tracks, and what was driven, in other open formats."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.caution import TRAINING
from trackkit.cli.circuits import track_and_recordings
from trackkit.cli.common import (
    Command,
    check_crs,
    columns_option,
    force_option,
    parse_columns,
    refuse_outputs,
    remark,
    remarks,
)
from trackkit.cli.drives import skipped_option, tell_skipped
from trackkit.cli.many import Targets, are_many, each_track, output_folder
from trackkit.cli.recording_folders import label_option
from trackkit.errors import PlaceError, TrackkitError
from trackkit.timing.driven_files import files_of
from trackkit.track.recognise import is_track

if TYPE_CHECKING:
    from trackkit.cli.laps_work import Item, Job, Untimed
    from trackkit.timing.report import LapReport

_TRACK_FORMATS = ("geojson", "gpx", "kml", "gpkg", "csv", "dxf")
_DRIVE_FORMATS = ("gpkg", "fgb", "geoparquet", "parquet", "csv")
_TRACK_SUFFIXES = (".geojson", ".json")
_LAYERS = ("laps", "traces", "crossings")
_SUFFIXES = {"fgb": ".fgb", "geoparquet": ".parquet", "parquet": ".parquet", "csv": ".csv"}


@click.command(cls=Command)
@click.argument("track_paths", metavar="[TRACK|FOLDER...] [RECORDING...]", nargs=-1, required=True)
@click.option(
    "--to",
    "fmt",
    type=click.Choice(list(dict.fromkeys([*_TRACK_FORMATS, *_DRIVE_FORMATS]))),
    required=True,
    help="Format. Of tracks geojson, gpx, kml, gpkg, csv (a table of the gates) and dxf (a drawing "
    "for surveyors); of what was driven gpkg, fgb, geoparquet, parquet (tables without geometry) "
    "and csv (geometry as WKT).",
)
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE",
    help="File to write; a folder for several tracks, and for what was driven in all formats but "
    "gpkg: laps, traces and crossings are a file each there, as ogr2ogr lays layers out.",
)
@click.option(
    "--crs",
    metavar="EPSG:CODE",
    help="Coordinate system of what was driven [default: EPSG:4326, longitude and latitude on "
    "WGS 84], or the grid of a drawing [default: the zone of UTM].",
)
@label_option
@columns_option
@skipped_option
@force_option
@click.pass_context
def export(
    ctx: click.Context,
    track_paths: tuple[str, ...],
    fmt: str,
    output: str,
    crs: str | None,
    labels: tuple[str, ...],
    columns: str | None,
    skipped: bool,
    force: bool,
) -> None:
    """Write a track, or what was driven on it, in another open format.

    Of several tracks, or of a folder of them, a file each is written into the folder -o.

    With recordings, or folders of them, what was driven: laps as lines, traces as a point a metre
    and crossings of gates as points, with times, speeds, accelerations and one sigma of each. TRACK
    is a track file, or the id of one in the library; without it the circuit is located. Columns
    and units are told in docs/columns.md.
    """
    if _are_drives(track_paths, fmt):
        _export_drives(
            ctx, track_paths, fmt, output, crs, labels, columns, skipped=skipped, force=force
        )
        return
    for name, given in (("--label", labels), ("--columns", columns), ("--skipped", skipped)):
        if given:
            raise click.UsageError(f"{name} is for recordings, and none is named")
    if crs is not None and fmt != "dxf":
        raise click.UsageError("--crs is for recordings and for --to dxf: tracks are in WGS 84")
    _export_tracks(ctx, track_paths, fmt, output, crs, force=force)


def _export_tracks(
    ctx: click.Context,
    words: tuple[str, ...],
    fmt: str,
    output: str,
    crs: str | None,
    *,
    force: bool,
) -> None:
    from trackkit import export_track, read_track

    def written(path: str, target: str | Path) -> None:
        try:
            remarks(export_track(read_track(path), target, fmt, crs=crs, force=force), str(target))
        except PlaceError as error:
            if crs is None:
                raise
            raise click.BadParameter(str(error), param_hint="--crs") from error

    if not are_many(words):
        written(words[0], output)
        click.echo(f"wrote {output}")
        return
    targets = Targets(output_folder(output), f".{fmt}")

    def work(path: str) -> Path:
        target = targets.of(path)
        written(path, target)
        return target

    done, failed = each_track(words, work, "exporting")
    for _, target in done:
        click.echo(f"wrote {target}")
    if failed:
        ctx.exit(1)


def _are_drives(words: Sequence[str], fmt: str) -> bool:
    """Tell whether what was driven is asked for, rather than tracks."""
    if fmt not in _DRIVE_FORMATS:
        return False
    if fmt not in _TRACK_FORMATS:
        return True
    if Path(words[0]).suffix.lower() in _TRACK_SUFFIXES and len(words) == 1:
        return False
    return any(_holds_recordings(word, alone=len(words) == 1) for word in words)


def _holds_recordings(word: str, *, alone: bool) -> bool:
    """Tell whether a word of the command line is a recording, or a folder of them.

    A folder by itself that holds track files is meant for these.
    """
    from trackkit.recordings.detect import is_surely_recording

    path = Path(word)
    if not path.exists():
        return bool(path.suffix) and path.suffix.lower() not in _TRACK_SUFFIXES
    if path.is_file():
        return not is_track(word)
    if not path.is_dir() or (alone and any(path.glob("*.geojson"))):
        return False
    return any(is_surely_recording(file.path) for file in files_of([word]))


def _export_drives(
    ctx: click.Context,
    words: tuple[str, ...],
    fmt: str,
    output: str,
    crs: str | None,
    labels: tuple[str, ...],
    columns: str | None,
    *,
    skipped: bool,
    force: bool,
) -> None:
    from trackkit import export_drives
    from trackkit.cli.laps_work import Job, Untimed, items_of
    from trackkit.timing.rules import USUAL_RULES

    track_path, named = track_and_recordings(words)
    ctx.params["track_path"] = track_path
    if not named:
        raise click.UsageError(f"--to {fmt} is of what was driven: name a recording")
    if fmt == "parquet" and crs is not None:
        raise click.UsageError("--to parquet has no geometry for --crs: use --to geoparquet")
    if crs is not None:
        check_crs(crs)
    _refuse(fmt, output, force=force)
    items, entries = items_of(named, labels)
    job = Job(track_path, parse_columns(columns), USUAL_RULES, traces=False, drives=True)
    called = {path: entry.label for path, entry in entries.items()}
    if labels:
        called = {item.path: item.label for item in items}
    names = {path: name for path, name in called.items() if name}
    drivers: dict[str, str] = {}
    untimed = Untimed()
    exported = export_drives(
        _reports(items, job, names, drivers, untimed),
        output,
        fmt,
        crs=crs or "EPSG:4326",
        drivers=drivers,
        force=force,
    )
    remarks(exported.remarks)
    for file in exported.files:
        click.echo(f"wrote {file}")
    counts = ", ".join(f"{count:,} {layer}" for layer, count in exported.rows.items())
    remark(f"rows: {counts}")
    tell_skipped(untimed.skipped, named=skipped)
    if exported.rows["laps"]:
        remark(TRAINING)
    if untimed.failed:
        ctx.exit(1)


def _refuse(fmt: str, output: str, *, force: bool) -> None:
    """Refuse what cannot be written before the work is done."""
    targets = (
        [output] if fmt == "gpkg" else [f"{output}/{name}{_SUFFIXES[fmt]}" for name in _LAYERS]
    )
    for target in targets:
        refuse_outputs({"-o": target}, force=force)


def _reports(
    items: Sequence[Item],
    job: Job,
    names: Mapping[str, str],
    drivers: dict[str, str],
    untimed: Untimed,
) -> Iterator[LapReport]:
    """Time one recording after another, and enter in `drivers` who drove those that were timed."""
    from trackkit.cli.laps_work import counted_each, timed_here

    any_timed = False
    for timed in counted_each(timed_here(items, job), untimed):
        any_timed = True
        path = timed.item.path
        if path in names:
            drivers[path] = names[path]
        if timed.report is not None:
            yield timed.report
        # Nothing may hold its drive while the next is made.
        del timed
    if not any_timed:
        raise TrackkitError("no recording could be timed: nothing is written")
