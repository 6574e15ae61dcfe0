"""The site of docs/: what goes into it is whole, and what comes out of it asks nobody for anything.

Tests of the built site are run where TRACKKIT_SITE names its folder, as CI does.
"""

from __future__ import annotations

import functools
import http.server
import json
import os
import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import chromium
from checkout import ROOT
from doc_pages import DOCS, page_text
from lxml import html

import trackkit

NOTEBOOKS = sorted((DOCS / "notebooks").glob("*.ipynb"))
REFERENCE = sorted((DOCS / "reference").glob("*.md"))


def test_there_are_six_notebooks_and_each_is_in_the_contents_of_the_site():
    contents = page_text(DOCS / "site" / "mkdocs.yml")
    assert len(NOTEBOOKS) == 6
    for path in NOTEBOOKS:
        assert f"notebooks/{path.stem}.md" in contents


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_kept_without_what_came_of_it(path):
    notebook = json.loads(page_text(path))
    assert set(notebook["metadata"]) <= {"kernelspec", "language_info"}
    for cell in notebook["cells"]:
        assert cell["metadata"] == {}
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            assert cell["execution_count"] is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_says_that_its_circuits_are_invented_and_teaches_in_words(path):
    cells = json.loads(page_text(path))["cells"]
    words = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown"]
    assert words[0].startswith("# ")
    assert re.search(r"\binvented\b", words[0])
    assert len(words) >= len(cells) / 4


def listed(path: Path) -> list[str]:
    return re.findall(r"^::: trackkit\.(\w+)$", page_text(path), re.MULTILINE)


def test_the_reference_has_every_public_name_once_and_no_other():
    names = [name for path in REFERENCE for name in listed(path)]
    assert sorted(names) == sorted(set(trackkit.__all__) - {"__version__"})


def test_the_front_page_of_the_reference_lists_what_each_topic_has():
    rows = re.findall(
        r"^\| \[[^]]+\]\((\w+\.md)\) \| (.+) \|$",
        page_text(DOCS / "reference" / "index.md"),
        re.MULTILINE,
    )
    topics = {page: re.findall(r"`(\w+)`", names) for page, names in rows}
    assert topics == {path.name: listed(path) for path in REFERENCE if path.name != "index.md"}


@pytest.fixture(scope="module")
def site() -> Path:
    named = os.environ.get("TRACKKIT_SITE")
    if not named:
        pytest.skip("TRACKKIT_SITE names no built site")
    folder = (ROOT / named).resolve()
    assert (folder / "index.html").is_file()
    return folder


LOADS = {
    "script": ("src",),
    "img": ("src", "srcset"),
    "iframe": ("src",),
    "source": ("src", "srcset"),
    "video": ("src", "poster"),
    "audio": ("src",),
    "embed": ("src",),
    "object": ("data",),
    "use": ("href",),
    "image": ("href",),
}
"""Attributes that make a browser fetch something by itself (HTML Living Standard; from memory)."""
FETCHED_LINKS = {"stylesheet", "icon", "preload", "prefetch", "preconnect", "dns-prefetch"}
ELSEWHERE = re.compile(r"\s*(?:https?:)?//", re.IGNORECASE)
STYLE_LOADS = re.compile(r"(?:url\(|@import)\s*[\"']?((?:https?:)?//[^\"')\s]+)", re.IGNORECASE)


def fetched_from_elsewhere(text: str) -> Iterator[str]:
    """What a browser would fetch from another server for a page, and pages framed in it."""
    tree = html.document_fromstring(text)
    for element in tree.iter(*LOADS):
        for attribute in LOADS[element.tag]:
            if ELSEWHERE.match(element.get(attribute, "")):
                yield element.get(attribute)
    for element in tree.iter("link"):
        if FETCHED_LINKS & set(element.get("rel", "").split()) and ELSEWHERE.match(
            element.get("href", "")
        ):
            yield element.get("href")
    for style in [*tree.xpath("//style/text()"), *tree.xpath("//@style")]:
        yield from STYLE_LOADS.findall(style)
    for framed in tree.xpath("//iframe/@srcdoc"):
        yield from fetched_from_elsewhere(framed)


def test_the_search_for_what_is_fetched_finds_it():
    page = """<link rel="stylesheet" href="https://a.example/s.css"><img src="//b.example/p.png">
    <style>@import "https://c.example/t.css"; p { background: url(https://d.example/q.png) }</style>
    <a href="https://e.example">a link fetches nothing</a> <script src="own.js"></script>
    <iframe srcdoc="&lt;script src='https://f.example/x.js'&gt;&lt;/script&gt;"></iframe>"""
    hosts = {address.split("/")[2][0] for address in fetched_from_elsewhere(page)}
    assert hosts == set("abcdf")


def test_no_page_of_the_site_fetches_anything_from_elsewhere(site):
    pages = sorted(site.rglob("*.html"))
    assert len(pages) > 25
    fetched = {
        page.name: found
        for page in pages
        if (found := list(fetched_from_elsewhere(page.read_text("utf-8"))))
    }
    styles = {
        path.name: found
        for path in site.rglob("*.css")
        if (found := STYLE_LOADS.findall(path.read_text("utf-8")))
    }
    assert fetched == {}
    assert styles == {}


def test_every_notebook_has_a_page_with_what_came_of_it(site):
    for path in NOTEBOOKS:
        page = site / "notebooks" / f"{path.stem}.html"
        assert "Traceback" not in page.read_text("utf-8")
        tree = html.document_fromstring(page.read_text("utf-8"))
        code = [cell for cell in json.loads(page_text(path))["cells"] if "outputs" in cell]
        blocks = tree.xpath("//article//pre | //article//img | //article//*[@class='output']")
        assert len(blocks) > len(code)


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def address(site) -> Iterator[str]:
    handler = functools.partial(Quiet, directory=str(site))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


def test_in_a_browser_every_page_asks_only_its_own_server(site, address):
    requests: list[str] = []
    faults: list[str] = []
    with chromium() as browser:
        page = browser.new_page()
        page.on("request", lambda request: requests.append(request.url))
        page.on("pageerror", lambda error: faults.append(f"{page.url}: {error}"))
        for path in sorted(site.rglob("*.html")):
            page.goto(f"{address}/{path.relative_to(site).as_posix()}", wait_until="load")
    assert len(requests) > 100
    own = (address, "data:", "blob:", "about:")
    assert [url for url in requests if not url.startswith(own)] == []
    assert faults == []


@pytest.mark.parametrize("opened_from", ["a server", "a disk"])
@pytest.mark.parametrize("page_name", ["index.html", "reference/laps.html"])
def test_the_search_of_the_site_works_without_a_network(site, address, opened_from, page_name):
    folder = address if opened_from == "a server" else site.as_uri()
    requests: list[str] = []
    faults: list[str] = []
    with chromium() as browser:
        page = browser.new_page()
        page.on("request", lambda request: requests.append(request.url))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(f"{folder}/{page_name}")
        page.locator("input.md-search__input").press_sequentially("chainage")
        link = page.wait_for_selector(".md-search-result__item a", state="attached")
        results = page.locator(".md-search-result__item a").all_inner_texts()
        leads_to = link.get_property("href").json_value().partition("?")[0].partition("#")[0]
        page.goto(leads_to)
        assert page.locator("article h1").count() == 1
    assert any("chainage" in result.casefold() for result in results)
    assert leads_to.startswith(folder)
    assert faults == []
    own = (folder, "data:", "blob:", "about:")
    assert [url for url in requests if not url.startswith(own)] == []
