"""``trackkit edit``: place gates by hand on a page of this computer."""

from __future__ import annotations

import click

from trackkit.cli.common import Command, columns_option, read_recordings, remark
from trackkit.errors import TrackkitError


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
@columns_option
@click.pass_context
def edit(
    ctx: click.Context,
    track_path: str,
    recording_paths: tuple[str, ...],
    port: int | None,
    no_browser: bool,
    stop_when_closed: bool,
    columns: str | None,
) -> None:
    """Place, move and remove gates by hand, and see what recordings make of them.

    Serves a page to this computer only, until Ctrl-C.  Saving writes TRACK and leaves the
    previous file beside it as TRACK~.
    """
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError as error:
        raise TrackkitError(
            f"the page needs a package that is not installed ({error.name})",
            remedy="install it with `pip install 'trackkit[edit]'`",
        ) from error
    from trackkit.editor.desk import Desk
    from trackkit.editor.loopback import ADDRESS, listen, new_token
    from trackkit.editor.server import serve

    recordings, failed = read_recordings(recording_paths, columns)
    desk = Desk(track_path, recordings, [recording.name for recording in recordings])
    listening = listen(port or 0)
    token = new_token()
    address = f"http://{ADDRESS}:{listening.getsockname()[1]}/{token}/"

    def started() -> None:
        click.echo(address)
        remark("the page is for this computer only; stop with Ctrl-C")
        if not no_browser:
            import webbrowser

            webbrowser.open(address)

    try:
        closed = serve(desk, listening, token, stop_when_closed=stop_when_closed, started=started)
    finally:
        if desk.editing.unsaved:
            remark(f"trackkit: {track_path}: changes that were not saved are dropped")
    if not closed:
        raise KeyboardInterrupt
    if failed:
        ctx.exit(1)
