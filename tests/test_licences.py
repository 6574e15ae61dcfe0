"""Whatever a page or a sheet carries of others goes with its notice, and of ours with ours."""

from __future__ import annotations

import re
import zlib
from pathlib import Path

import pytest
from checkout import ROOT
from drives import block_circuit, drive
from lxml import etree
from lxml import html as lxml_html
from oval_page import oval
from paper_tracks import SAMPLES

from trackkit.building.build import build_track
from trackkit.errors import OutputError
from trackkit.pages import assets
from trackkit.pages.explain import explain_html
from trackkit.pages.html import edit_html, map_html
from trackkit.paper.draw import write_paper
from trackkit.track.file import read_track

OWN = (ROOT / "LICENSE").read_text("utf-8")
LEAFLET = Path(assets._leaflet_file("leaflet.js")).read_text("utf-8")
BSD_2_CLAUSE = """
Redistribution and use in source and binary forms, with or without modification, are permitted
provided that the following conditions are met:

1. Redistributions of source code must retain the above copyright notice, this list of conditions
and the following disclaimer.

2. Redistributions in binary form must reproduce the above copyright notice, this list of conditions
and the following disclaimer in the documentation and/or other materials provided with the
distribution.

IN NO EVENT SHALL THE COPYRIGHT HOLDER OR CONTRIBUTORS BE LIABLE
"""
"""From the licence's own text (opensource.org/license/bsd-2-clause; from memory)."""


def words_of(html: str) -> str:
    """What a reader of the page can read, in one line."""
    tree = lxml_html.fromstring(html)
    for element in tree.xpath("//script|//style"):
        element.drop_tree()
    return in_one_line(" ".join(tree.itertext()))


def in_one_line(text: str) -> str:
    return " ".join(text.split())


def map_page() -> str:
    return map_html(oval())


def edit_page() -> str:
    from trackkit.checks.evaluate import evaluate, prepare
    from trackkit.pages.base import base_document
    from trackkit.pages.state import state

    track = oval()
    prepared = prepare(track, [])
    return edit_html(
        base_document(track, [], evaluate(track, prepared).quality), state(track, prepared), {}
    )


def explain_page() -> str:
    outing = drive(block_circuit(), begin_m=10.0, laps=2.2)
    return explain_html(build_track([outing.recording(5, name="drive.csv")], "Invented"))


@pytest.mark.parametrize("made", [map_page, edit_page])
def test_a_page_that_carries_leaflet_carries_its_whole_licence(made) -> None:
    page = made()
    words = words_of(page)
    assert "L.map" in page or "leaflet" in page
    for paragraph in BSD_2_CLAUSE.strip().split("\n\n"):
        assert in_one_line(paragraph) in words
    # The script says by itself whose it is, and since when.
    header = LEAFLET[: LEAFLET.index("*/")]
    holders = re.findall(r"\(c\) ([\d-]+) ([\w ]+)", header)
    assert len(holders) == 2
    for years, holder in holders:
        assert f"Copyright (c) {years} {holder.strip()}" in words
    assert words.index("BSD 2-Clause") < words.index(f"(c) {holders[0][0]}")


@pytest.mark.slow
@pytest.mark.parametrize("made", [map_page, edit_page, explain_page])
def test_a_page_carries_our_own_licence_whole(made) -> None:
    assert in_one_line(OWN) in words_of(made())


def test_our_licence_in_the_package_is_that_of_the_project() -> None:
    assert assets.own_notice().text == OWN


def test_a_leaflet_that_names_nobody_is_carried_nowhere(tmp_path, monkeypatch) -> None:
    (tmp_path / "leaflet.js").write_text("/* A library */ var L;")
    monkeypatch.setattr(assets, "_leaflet_file", lambda name: tmp_path / name)
    assets.leaflet_notice.cache_clear()
    with pytest.raises(OutputError, match=r"leaflet\.js: names no holder"):
        assets.leaflet_notice()


def font_licence() -> list[str]:
    """Paragraphs of the licence that matplotlib's own font holds, read by fontTools."""
    from fontTools.ttLib import TTFont
    from matplotlib.font_manager import findfont

    names = TTFont(findfont("DejaVu Sans"))["name"]
    paragraphs = re.split(r"\n\s*\n", names.getDebugName(13))
    assert any("shall be included in all copies" in in_one_line(text) for text in paragraphs)
    return [in_one_line(text) for text in (names.getDebugName(0), *paragraphs)]


def test_a_sheet_as_svg_carries_the_licence_of_its_letters(tmp_path) -> None:
    write_paper(read_track(SAMPLES[0]), tmp_path / "sheet.svg")
    rights = "{http://purl.org/dc/elements/1.1/}rights"
    (element,) = etree.parse(tmp_path / "sheet.svg").iter(rights)
    words = in_one_line(" ".join(element.itertext()))
    for paragraph in font_licence():
        assert paragraph in words


@pytest.mark.slow
def test_a_sheet_as_pdf_carries_the_licence_of_its_letters(tmp_path) -> None:
    write_paper(read_track(SAMPLES[0]), tmp_path / "sheet.pdf")
    data = (tmp_path / "sheet.pdf").read_bytes()
    fonts = [
        text
        for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL)
        if (text := unpacked(packed)).startswith(b"\0\1\0\0")
    ]
    assert fonts, "letters are in the file as fonts"
    subject = data[data.index(b"/Subject") :]
    # ISO 32000-1, 7.3.4.2: a backslash escapes what would end a string, and breaks of lines.
    plain = re.sub(rb"\\(.)", rb"\1", subject.replace(b"\\n", b" ")).decode("latin-1")
    words = in_one_line(plain)
    for paragraph in font_licence():
        assert paragraph in words


def unpacked(packed: bytes) -> bytes:
    try:
        return zlib.decompress(packed)
    except zlib.error:
        return packed


PALETTE = {
    "#e69f00",
    "#56b4e9",
    "#009e73",
    "#f0e442",
    "#0072b2",
    "#d55e00",
    "#cc79a7",
}
"""Okabe and Ito, Color Universal Design, 2008 (from memory); a list of colours has no licence."""


def test_wherever_the_palette_stands_its_makers_are_named() -> None:
    places = [
        path
        for path in (ROOT / "trackkit").rglob("*")
        if path.suffix in (".py", ".css")
        and "node_modules" not in path.parts
        and path.name != "bundle.css"
        and len(PALETTE & set(re.findall(r"#[0-9a-f]{6}", path.read_text("utf-8").lower()))) > 2
    ]
    assert len(places) >= 3
    for path in places:
        assert re.search(r"Okabe (and|and\n)|Okabe-Ito", path.read_text("utf-8")), path


LOCAL_OR_A_NAME = re.compile(
    # A name of a vocabulary, which nothing fetches; an example's host (RFC 2606); this computer.
    r"https?://(json-schema\.org|www\.topografix\.com|www\.opengis\.net|www\.w3\.org"
    r"|www\.sqlite\.org|spdx\.org/licenses/|[\w.]*example\.org|\{ADDRESS\}|$)"
)


def test_no_address_of_anybody_elses_server_is_in_the_code() -> None:
    """Leaflet, which is fetched by pip and not in the code, names its makers' page."""
    for path in (ROOT / "trackkit").rglob("*"):
        if path.suffix not in (".py", ".js", ".html", ".css") or "node_modules" in path.parts:
            continue
        for found in re.findall(r"https?://[^\s'\"<>)]*", path.read_text("utf-8")):
            assert LOCAL_OR_A_NAME.match(found), f"{path.relative_to(ROOT)}: {found}"
