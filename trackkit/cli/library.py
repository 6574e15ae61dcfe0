"""``trackkit library``: which circuits are known, added and removed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    each_file,
    json_option,
    plain_minus,
    print_json,
    remark,
    remarks,
    table,
)

if TYPE_CHECKING:
    from trackkit.library.folders import Library
    from trackkit.library.known import Known
    from trackkit.library.manage import Added, Overlap

library_option = click.option(
    "--library", "given", multiple=True, metavar="DIR",
    help="A folder of track files to search before the others; may be given again.",
)  # fmt: skip


def opened(given: Sequence[str]) -> Library:
    """Open the folders to search, and say what had to be left out."""
    from trackkit.library.folders import folders, open_library

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
@json_option
def list_command(
    given: tuple[str, ...],
    country: str | None,
    name: str | None,
    near: tuple[str, str] | None,
    within: float | None,
    as_json: bool,
) -> None:
    """List the known circuits."""
    from trackkit.library.known import Atlas

    if within is not None and near is None:
        raise click.UsageError("--within asks for a place too: --near LAT LON")
    place = None if near is None else _place(near)
    wanted = (name or "").casefold()
    atlas = Atlas.of(
        one
        for one in opened(given).tracks()
        if (country is None or (one.country or "").casefold() == country.casefold())
        and any(wanted in text.casefold() for text in (one.id, one.name, one.layout))
    )
    rows: list[tuple[Known, float | None]] = [(one, None) for one in atlas.known]
    if place is not None:
        rows = list(atlas.distances(*place))
        if within is not None:
            rows = [(one, away) for one, away in rows if away is not None and away <= 1000 * within]
    if as_json:
        print_json({"tracks": [_row(one, away) for one, away in rows]})
        return
    headings = ["id", "name", "layout", "direction", "length m", "country"]
    cells = [
        [
            one.id, one.name, one.layout, one.direction or "-", f"{one.length_m:,.0f}",
            one.country or "-", *([] if away is None else [f"{away / 1000:,.2f}"]),
        ]
        for one, away in rows
    ]  # fmt: skip
    if not cells:
        click.echo("no known circuit is like that")
        return
    table(headings if near is None else [*headings, "km away"], cells)


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


def _row(one: Known, away: float | None) -> dict[str, Any]:
    return one.as_row() | ({} if away is None else {"distance_m": round(away, 3)})


@library.command("add", cls=Command)
@click.argument("files", nargs=-1, required=True, metavar="TRACK...")
@library_option
@click.option("--replace", is_flag=True, help="Replace a known track with the same id.")
@json_option
@click.pass_context
def add_command(
    ctx: click.Context, files: tuple[str, ...], given: tuple[str, ...], replace: bool, as_json: bool
) -> None:
    """Add track files to the library.

    They go, as they are, into the first folder of --library, else of TRACKKIT_LIBRARY, else into
    the user's own. Each is held against the format's schema first. An id that is taken is refused
    without --replace. A track on a line that is known already is added, and that is said.
    """
    from trackkit.library.folders import named_folders, user_folder
    from trackkit.library.manage import add_track

    for folder in given:
        # A new library begins with its first track.
        Path(folder).mkdir(parents=True, exist_ok=True)
    target = (named_folders(given) or [user_folder()])[0]
    known = opened(given)
    added, failed = each_file(
        files, lambda path: add_track(path, target, known, replace=replace), "adding"
    )
    if as_json:
        print_json({"added": [one.as_row() for one in added]})
    for one in added:
        if not as_json:
            click.echo(f"added {one.track.id} as {one.path}")
        remarks(_said(one))
    if failed:
        ctx.exit(1)


def _said(added: Added) -> list[str]:
    said = []
    if added.replaced is not None and added.replaced == added.path:
        said.append(f"the one before is kept as {added.path}~")
    elif added.replaced is not None:
        said.append(f"it counts before {added.replaced}, which stays there")
    for overlap in added.overlaps:
        known = overlap.known
        if overlap.same_line:
            said.append(
                f"{added.track.id} is the same line as {known.id} ({known.title}), which is known "
                f"already: {_shared(overlap)}; locate cannot tell them apart"
            )
        elif known.name.casefold() != added.track.name.casefold():
            way = ", driven the other way" if overlap.opposite else ""
            said.append(
                f"{added.track.id} shares tarmac with {known.id} ({known.title}), which has "
                f"another name: {_shared(overlap)}{way}"
            )
    return said


def _shared(overlap: Overlap) -> str:
    return f"{overlap.share:.0%} of its line runs there, and {overlap.share_back:.0%} of the other"


@library.command("remove", cls=Command)
@click.argument("track_id", metavar="ID")
@library_option
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
def remove_command(track_id: str, given: tuple[str, ...], yes: bool, as_json: bool) -> None:
    """Remove a track from the library; it asks first, and keeps the file with ~ appended."""
    from trackkit.errors import TrackkitError
    from trackkit.library.manage import remove_track

    known = opened(given).find(track_id)
    if known is None:
        raise TrackkitError(
            f"no known track has the id {track_id}", remedy="`trackkit library list` shows the ids"
        )
    if not yes:
        click.confirm(f"Remove {known.title}, {known.path}?", abort=True, err=True)
    kept = remove_track(known)
    if as_json:
        print_json({"removed": track_id, "file": str(known.path), "kept": str(kept)})
    else:
        click.echo(f"removed {track_id}; the file is kept as {kept}")
