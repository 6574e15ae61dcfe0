"""The page of `trackkit edit`, served from a thread and opened in the browser."""

from __future__ import annotations

import threading
import time
from contextvars import copy_context
from pathlib import Path

import pytest
from browsing import Visit
from checkout import TRACKS

from trackkit.recordings.read import read_recording
from trackkit.underlay.sheets import UnplacedPlan

uvicorn = pytest.importorskip("uvicorn")

SAMPLE = TRACKS / "pipwick-kart-circuit.geojson"


class Editor(Visit):
    """The page of `trackkit edit` for a copy of the sample, served from a thread."""

    def __init__(
        self, browser, path: Path, recordings: list[Path], plan: Path | None = None, **look: str
    ) -> None:
        from trackkit.editor.desk import Desk, Presence
        from trackkit.editor.loopback import listen, new_token
        from trackkit.editor.plan_desk import PlanDesk
        from trackkit.editor.server import make_app
        from trackkit.pages.html import edit_html

        self.path = path
        read = [read_recording(one) for one in recordings]
        laid = None if plan is None else PlanDesk(UnplacedPlan(str(plan)))
        desk = Desk(str(path), read, ["drive.csv"][: len(read)], plan=laid)
        listening, token = listen(0), new_token()
        port = listening.getsockname()[1]
        app = make_app(desk, token, port, edit_html, Presence())
        config = uvicorn.Config(app, log_level="warning", lifespan="off", ws="none")
        self.server = uvicorn.Server(config)
        # As in the command, where pages are in the units that were asked for.
        serve = copy_context().run
        self.thread = threading.Thread(
            target=serve, args=(self.server.run, [listening]), daemon=True
        )
        self.thread.start()
        until = time.monotonic() + 10
        while not self.server.started:
            assert time.monotonic() < until, "the server does not start"
            time.sleep(0.01)
        self.origin = f"http://127.0.0.1:{port}/"
        super().__init__(browser, f"{self.origin}{token}/", **look)

    def close(self) -> None:
        self.page.close(run_before_unload=False)
        self.server.should_exit = True
        self.thread.join(5)

    def state(self) -> dict:
        """What the page shows, once it has nothing left to ask."""
        self.wait(
            "!trackkit.page.editing.busy && !trackkit.page.editing.waiting.length"
            " && !trackkit.page.session.sliding"
        )
        return self.page.evaluate("trackkit.page.session.state")

    def gate(self, name: str) -> dict:
        (found,) = [gate for gate in self.state()["gates"] if gate["name"] == name]
        return found

    def focus(self, name: str) -> None:
        self.page.locator(".label.gate", has_text=name).focus()

    def drag(self, start: tuple[float, float], *stops: tuple[float, float]) -> None:
        mouse = self.page.mouse
        mouse.move(*start)
        mouse.down()
        for stop in stops:
            mouse.move(*stop, steps=3)
        mouse.up()

    def save(self) -> None:
        self.state()
        self.page.locator("#save").click()
        self.wait("!trackkit.page.session.state.unsaved")
