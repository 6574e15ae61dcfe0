"""Do the walk-throughs of docs/ and README.md again: their real output, and their pictures.

    python docs/make_pictures.py          writes the output below each command, takes the pictures
    python docs/make_pictures.py --text   only the output
    python docs/make_pictures.py gallery.md   only that page

A walk-through is a page with fenced blocks.  In a `console` block every line that begins with
``$ trackkit`` is run, in order, in a temporary folder that holds a copy of tracks/, and what it
says is written below it; where the page cuts it short with a line ``...``, it is cut at the same
length.  A `python` block is run too, and what it prints goes to the `text` block after it.
tests/journeys/test_walk_throughs.py does the same and compares.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl

from trackkit.caution import CAUTION
from trackkit.cli import run

mpl.use("agg")

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
WALK_THROUGHS = ("official.md", "driver.md", "analyst.md", "gallery.md")
CUT = "..."
PROMPT = "$ trackkit "
CHROMIUM = Path("/usr/bin/chromium")
LARGEST_BYTES = 150_000
_FENCED = re.compile(r"^```(console|python|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Picture:
    """A page that a walk-through makes, and how it is photographed; one in PNG is a picture."""

    walk_through: str
    page: str
    file: str
    width: int = 1000
    height: int = 700
    script: str = ""
    edited: str = ""
    """A recording; the page is then that of `trackkit edit` with it, and `page` the track file."""


_SHOW_FINDINGS = """
document.getElementById("findings").scrollIntoView();
"""
_HOLD_A_GATE = """
document.querySelector('.label.gate.sector').focus();
"""
PICTURES = (
    Picture("official.md", "pipwick.html", "official-map.png"),
    Picture("official.md", "pipwick.svg", "official-paper.png", width=1123, height=794),
    Picture("official.md", "mistake.html", "official-mistake.png", script=_SHOW_FINDINGS),
    Picture(
        "official.md",
        "pipwick.geojson",
        "editor.png",
        width=1100,
        height=800,
        script=_HOLD_A_GATE,
        edited="lap.nmea",
    ),
    Picture("driver.md", "friday.html", "driver-map.png", width=1100, height=900),
    Picture("analyst.md", "morrowfen.html", "analyst-map.png"),
    Picture("gallery.md", "ruddlebeck.html", "gallery-map.png", width=1100, height=900),
    Picture("gallery.md", "circuits.html", "gallery-circuits.png"),
    Picture("gallery.md", "twistlemoor.svg", "gallery-paper.png", width=1123, height=794),
    Picture("gallery.md", "built.html", "gallery-built.png"),
    Picture("gallery.md", "gallery-crossings.png", "gallery-crossings.png"),
    Picture("gallery.md", "gallery-plots.png", "gallery-plots.png"),
    Picture("gallery.md", "gallery-curvature.png", "gallery-curvature.png"),
)


def replayed(text: str) -> str:
    """Run a walk-through in the current folder and return it with the output it really gives."""
    names: dict[str, Any] = {"__name__": "walk_through"}
    printed: list[str] | None = None
    parts: list[str] = []
    end = 0
    for block in _FENCED.finditer(text):
        kind, body = block[1], block[2]
        if kind == "console":
            body, printed = "".join(_console(body)), None
        elif kind == "python":
            printed = _output_of(lambda code=body: exec(code, names))  # noqa: S102
        elif printed is not None:
            body, printed = _lines(printed, body.splitlines()), None
        parts += [text[end : block.start(2)], body]
        end = block.end(2)
    return "".join([*parts, text[end:]])


def _console(body: str) -> Iterator[str]:
    for part in re.split(r"^(?=\$ )", body, flags=re.MULTILINE):
        if not part.startswith(PROMPT):
            yield part
            continue
        command, *shown = re.sub(r"\\\n\s*", "\0", part).splitlines()
        words = shlex.split(command.replace("\0", " ").removeprefix(PROMPT))
        status = 0

        def work(words: list[str] = words) -> None:
            nonlocal status
            status = run(words)

        said = _output_of(work)
        if status:
            said.append(f"[exit status {status}]")
        yield command.replace("\0", "\\\n    ") + "\n" + _lines(said, shown)


def _output_of(work: Any) -> list[str]:
    """Collect what is printed, on either stream, as lines without blank ones at the ends."""
    caught = io.StringIO()
    with contextlib.redirect_stdout(caught), contextlib.redirect_stderr(caught):
        work()
    said = caught.getvalue().replace(CAUTION, CAUTION[: CAUTION.index(":") + 1] + " " + CUT)
    lines = [line.rstrip() for line in said.splitlines()]
    while lines and not lines[0]:
        del lines[0]
    while lines and not lines[-1]:
        del lines[-1]
    return lines


def _lines(said: list[str], shown: list[str]) -> str:
    if shown and shown[-1] == CUT and len(said) >= len(shown):
        said = [*said[: len(shown) - 1], CUT]
    return "".join(f"{line}\n" for line in said)


@contextlib.contextmanager
def working_folder() -> Iterator[Path]:
    """Stand in a temporary folder with a copy of the sample circuits, and no other library."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(ROOT / "tracks", folder / "tracks")
        home = os.environ.get("XDG_DATA_HOME")
        os.environ["XDG_DATA_HOME"] = str(folder / "home")
        try:
            with contextlib.chdir(folder):
                yield folder
        finally:
            del os.environ["XDG_DATA_HOME"]
            if home is not None:
                os.environ["XDG_DATA_HOME"] = home


