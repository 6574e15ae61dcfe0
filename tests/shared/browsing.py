"""Debian's Chromium for tests: opened, or given up with the reason."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

CHROMIUM = Path("/usr/bin/chromium")
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"desk": (1280, 800), "phone": (360, 740)}


@contextmanager
def chromium() -> Iterator[object]:
    required = os.environ.get("TRACKKIT_REQUIRE_BROWSER") == "1"
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        give_up("playwright is not installed", required)
    if not CHROMIUM.exists():
        give_up(f"{CHROMIUM} is not installed", required)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=str(CHROMIUM), args=SWITCHES)
        yield opened
        opened.close()


def give_up(reason: str, required: bool) -> None:
    if required:
        pytest.fail(f"{reason}, and it is required here")
    pytest.skip(reason)


class Visit:
    """A page opened in the browser, with what it said and what it asked for."""

    def __init__(
        self,
        browser,
        address: str,
        size: str = "desk",
        theme: str = "light",
        ready: str = "window.trackkit?.page",
    ) -> None:
        width, height = SIZES[size]
        self.page = browser.new_page(
            viewport={"width": width, "height": height}, color_scheme=theme
        )
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.address, self.ready = address, ready
        self.open()

    def open(self) -> None:
        self.page.goto(self.address)
        self.wait(f"Boolean({self.ready})")

    def wait(self, expression: str, argument: object = None, seconds: float = 20.0) -> None:
        """Wait until something holds on the page.

        Playwright's own wait evaluates text within the page, which the page's policy forbids.
        """
        until = time.monotonic() + seconds
        while not self.page.evaluate(expression, argument):
            assert time.monotonic() < until, f"still not so: {expression}"
            self.page.wait_for_timeout(20)

    def boxes(self, selector: str) -> list[tuple[float, float, float, float]]:
        """Left, top, right and bottom of every element that shows, in pixels."""
        found = self.page.evaluate(
            """selector => Array.from(document.querySelectorAll(selector))
                .filter(node => getComputedStyle(node).visibility === "visible")
                .map(node => node.getBoundingClientRect())
                .filter(box => box.width + box.height > 0)
                .map(box => [box.left, box.top, box.right, box.bottom])""",
            selector,
        )
        return [tuple(box) for box in found]

    def on_map(self, chainage_m: float) -> tuple[float, float]:
        """Where a chainage of the line as it was opened is on the screen, in pixels."""
        return tuple(
            self.page.evaluate(
                """at => { const { map, session } = trackkit.page, p = session.line.at(at);
                    const [lon, lat] = session.line.toLonLat(p.x, p.y);
                    const point = map.map.latLngToContainerPoint([lat, lon]);
                    const frame = map.map.getContainer().getBoundingClientRect();
                    return [point.x + frame.left, point.y + frame.top]; }""",
                chainage_m,
            )
        )
