"""The local page for placing gates by hand: a server for this computer and one track file.

`trackkit.loopback` sees to it that nobody else uses it.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import os
import shlex
import socket
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trackkit.checks import layouts_beside
from trackkit.editing import Editing
from trackkit.errors import TrackFileError, TrackkitError, reading_failed
from trackkit.loopback import Guard
from trackkit.pagedata import base_document
from trackkit.recording import Recording
from trackkit.retiming import Prepared, evaluate, prepare
from trackkit.track import Track
from trackkit.trackfile import read_track, stored, write_track

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp

Page = Callable[[dict[str, Any], dict[str, Any], dict[str, Any]], str]
"""Makes the page of a base document, a state and what the session is."""

CLOSED_S = 3.0
"""How long a page that closed may take to come back: it may just have been reloaded."""


class ChangedOnDiskError(TrackkitError):
    """The file is not what was read or written last."""


class Desk:
    """A track file that is being edited, and what was last seen of it on disk."""

    def __init__(
        self, path: str, recordings: Sequence[Recording] = (), files: Sequence[str] = ()
    ) -> None:
        self.path = path
        self._recordings, self._files = tuple(recordings), tuple(files)
        self._digest = _digest(path)
        track, prepared = self._read()
        self.editing = Editing(track, prepared)
        self._base: tuple[int, dict[str, Any]] | None = None

    def _read(self) -> tuple[Track, Prepared]:
        track = read_track(self.path)
        try:
            _ = track.curve
        except TrackkitError as error:
            raise TrackFileError(error.what, file=self.path, remedy=error.remedy) from error
        beside = layouts_beside(self.path, track)
        return track, prepare(track, self._recordings, self._files, beside)

    @property
    def changed_on_disk(self) -> bool:
        """Whether the file is not what was read or written last, or is gone."""
        return _digest(self.path) != self._digest

    def base(self) -> dict[str, Any]:
        """Describe the line and the recordings, which no edit changes."""
        step = self.editing.step
        if self._base is None or self._base[0] != step.base:
            first = step.prepared.track
            known = evaluate(first, step.prepared)
            drives = step.prepared.drives
            laps = [report.laps for report in known.reports] or [()] * len(drives)
            document = base_document(first, list(zip(drives, laps, strict=True)), known.quality)
            self._base = (step.base, document)
        return self._base[1]

    def save(self, *, replace_changed: bool = False) -> dict[str, Any]:
        """Write the track file; the one that was there is kept beside it.

        Raises
        ------
        ChangedOnDiskError
            When somebody else changed the file, unless that may be replaced.
        TrackkitError
            When it cannot be written.
        """
        changed = self.changed_on_disk
        if changed and not replace_changed:
            gone = not Path(self.path).exists()
            raise ChangedOnDiskError(
                "was deleted or moved meanwhile" if gone else "was changed on disk meanwhile",
                file=self.path,
                remedy="save all the same to write it again"
                if gone
                else "take it from disk, which can be undone, or save all the same; what is on "
                "disk is then kept beside it",
            )
        if not changed and not self.editing.unsaved:
            # Written again, it would take the place of the one that was there before.
            return {"saved": True, "file": self.path, "previous": None}
        previous = self.path + "~" if Path(self.path).exists() else None
        write_track(stored(self.editing.step.track), self.path, force=True, keep_previous=True)
        self._digest = _digest(self.path)
        self.editing.mark_saved()
        return {"saved": True, "file": self.path, "previous": previous}

    def reload(self) -> None:
        """Take the file as it is on disk now."""
        digest = _digest(self.path)
        track, prepared = self._read()
        self._digest = digest
        self.editing.take(track, prepared)
        self.editing.edit += 1

    def said(self, text: str) -> str:
        """Put the file's name where a remedy says TRACK."""
        return text.replace(" TRACK ", f" {shlex.quote(self.path)} ")

    def state(self, moving: str | None = None) -> dict[str, Any]:
        """Describe what is shown."""
        shown = self.editing.state(moving)
        shown["remarks"] = [self.said(text) for text in shown["remarks"]]
        return shown


def _digest(path: str | os.PathLike[str]) -> str | None:
    """Hash what a file holds; None where there is none."""
    try:
        return hashlib.sha256(Path(path).read_bytes()).hexdigest()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise TrackFileError(reading_failed(path, error), file=path) from error


class Presence:
    """How many pages are open, as far as they said so."""

    def __init__(self) -> None:
        self._open = 0
        self._last = time.monotonic()
        self._opened = False

    def seen(self) -> None:
        """Note that a page asked for something."""
        self._last = time.monotonic()

    def opened(self) -> None:
        """Note that a page was opened."""
        self._open, self._opened = self._open + 1, True

    def closed(self) -> None:
        """Note that a page was closed."""
        self._open = max(self._open - 1, 0)

    @property
    def gone(self) -> bool:
        """Whether every page that was opened is closed, and has been for a while."""
        return self._opened and not self._open and time.monotonic() - self._last > CLOSED_S


