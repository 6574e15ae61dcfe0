"""Text on paper: letters as they are, cut where they do not fit."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from paper_tracks import track_named, two_hundred_metres

from trackkit.paper.draw import draw, write_paper

NASTY = "<img src=x onerror=alert(1)> & $\\frac{1}{0}$ --> </svg>\n\"'"


def test_names_are_escaped_and_no_mathematics(tmp_path):
    track = replace(two_hundred_metres(), name=NASTY, notes=NASTY)
    gate = replace(track.gates[1], name="$x^2$ & <b>")
    write_paper(track.with_gates([track.gates[0], gate]), tmp_path / "odd.svg")
    root = ET.parse(tmp_path / "odd.svg").getroot()

    tags = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert not tags & {"img", "script", "b", "text"}
    picture = draw(track.with_gates([track.gates[0], gate]))
    labelled = next(t for t in picture.figure.axes[0].texts if t.get_text() == "$x^2$ & <b> 90 m")
    assert not labelled.get_parse_math()


@pytest.mark.slow
def test_letters_that_no_font_has_are_told_and_replaced(tmp_path):
    # Letters of the private use area belong to no font by right.
    track = replace(track_named("without gates"), name="Ring \U000f1234 Žluťoučký Ωκεανός")
    told = write_paper(track, tmp_path / "odd.pdf")

    assert len(told) == 1
    assert "U+F1234" in told[0]
    assert "install a font" in told[0]
    words = [text.get_text() for text in draw(track).figure.axes[0].texts]
    assert "Ring � Žluťoučký Ωκεανός" in words


def test_a_name_too_long_is_cut_short_with_an_ellipsis():
    track = replace(track_named("without gates"), name="Very " * 60)
    title = draw(track).figure.axes[0].texts[0].get_text()

    assert title.endswith("…")
