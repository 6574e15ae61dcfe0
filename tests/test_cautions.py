"""Every caution is said at the places that DEVELOPERS.md lists for it, and before the danger."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from checkout import ROOT, TRACKS
from doc_pages import page_text
from lxml import html as lxml_html
from oval_page import oval

from trackkit import caution
from trackkit.checks.evaluate import evaluate, prepare
from trackkit.cli import run
from trackkit.pages.base import base_document
from trackkit.pages.html import edit_html
from trackkit.pages.state import state
from trackkit.paper.draw import draw

SAMPLE = TRACKS / "pipwick-kart-circuit.geojson"
ROW = re.compile(r"^\| ([^|]+) \| `(\w+)` \| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
TILES = ["--tiles", "https://tiles.example.org/{z}/{x}/{y}.png", "--credit", "Pictures: nobody"]


def rows() -> list[tuple[str, str]]:
    """Names of sentences, each with a place that the table gives for it."""
    text = page_text(ROOT / "DEVELOPERS.md")
    table = text[text.index("## Cautions") : text.index("## Add a check")]
    return [
        (sentence, place)
        for _, sentence, _, places in ROW.findall(table)
        for place in places.split(", ")
    ]


def in_one_line(text: str) -> str:
    return " ".join(text.replace("\n> ", "\n").split())


def words_of(page: Path | str) -> str:
    tree = lxml_html.fromstring(page.read_text("utf-8") if isinstance(page, Path) else page)
    for element in tree.xpath("//script|//style"):
        element.drop_tree()
    return " ".join(tree.itertext())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording, and the track and the page that were made of it."""
    made = tmp_path_factory.mktemp("cautions")
    lap = ["simulate", str(SAMPLE), "-o", str(made / "lap.nmea"), "--laps", "1", "--rate", "5"]
    assert run(lap) == 0
    return made


@pytest.fixture
def said_by(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch):
    """What is said at a place: on standard error, on a page, on a sheet, in a document."""
    lap = str(folder / "lap.nmea")
    target, page = str(tmp_path / "t.geojson"), tmp_path / "page.html"
    build = ["build", lap, "--name", "X", "-o", target]

    def err(*commands: list[str], status: int = 0) -> str:
        for command in commands:
            capsys.readouterr()
            assert run(command) == status
        return capsys.readouterr().err

    def paper() -> str:
        return " ".join(text.get_text() for text in draw(oval()).figure.axes[0].texts)

    def edited() -> str:
        track = oval()
        prepared = prepare(track, [])
        base = base_document(track, [], evaluate(track, prepared).quality)
        return words_of(edit_html(base, state(track, prepared), {}))

    def after(command: list[str]) -> str:
        err(command)
        return words_of(page)

    def from_standard_input() -> str:
        monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"")))
        return err(["locate", "-"], status=1)

    scenes = {
        "`build`": lambda: err(build),
        "`build --force`": lambda: err(build, [*build, "--force"]),
        "`build --revise`": lambda: err(build, ["build", "--revise", target, lap]),
        "`build --explain`": lambda: after([*build, "--explain", str(page)]),
        "`map`": lambda: after(["map", str(SAMPLE), "-o", str(page)]),
        "`map` on paper": paper,
        "`map --tiles`": lambda: err(["map", str(SAMPLE), *TILES, "-o", str(page)]),
        "`edit`": edited,
        "`laps`": lambda: err(["laps", str(SAMPLE), lap]),
        "`locate -`": from_standard_input,
        # Files that are not there: what is said is said before they are read.
        "`build --open`": lambda: err(["build", "no.csv", "--open", "--name", "X"], status=1),
        "`build --left`": lambda: err(
            ["build", "--left", "no.csv", "--right", "no.csv", "--name", "X"], status=1
        ),
        "`gate place --ends`": lambda: err(
            ["gate", "place", target, "sector", "--ends", "no.csv,no.csv"], status=1
        ),
    }

    def said(place: str) -> str:
        if place in scenes:
            return scenes[place]()
        if place.endswith(".md"):
            return page_text(ROOT / place)
        words = place.strip("`").split()
        assert words[-1] == "--help", f"nothing here knows how to look at {place}"
        assert run(words) == 0
        return capsys.readouterr().out

    return said


@pytest.mark.slow
@pytest.mark.parametrize(("sentence", "place"), rows())
def test_the_caution_is_said_word_for_word(sentence: str, place: str, said_by) -> None:
    assert getattr(caution, sentence) in in_one_line(said_by(place))


def test_the_table_has_every_sentence_and_no_other() -> None:
    sentences = {name for name in vars(caution) if name.isupper()}
    assert {sentence for sentence, _ in rows()} == sentences


@pytest.mark.slow
@pytest.mark.parametrize("place", ["`build --force`", "`build --revise`"])
def test_what_is_made_anew_has_one_line_of_caution(place: str, said_by) -> None:
    last = said_by(place).splitlines()[-1]
    assert last == caution.AGAIN
    assert len(last) < 100


@pytest.mark.parametrize("place", ["`build --open`", "`build --left`", "`gate place --ends`"])
def test_the_caution_comes_before_anything_else(place: str, said_by) -> None:
    first = said_by(place).splitlines()[0]
    assert first in (caution.CLOSED_ROADS, caution.EDGES, caution.ENDS)


def test_a_line_drawn_by_somebody_needs_no_closed_road(tmp_path, capsys) -> None:
    assert run(["build", "--from-line", "no.kml", "--open", "--name", "X"]) == 1
    assert caution.CLOSED_ROADS not in capsys.readouterr().err


@pytest.mark.parametrize(
    "topic",
    ["driving", "leave of", "marshals", "organiser", "insurer", "timekeepers", "public roads"],
)
def test_the_whole_caution_covers(topic: str) -> None:
    """Common practice of organisers' general instructions, no source."""
    assert topic in caution.CAUTION