def make_app(desk: Desk, token: str, port: int, page: Page, presence: Presence) -> ASGIApp:
    """Make the application that serves one track file.

    Parameters
    ----------
    desk
        The file and the edits of it.
    token, port
        See `trackkit.loopback.Guard`.
    page
        Makes the page.
    presence
        Is told of pages that open and close.
    """
    from starlette.applications import Starlette
    from starlette.routing import Route

    answers = _Answers(desk, token, page, presence)
    routes = [
        Route("/", answers.show),
        Route("/state", answers.state),
        Route("/edit", answers.edit, methods=["POST"]),
        Route("/save", answers.save, methods=["POST"]),
        Route("/reload", answers.reload, methods=["POST"]),
        Route("/disk", answers.disk),
        Route("/closed", answers.closed, methods=["POST"]),
    ]
    app = Starlette(routes=routes, exception_handlers={_BadRequestError: _refused})
    return Guard(app, token, port, presence.seen)


class _Answers:
    """What is answered to each request, one at a time and in the order they come."""

    def __init__(self, desk: Desk, token: str, page: Page, presence: Presence) -> None:
        self._desk, self._token, self._page, self._presence = desk, token, page, presence
        self._turn = asyncio.Lock()

    async def _answer(self, work: Callable[[], dict[str, Any] | str]) -> Response:
        from starlette.concurrency import run_in_threadpool
        from starlette.responses import HTMLResponse, JSONResponse

        async with self._turn:
            try:
                done = await run_in_threadpool(work)
            except ChangedOnDiskError as error:
                gone = not Path(self._desk.path).exists()
                said = {"error": str(error), "changed_on_disk": True, "gone": gone}
                return JSONResponse(said, 409)
            except TrackkitError as error:
                return JSONResponse({"error": self._desk.said(str(error))}, 400)
        return HTMLResponse(done) if isinstance(done, str) else JSONResponse(done)

    async def show(self, request: Request) -> Response:  # noqa: ARG002
        """Answer with the page."""

        def work() -> str:
            state = self._desk.state()
            session = {"token": self._token, "file": self._desk.path, "base": state["base"]}
            return self._page(self._desk.base(), state, session)

        self._presence.opened()
        return await self._answer(work)

    async def state(self, request: Request) -> Response:  # noqa: ARG002
        """Answer with what is shown."""
        return await self._answer(self._desk.state)

    async def edit(self, request: Request) -> Response:
        """Make an edit."""
        asked = await _asked(request)

        def work() -> dict[str, Any]:
            self._desk.editing.apply(asked)
            return self._desk.state(asked.get("gate") if asked.get("light") is True else None)

        return await self._answer(work)

    async def save(self, request: Request) -> Response:
        """Write the file."""
        asked = await _asked(request)

        def work() -> dict[str, Any]:
            done = self._desk.save(replace_changed=asked.get("replace_changed") is True)
            return done | {"state": self._desk.state()}

        return await self._answer(work)

    async def reload(self, request: Request) -> Response:
        """Take the file from disk."""
        await _asked(request)

        def work() -> dict[str, Any]:
            self._desk.reload()
            return self._desk.state()

        return await self._answer(work)

    async def disk(self, request: Request) -> Response:  # noqa: ARG002
        """Say whether the file was changed by somebody else."""
        desk = self._desk
        return await self._answer(
            lambda: {
                "changed_on_disk": desk.changed_on_disk,
                "gone": not Path(desk.path).exists(),
                "edit": desk.editing.edit,
            }
        )

    async def closed(self, request: Request) -> Response:  # noqa: ARG002
        """Note that a page was closed."""
        from starlette.responses import JSONResponse

        self._presence.closed()
        return JSONResponse({})


class _BadRequestError(Exception):
    """A request that no page of ours sends."""


async def _refused(request: Request, error: Exception) -> Response:  # noqa: ARG001
    from starlette.responses import JSONResponse

    return JSONResponse({"error": str(error)}, 400)


async def _asked(request: Request) -> Mapping[str, Any]:
    try:
        asked = json.loads(await request.body() or b"{}")
    except (ValueError, RecursionError) as error:
        raise _BadRequestError("what was sent is not JSON") from error
    if not isinstance(asked, dict):
        raise _BadRequestError("what was sent is no JSON object")
    return asked


def serve(
    desk: Desk,
    listening: socket.socket,
    token: str,
    *,
    stop_when_closed: bool = False,
    started: Callable[[], None] = lambda: None,
) -> bool:
    """Serve the page until Ctrl-C, or until it is closed.

    Parameters
    ----------
    desk
        The file and the edits of it.
    listening
        From `trackkit.loopback.listen`.
    token
        From `trackkit.loopback.new_token`.
    stop_when_closed
        Whether to stop when the last page is closed.
    started
        Called once pages can be asked for.

    Returns
    -------
    bool
        Whether it stopped because the page was closed.
    """
    import uvicorn

    from trackkit.htmlmap import edit_html

    # Worked out before the page is asked for, so that it is there at once.
    desk.state()
    desk.base()
    presence = Presence()
    app = make_app(desk, token, listening.getsockname()[1], edit_html, presence)
    server = uvicorn.Server(
        uvicorn.Config(
            app, log_level="warning", access_log=False, lifespan="off", ws="none", http="h11",
            server_header=False, proxy_headers=False, timeout_graceful_shutdown=2,
        )
    )  # fmt: skip
    left = threading.Event()

    def watch() -> None:
        while not server.started:
            time.sleep(0.02)
        started()
        while stop_when_closed and not server.should_exit:
            if presence.gone:
                left.set()
                server.should_exit = True
            time.sleep(0.2)

    threading.Thread(target=watch, daemon=True).start()
    server.run(sockets=[listening])
    return left.is_set()
