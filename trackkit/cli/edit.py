"""``trackkit edit``: place gates by hand on a page of this computer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.cli.circuits import track_and_recordings
from trackkit.cli.common import Command, columns_option, remark, units_option
from trackkit.cli.drives import Drives, circuit_of, read_drives, skipped_option, tell_skipped
from trackkit.cli.recording_folders import label_option
from trackkit.cli.underlay import (
    embedded_in,
    megabytes,
    picture_of,
    underlay_crs_option,
    underlay_option,
    underlay_size_option,
)
from trackkit.errors import TrackkitError

if TYPE_CHECKING:
    from trackkit.underlay.sheets import UnplacedPlan


@click.command(cls=Command)
@click.argument("words", metavar="[TRACK] [RECORDING|FOLDER]...", nargs=-1, required=True)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    metavar="N",
    help="Port of this computer to serve the page at.  [default: a free one]",
)
@click.option("--no-browser", is_flag=True, help="Print the address, but open no browser.")
@click.option("--stop-when-closed", is_flag=True, help="Stop when the page is closed.")
@underlay_option
@underlay_crs_option
@underlay_size_option
@click.option(
    "--underlay-page",
    type=click.IntRange(1),
    metavar="N",
    help="Page of a PDF that is laid by points.  [default: 1]",
)
@click.option("--credit", metavar="TEXT", help="Whose picture --underlay is; shown on the map.")
@label_option
@skipped_option
@columns_option
@units_option
@click.pass_context
def edit(
    ctx: click.Context,
    words: tuple[str, ...],
    port: int | None,
    no_browser: bool,
    stop_when_closed: bool,
    underlay_path: str | None,
    underlay_crs: str | None,
    underlay_size: float,
    underlay_page: int | None,
    credit: str | None,
    labels: tuple[str, ...],
    skipped: bool,
    columns: str | None,
) -> None:
    """Place, move and remove gates by hand, and see what recordings make of them.

    Serves a page to this computer only, until Ctrl-C.  Saving writes TRACK and leaves the
    previous file beside it as TRACK~.  TRACK is a track file, or the id of one in the library;
    without it the circuit of the recordings is located.  A folder stands for the recordings in it.
    A table drivers.csv beside the recordings names them.

    A picture that does not say where it lies, such as a photo, a scan or a PDF, is laid under the
    map on the page, by places that are clicked on both.
    """
    from trackkit import read_track, serve_editor
    from trackkit.editor.serve import require_packages

    # Refused before the recordings are read, which can take long.
    require_packages()
    if credit is not None and underlay_path is None:
        raise click.UsageError("--credit is about a picture: give it with --underlay")
    plan = _plan_of(underlay_path, underlay_crs, underlay_page, underlay_size, credit)
    picture = None if plan is not None else picture_of(underlay_path, underlay_crs, credit)
    first, *others = words
    given, named = track_and_recordings(words)
    if Path(first).is_file() and first.lower().endswith(".geojson"):
        # What is wrong with a track file is said, rather than taking it for a recording.
        given, named = first, others
    ctx.params["track_path"] = given
    if given is not None and given != first:
        _refuse_sample(given)
    drives = read_drives(named, labels, columns)
    tell_skipped(drives.skipped, named=skipped)
    track_path = given or _located(drives, first)
    embedded = None
    if picture is not None:
        embedded = embedded_in(picture, read_track(track_path), underlay_size)
    if given != first:
        remark(f"saving writes {track_path}")

    def started(address: str) -> None:
        click.echo(address)
        remark("the page is for this computer only; stop with Ctrl-C")
        if not no_browser:
            import webbrowser

            webbrowser.open(address)

    closed = serve_editor(
        track_path,
        drives.recordings,
        names=drives.names,
        underlay=embedded,
        plan=plan,
        port=port,
        stop_when_closed=stop_when_closed,
        started=started,
        unsaved=lambda text: remark(f"trackkit: {text}"),
    )
    if not closed:
        raise KeyboardInterrupt
    if drives.failed:
        ctx.exit(1)


def _plan_of(
    path: str | None, crs: str | None, page: int | None, size_mb: float, credit: str | None
) -> UnplacedPlan | None:
    """Take a picture that does not say where it lies for a plan; None for any other, or none."""
    if path is None:
        if page is not None:
            raise click.UsageError("--underlay-page is about a PDF: give it with --underlay")
        return None
    from trackkit import UnplacedPlan
    from trackkit.underlay.sheets import is_plan

    if not is_plan(path):
        return None
    if crs is not None:
        raise click.UsageError(
            "--underlay-crs is about a picture that says where it lies, which this one does not: "
            "leave it out, and pair places on the page"
        )
    return UnplacedPlan(path, page or 1, " ".join((credit or "").split()), megabytes(size_mb))


def _located(drives: Drives, word: str) -> str:
    """Find the file of the circuit that recordings were driven on.

    Raises
    ------
    TrackkitError
        When it is not one, or they were driven the other way.
    """
    found = circuit_of(drives, word)
    if found.reversed:
        raise TrackkitError(
            f"was driven against the racing direction of {found.track.name}",
            file=word,
            remedy=f"make a file of that direction with `trackkit reverse {found.path} -o FILE`, "
            "and edit that",
        )
    _refuse_sample(found.path)
    return found.path


def _refuse_sample(path: str) -> None:
    """Keep the sample circuits as they are."""
    from trackkit.library.folders import shipped_folder

    if Path(path).parent.resolve() == shipped_folder().resolve():
        name = Path(path).stem
        raise TrackkitError(
            "is a sample circuit that comes with trackkit",
            file=name,
            remedy=f"edit a copy: trackkit export {name} --to geojson -o {name}.geojson",
        )