def take(folder: Path, pictures: list[Picture]) -> None:
    """Photograph pages with Debian's Chromium, with no network."""
    from playwright.sync_api import sync_playwright

    (DOCS / "pictures").mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"]
        )
        for picture in pictures:
            target = DOCS / "pictures" / picture.file
            if picture.page.endswith(".png"):
                shutil.copyfile(folder / picture.page, target)
            else:
                _photograph(browser, folder, picture, target)
            _with_fewer_colours(target)
            size = target.stat().st_size
            print(f"{target.relative_to(ROOT)}: {size:,} bytes")
            if size > LARGEST_BYTES:
                sys.exit(f"{picture.file} is larger than {LARGEST_BYTES:,} bytes: make it smaller")
        browser.close()


def _photograph(browser: Any, folder: Path, picture: Picture, target: Path) -> None:
    page = browser.new_page(viewport={"width": picture.width, "height": picture.height})
    with _address(folder, picture) as address:
        page.context.set_offline(not picture.edited)
        page.goto(address)
        page.wait_for_timeout(800)
        if picture.script:
            page.evaluate(picture.script)
            page.wait_for_timeout(800)
        page.screenshot(path=str(target))
        page.close()


def _with_fewer_colours(picture: Path) -> None:
    """Keep 128 colours: the page has few, and the file becomes a third as large."""
    from PIL import Image

    with Image.open(picture) as image:
        reduced = image.convert("RGB").quantize(128, dither=Image.Dither.NONE)
    reduced.save(picture, optimize=True)


@contextlib.contextmanager
def _address(folder: Path, picture: Picture) -> Iterator[str]:
    """Tell where a picture's page is, and serve it meanwhile if it is one that edits."""
    if not picture.edited:
        yield (folder / picture.page).as_uri()
        return
    command = [sys.executable, "-m", "trackkit", "edit", picture.page, picture.edited]
    server = subprocess.Popen(  # noqa: S603 - our own command
        [*command, "--no-browser"], cwd=folder, stdout=subprocess.PIPE, text=True
    )
    try:
        if server.stdout is None or not (address := server.stdout.readline().strip()):
            sys.exit("trackkit edit did not say where it serves")
        yield address
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(10)


def main() -> None:
    """Do every walk-through again, or those that are named."""
    named = [word for word in sys.argv[1:] if not word.startswith("-")]
    for name in named or WALK_THROUGHS:
        path = DOCS / name
        with working_folder() as folder:
            path.write_text(replayed(path.read_text("utf-8")), "utf-8")
            print(f"{path.relative_to(ROOT)}: done again")
            wanted = [picture for picture in PICTURES if picture.walk_through == name]
            if "--text" not in sys.argv[1:] and wanted:
                take(folder, wanted)


if __name__ == "__main__":
    main()
