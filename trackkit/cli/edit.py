"""``trackkit edit``: place gates by hand on a page of this computer."""

from __future__ import annotations

import click

from trackkit.cli.common import Command, columns_option, read_recordings, remark, units_option
from trackkit.cli.recording_folders import entries_of, label_option, labels_of, names_on_page


@click.command(cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("recording_paths", metavar="[RECORDING]...", nargs=-1)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    metavar="N",
    help="Port of this computer to serve the page at.  [default: a free one]",
)
@click.option("--no-browser", is_flag=True, help="Print the address, but open no browser.")
@click.option("--stop-when-closed", is_flag=True, help="Stop when the page is closed.")
@label_option
@columns_option
@units_option
@click.pass_context
def edit(
    ctx: click.Context,
    track_path: str,
    recording_paths: tuple[str, ...],
    port: int | None,
    no_browser: bool,
    stop_when_closed: bool,
    labels: tuple[str, ...],
    columns: str | None,
) -> None:
    """Place, move and remove gates by hand, and see what recordings make of them.

    Serves a page to this computer only, until Ctrl-C.  Saving writes TRACK and leaves the
    previous file beside it as TRACK~.  A table drivers.csv beside the recordings names them.
    """
    from trackkit import serve_editor
    from trackkit.editor.serve import require_packages

    # Refused before the recordings are read, which can take long.
    require_packages()
    called = labels_of(recording_paths, labels, entries_of(recording_paths))
    recordings, failed = read_recordings(recording_paths, columns)

    def started(address: str) -> None:
        click.echo(address)
        remark("the page is for this computer only; stop with Ctrl-C")
        if not no_browser:
            import webbrowser

            webbrowser.open(address)

    closed = serve_editor(
        track_path,
        recordings,
        names=names_on_page(recording_paths, called, recordings),
        port=port,
        stop_when_closed=stop_when_closed,
        started=started,
        unsaved=lambda text: remark(f"trackkit: {text}"),
    )
    if not closed:
        raise KeyboardInterrupt
    if failed:
        ctx.exit(1)
