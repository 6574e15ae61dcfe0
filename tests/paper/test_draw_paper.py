"""Sheets of other sizes than A4: as large as the standards say, and all of it used."""

from __future__ import annotations

import re
import struct

import pytest
import shapely
from checkout import TRACKS
from paper_tracks import track_named

from trackkit.cli import run
from trackkit.errors import OutputError
from trackkit.paper.draw import PNG_DOTS_PER_INCH, draw, write_paper

pytestmark = pytest.mark.slow

# Millimetres upright. A4 and A3: ISO 216; Letter and Tabloid: 8.5 by 11 and 11 by 17 inches, sizes
# A and B of ANSI/ASME Y14.1 (both from memory).
SIZES = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "Letter": (8.5 * 25.4, 11.0 * 25.4),
    "Tabloid": (11.0 * 25.4, 17.0 * 25.4),
}
NAME = "pipwick-kart-circuit"


def sizes_mm(path):
    """Width and height of a picture, as its file says them."""
    data = path.read_bytes()
    if path.suffix == ".pdf":
        # ISO 32000-1, 7.7.3.3: the media box is in points of 1/72 inch.
        (box,) = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
        return [float(side) * 25.4 / 72.0 for side in box]
    if path.suffix == ".svg":
        (box,) = re.findall(
            rb'<svg [^>]*width="([\d.]+)pt" height="([\d.]+)pt"', data
        ) or re.findall(rb'<svg height="([\d.]+)pt"[^>]*width="([\d.]+)pt"', data)
        return [float(side) * 25.4 / 72.0 for side in box]
    # PNG (ISO/IEC 15948), 11.2.2: width and height are the first of its header, in pixels.
    return [side * 25.4 / PNG_DOTS_PER_INCH for side in struct.unpack(">II", data[16:24])]


@pytest.mark.parametrize("suffix", [".pdf", ".svg", ".png"])
@pytest.mark.parametrize("paper", SIZES)
def test_the_sheet_is_as_large_as_the_standard_says(tmp_path, paper, suffix):
    path = tmp_path / f"sheet{suffix}"
    words = ["map", str(TRACKS / f"{NAME}.geojson"), "-o", str(path), "--paper", paper.lower()]
    assert run(words) == 0
    assert sorted(sizes_mm(path)) == pytest.approx(SIZES[paper], abs=0.15)


@pytest.mark.parametrize("paper", SIZES)
def test_all_that_is_drawn_is_on_the_sheet(paper):
    picture = draw(track_named(NAME), paper=paper)
    sheet = picture.sheet
    whole = shapely.box(0.0, 0.0, sheet.width_mm, sheet.height_mm).buffer(-10.0, join_style="mitre")
    assert whole.contains(picture.shapes.ink)
    for label in picture.labels.values():
        assert label is not None
        box = label.box
        assert whole.contains(shapely.box(box.left, box.bottom, box.right, box.top))


def test_a_larger_sheet_shows_the_circuit_larger():
    scale = {paper: draw(track_named(NAME), paper=paper).sheet.mm_per_m for paper in SIZES}
    assert scale["A3"] > 1.3 * scale["A4"]
    assert scale["Tabloid"] > 1.3 * scale["Letter"]


def test_another_paper_is_refused(tmp_path, capsys):
    with pytest.raises(OutputError, match="no paper called 'A5'; choose A4, A3, Letter, Tabloid"):
        write_paper(track_named(NAME), tmp_path / "t.pdf", paper="A5")
    track = str(TRACKS / f"{NAME}.geojson")
    assert run(["map", track, "-o", str(tmp_path / "t.html"), "--paper", "A3"]) == 2
    assert "--paper is for a picture" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
