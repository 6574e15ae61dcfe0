"""``trackkit library``: which circuits are known, added and removed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    json_option,
    plain_minus,
    print_json,
    progress,
    remark,
    remarks,
    table,
    units_option,
)
from trackkit.cli.cores import each_elsewhere
from trackkit.cli.many import each_track
from trackkit.cli.remedies import error_sentence
from trackkit.cores import cores
from trackkit.errors import OutputError, TrackkitError
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.library.folders import Library
    from trackkit.library.listing import Listed
    from trackkit.library.manage import Added, Overlap

_WORTH_A_PROCESS = 16
"""As many track files are judged by then as it takes to start another process."""
library_option = click.option(
    "--library",
    "given",
    multiple=True,
    metavar="DIR",
    help="A folder of track files to search before the others; may be given again.",
)


def opened(given: Sequence[str]) -> Library:
    """Open the folders to search, and say what had to be left out."""
    from trackkit import open_library
    from trackkit.library.folders import folders

    library = open_library(folders(given), say=remark)
    remarks(library.warnings)
    return library


@click.group()
def library() -> None:
    """List, add and remove known circuits.

    Folders are searched in this order: those given with --library, those named by the environment
    variable TRACKKIT_LIBRARY, the user's own, the sample circuits. Of two tracks with one id the
    first counts.
    """


@library.command("path", cls=Command)
@library_option
@json_option
def path_command(given: tuple[str, ...], as_json: bool) -> None:
    """Print the folders that are searched, in order; `library add` puts files into the first."""
    from trackkit.library.folders import folders, user_folder

    searched = [str(folder) for folder in folders(given)]
    if as_json:
        print_json({"folders": searched, "user": str(user_folder())})
        return
    for folder in searched:
        click.echo(folder)
    if str(user_folder()) not in searched:
        click.echo(f"{user_folder()} (yours; not there yet)")


@library.command("list", cls=Command)
@library_option
@click.option("--country", metavar="CODE", help="Only of this country (ISO 3166, two letters).")
@click.option("--name", metavar="TEXT", help="Only with this in their id, name or layout.")
@click.option("--near", nargs=2, metavar="LAT LON", help="Nearest to this place first.")
@click.option(
    "--within", type=click.FloatRange(0, 20_100), metavar="KM", help="Only as near as this."
)
@click.option(
    "--verdict",
    "judging",
    is_flag=True,
    help="Judge each: fit to hand on or not, about 0.1 s each.",
)
@units_option
@json_option
@click.pass_context
def list_command(
    ctx: click.Context,
    given: tuple[str, ...],
    country: str | None,
    name: str | None,
    near: tuple[str, str] | None,
    within: float | None,
    judging: bool,
    as_json: bool,
) -> None:
    """List the known circuits.

    With --verdict each is judged anew: whether it is fit to hand on, and with --json why not and
    what to do next.
    """
    from trackkit import list_library

    if within is not None and near is None:
        raise click.UsageError("--within asks for a place too: --near LAT LON")
    place = None if near is None else _place(near)
    listed = list_library(
        opened(given),
        country=country,
        name=name,
        near=place,
        within_m=None if within is None else 1000 * within,
    )
    verdicts, failed = _verdicts([str(entry.circuit.path) for entry in listed], judging=judging)
    if as_json:
        rows = [
            entry.as_row() | {"verdict": verdict} if judging else entry.as_row()
            for entry, verdict in zip(listed, verdicts, strict=True)
        ]
        print_json({"tracks": rows})
    else:
        _print_list(listed, verdicts, judging=judging)
    if failed:
        ctx.exit(1)


def _print_list(
    listed: Sequence[Listed], verdicts: Sequence[dict[str, Any] | None], *, judging: bool
) -> None:
    shown = units()
    headings = ["id", "name", "layout", "direction", f"length {shown.length}", "country"]
    if judging:
        headings.append("fit to hand on")
    if any(entry.distance_m is not None for entry in listed):
        headings.append(f"{shown.long_length} away")
    cells = [
        [
            entry.circuit.id,
            entry.circuit.name,
            entry.circuit.layout,
            entry.circuit.direction or "-",
            f"{entry.circuit.length_m * shown.length_per_m:,.0f}",
            entry.circuit.country or "-",
            *([_FIT[None if verdict is None else verdict["fit"]]] if judging else []),
            *([] if entry.distance_m is None else [f"{entry.distance_m * shown.long_per_m:,.2f}"]),
        ]
        for entry, verdict in zip(listed, verdicts, strict=True)
    ]
    if not cells:
        click.echo("no known circuit is like that")
        return
    table(headings, cells)
    for credit in dict.fromkeys(entry.circuit.credit for entry in listed if entry.circuit.credit):
        click.echo(f"data: {credit}")


_FIT = {True: "fit", False: "not fit", None: "-"}


def _verdicts(
    paths: Sequence[str], *, judging: bool
) -> tuple[list[dict[str, Any] | None], list[str]]:
    """Judge track files, each as JSON has it, None where that was not asked for or has failed."""
    if not judging:
        return [None] * len(paths), []
    processes = min(cores(), len(paths) // _WORTH_A_PROCESS)
    if processes > 1:
        outcomes = list(each_elsewhere(_judged, paths, "judging", processes, at_once=4))
    else:
        outcomes = [_judged(path) for path in progress(paths, "judging")]
    failed = [outcome for outcome in outcomes if isinstance(outcome, str)]
    remarks(f"trackkit: {sentence}" for sentence in failed)
    return [None if isinstance(outcome, str) else outcome for outcome in outcomes], failed


def _judged(path: str) -> dict[str, Any] | str:
    """Judge a track file: a sentence where it cannot be read, as errors do not travel."""
    from trackkit import check_track, judge_track, read_track
    from trackkit.cli.verdict_text import verdict_row

    try:
        track = read_track(path)
        return verdict_row(judge_track(track, check_track(track)), path)
    except TrackkitError as error:
        return error_sentence(error)


def _place(words: tuple[str, str]) -> tuple[float, float]:
    """Read LAT LON into longitude and latitude, degrees."""
    try:
        latitude, longitude = (float(plain_minus(word).strip(",")) for word in words)
    except ValueError:
        latitude = longitude = float("nan")
    if not (abs(latitude) <= 90 and abs(longitude) <= 360):
        shown = " ".join(plain_minus(word) for word in words)
        raise click.BadParameter(
            f"{shown} is not a latitude (-90 to 90) and a longitude in degrees",
            param_hint="--near",
        )
    return longitude, latitude


@library.command("add", cls=Command)
@click.argument("files", nargs=-1, required=True, metavar="TRACK|FOLDER...")
@library_option
@click.option("--replace", is_flag=True, help="Replace a known track with the same id.")
@json_option
@click.pass_context
def add_command(
    ctx: click.Context, files: tuple[str, ...], given: tuple[str, ...], replace: bool, as_json: bool
) -> None:
    """Add track files, or all of a folder, to the library.

    They go, as they are, into the first folder of --library, else of TRACKKIT_LIBRARY, else into
    the user's own. Each is held against the format's schema first. An id that is taken is refused
    without --replace. A track on a line that is known already is added, and that is said.
    """
    from trackkit import add_to_library

    made_folders(given)
    target = given[0] if given else None
    searched = opened(given)
    done, failed = each_track(
        files,
        lambda path: add_to_library(path, target, library=searched, replace=replace),
        "adding",
    )
    added = [addition for _, addition in done]
    if as_json:
        print_json({"added": [addition.as_row() for addition in added]})
    for addition in added:
        if not as_json:
            click.echo(f"added {addition.track.id} as {addition.path}")
        remarks(_addition_texts(addition))
    if failed:
        ctx.exit(1)


def made_folders(given: Sequence[str]) -> None:
    """Make the folders of --library that are not there: a new library begins with a track."""
    for folder in given:
        try:
            Path(folder).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                f"cannot be made a folder ({error.strerror or error})",
                file=folder,
                remedy="name another folder as the library",
            ) from error


def _addition_texts(added: Added) -> list[str]:
    texts = []
    if added.replaced is not None and added.replaced == added.path:
        texts.append(f"the one before is kept as {added.path}~")
    elif added.replaced is not None:
        texts.append(f"it counts before {added.replaced}, which stays there")
    for overlap in added.overlaps:
        circuit = overlap.circuit
        if overlap.same_line:
            texts.append(
                f"{added.track.id} is the same line as {circuit.id} ({circuit.title}), which is "
                f"known already: {_shared(overlap)}; locate cannot tell them apart"
            )
        elif circuit.name.casefold() != added.track.name.casefold():
            way = ", driven the other way" if overlap.opposite else ""
            texts.append(
                f"{added.track.id} shares tarmac with {circuit.id} ({circuit.title}), which has "
                f"another name: {_shared(overlap)}{way}"
            )
    return texts


def _shared(overlap: Overlap) -> str:
    return f"{overlap.share:.0%} of its line runs there, and {overlap.share_back:.0%} of the other"


@library.command("remove", cls=Command)
@click.argument("track_id", metavar="ID")
@library_option
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
def remove_command(track_id: str, given: tuple[str, ...], yes: bool, as_json: bool) -> None:
    """Remove a track from the library; it asks first, and keeps the file with ~ appended."""
    from trackkit import remove_from_library

    circuit = opened(given).find(track_id)
    if circuit is None:
        raise TrackkitError(
            f"no known track has the id {track_id}", remedy="`trackkit library list` shows the ids"
        )
    if not yes:
        click.confirm(f"Remove {circuit.title}, {circuit.path}?", abort=True, err=True)
    kept = remove_from_library(circuit)
    if as_json:
        print_json({"removed": track_id, "file": str(circuit.path), "kept": str(kept)})
    else:
        click.echo(f"removed {track_id}; the file is kept as {kept}")
