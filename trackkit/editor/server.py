"""The local page for placing gates by hand: a server for this computer and one track file.

`trackkit.editor.loopback` refuses requests that are not from its own pages.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import socket
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trackkit.editor.desk import Desk, Page, Presence
from trackkit.editor.loopback import Guard
from trackkit.editor.plan_desk import PlanDesk
from trackkit.errors import TrackkitError
from trackkit.held_files import ChangedMeanwhileError
from trackkit.units import as_read

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp

PLAN_DEEDS = ("pairs", "place", "lay", "save")
"""What a page asks of a plan: whether pairs lay it, where a place is that was typed, to lay it
under the map, and to write a file."""


def make_app(desk: Desk, token: str, port: int, page: Page, presence: Presence) -> ASGIApp:
    """Make the application that serves one track file.

    Parameters
    ----------
    desk
        The file and the edits of it.
    token, port
        See `trackkit.editor.loopback.Guard`.
    page
        Makes the page.
    presence
        Counts pages that open and close.
    """
    from starlette.applications import Starlette
    from starlette.routing import Route

    answers = _Answers(desk, token, page, presence)
    routes = [
        Route("/", answers.show),
        Route("/state", answers.state),
        Route("/edit", answers.edit, methods=["POST"]),
        Route("/save", answers.save, methods=["POST"]),
        Route("/copy", answers.copy, methods=["POST"]),
        Route("/reload", answers.reload, methods=["POST"]),
        Route("/disk", answers.disk),
        Route("/plan", answers.plan),
        *(Route(f"/plan/{what}", answers.plan_asked, methods=["POST"]) for what in PLAN_DEEDS),
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
            except ChangedMeanwhileError as error:
                gone = not Path(self._desk.path).exists()
                document = {"error": str(error), "changed_on_disk": True, "gone": gone}
                return JSONResponse(document, 409)
            except TrackkitError as error:
                return JSONResponse({"error": as_read(str(error))}, 400)
        return HTMLResponse(done) if isinstance(done, str) else JSONResponse(done)

    async def show(self, request: Request) -> Response:  # noqa: ARG002
        """Answer with the page."""

        def work() -> str:
            page, plan = secrets.token_hex(8), self._desk.plan
            state = self._desk.state(page=page)
            session = {
                "token": self._token,
                "file": self._desk.path,
                "base": state["base"],
                "page": page,
                "plan": None if plan is None else {"file": plan.name, "laid": plan.laid},
            }
            return self._page(self._desk.base(), state, session)

        self._presence.opened()
        return await self._answer(work)

    async def state(self, request: Request) -> Response:
        """Answer with what is shown."""
        page = _page_of(request)
        return await self._answer(lambda: self._desk.state(page=page))

    async def edit(self, request: Request) -> Response:
        """Make an edit."""
        asked, page = await _asked(request), _page_of(request)

        def work() -> dict[str, Any]:
            self._desk.editing.apply(asked, page)
            moving = asked.get("gate") if asked.get("light") is True else None
            return self._desk.state(moving, page)

        return await self._answer(work)

    async def save(self, request: Request) -> Response:
        """Write the file."""
        asked, page = await _asked(request), _page_of(request)

        def work() -> dict[str, Any]:
            done = self._desk.save(replace_changed=asked.get("replace_changed") is True)
            return done | {"state": self._desk.state(page=page)}

        return await self._answer(work)

    async def copy(self, request: Request) -> Response:
        """Write what is shown to another file."""
        name = (await _asked(request)).get("name")
        if not isinstance(name, str):
            raise _BadRequestError("a copy needs the name of a file")
        return await self._answer(lambda: self._desk.save_copy(name))

    async def reload(self, request: Request) -> Response:
        """Take the file from disk."""
        await _asked(request)
        page = _page_of(request)

        def work() -> dict[str, Any]:
            self._desk.reload(page)
            return self._desk.state(page=page)

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

    async def plan(self, request: Request) -> Response:  # noqa: ARG002
        """Answer with the plan that is laid by points, and its pairs."""
        plan = self._plan()
        return await self._answer(plan.as_row)

    async def plan_asked(self, request: Request) -> Response:
        """Do something with pairs of the plan: see `PLAN_DEEDS`."""
        asked, page, plan, desk = await _asked(request), _page_of(request), self._plan(), self._desk
        what = request.url.path.rpartition("/")[2]

        def work() -> dict[str, Any]:
            track = desk.editing.step.track
            if what == "pairs":
                return plan.try_pairs(asked, track)
            if what == "place":
                return plan.place_of(asked, track)
            if what == "save":
                return plan.save(asked)
            desk.lay(plan.lay(asked, track))
            return desk.state(page=page)

        return await self._answer(work)

    def _plan(self) -> PlanDesk:
        if self._desk.plan is None:
            raise _BadRequestError("there is no plan to be laid")
        return self._desk.plan

    async def closed(self, request: Request) -> Response:
        """Note that a page was closed."""
        from starlette.responses import JSONResponse

        self._presence.closed()
        page = _page_of(request)
        if page is not None:
            self._desk.editing.close(page)
        return JSONResponse({})


def _page_of(request: Request) -> str | None:
    """Which page asks."""
    return request.query_params.get("page")


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
        From `trackkit.editor.loopback.listen`.
    token
        From `trackkit.editor.loopback.new_token`.
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

    from trackkit.pages.html import edit_html

    # Worked out before the page is asked for, so that it is there at once.
    desk.state()
    desk.base()
    presence = Presence()
    app = make_app(desk, token, listening.getsockname()[1], edit_html, presence)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            lifespan="off",
            ws="none",
            http="h11",
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=2,
        )
    )
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
