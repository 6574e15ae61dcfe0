"""The page for placing gates by hand, served from opening the file to the end."""

from __future__ import annotations

import os
import warnings
import webbrowser
from collections.abc import Callable, Sequence

from trackkit.editor.desk import Desk
from trackkit.editor.loopback import ADDRESS, listen, new_token
from trackkit.editor.plan_desk import PlanDesk
from trackkit.editor.server import serve
from trackkit.errors import TrackkitError
from trackkit.recordings.recording import Recording
from trackkit.underlay.embed import EmbeddedPicture
from trackkit.underlay.sheets import UnplacedPlan


def serve_editor(
    path: str | os.PathLike[str],
    recordings: Sequence[Recording] = (),
    *,
    names: Sequence[str] | None = None,
    underlay: EmbeddedPicture | None = None,
    plan: UnplacedPlan | None = None,
    port: int | None = None,
    stop_when_closed: bool = False,
    started: Callable[[str], object] = webbrowser.open,
    unsaved: Callable[[str], object] = warnings.warn,
) -> bool:
    """Serve a page to this computer only, to place, move and remove gates of a track file by hand.

    It is served until it is interrupted (Ctrl-C), or closed.  Saving on the page writes the file
    and leaves the one before beside it, with ``~`` appended.

    Parameters
    ----------
    path
        The track file.
    recordings
        Of the track; the page shows what becomes of their laps.
    names
        What the page calls the recordings, in their order; their own names when None.
    underlay
        A picture of the ground under the map, from `trackkit.embed_underlay`.
    plan
        A photo, a scan or a PDF that does not say where it lies: the page lays it by places that
        are clicked on it and on the map.
    port
        Of this computer, 1 to 65535; None for a free one.
    stop_when_closed
        Whether to stop when the last page is closed.
    started
        Called with the address once it can be asked for; it opens a browser unless another is
        given.
    unsaved
        Called with a sentence when changes, or points of the plan, that were not saved are dropped
        at the end.

    Returns
    -------
    bool
        Whether it stopped because the page was closed, and not because of an interrupt.

    Raises
    ------
    TrackFileError
        When the file is no track file, or its line cannot be followed.
    UnderlayError
        When the plan can't be read.
    TrackkitError
        When the packages for the page are not installed, or the port is taken.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.serve_editor("nowhere.geojson")
    Traceback (most recent call last):
        ...
    trackkit.errors.TrackFileError: nowhere.geojson: no such file
    """
    require_packages()
    path = os.fspath(path)
    desk = Desk(path, recordings, names, underlay, None if plan is None else PlanDesk(plan))
    listening = listen(port or 0)
    token = new_token()
    address = f"http://{ADDRESS}:{listening.getsockname()[1]}/{token}/"

    def tell_address() -> None:
        started(address)

    try:
        return serve(
            desk,
            listening,
            token,
            stop_when_closed=stop_when_closed,
            started=tell_address,
        )
    finally:
        if desk.editing.unsaved:
            unsaved(f"{path}: changes that were not saved are dropped")
        if desk.plan is not None and desk.plan.unsaved:
            unsaved(f"{desk.plan.name}: its points were not saved, and are dropped")


def require_packages() -> None:
    """Refuse to go on without the packages that the page is served with.

    Raises
    ------
    TrackkitError
        When one is not installed.
    """
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError as error:
        raise TrackkitError(
            f"the page needs a package that is not installed ({error.name})",
            remedy="install it with `pip install 'trackkit[edit]'`",
        ) from error
