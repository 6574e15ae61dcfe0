"""The picture for paper: true to scale and north, nothing on top of anything, the same each time.

Distances and bearings are pyproj's geodesics; overlaps are shapely's predicates on the boxes that
matplotlib's own renderers report.  The tracks are invented.
"""

import hashlib
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from checkout import TRACKS
from drives import (
    Road,
    arc,
    block_circuit,
    drive,
    hairpin_circuit,
    stadium,
    straight,
    track_of,
)
from pyproj import Geod

from trackkit.cli import run
from trackkit.errors import OutputError
from trackkit.geometry.bends import find_bends
from trackkit.paper.draw import PNG_DOTS_PER_INCH, Picture, draw, settings, write_paper
from trackkit.paper.ink import bar_length_m
from trackkit.track.file import read_track
from trackkit.track.model import Corner, PitLane, Track

SAMPLES = sorted(TRACKS.glob("*.geojson"))
GEOD = Geod(ellps="WGS84")
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]
CHROMIUM = Path("/usr/bin/chromium")
NASTY = "<img src=x onerror=alert(1)> & $\\frac{1}{0}$ --> </svg>\n\"'"


def with_corners(track: Track) -> Track:
    corners = []
    for number, bend in enumerate(find_bends(track.curve)[0], start=1):
        at = track.curve.position(np.array([bend.apex_m]))
        longitude, latitude = track.plane.to_geographic(at)
        place = (float(longitude[0]), float(latitude[0]))
        name = "Long Name of a Bend" if number % 3 == 0 else ""
        corners.append(
            Corner(number, name, bend.turn, place, bend.entry_m, bend.apex_m, bend.exit_m,
                   bend.min_radius_m)
        )  # fmt: skip
    return replace(track, corners=tuple(corners))


def block(**more) -> Track:
    return with_corners(track_of(block_circuit(), gates=GATES, spacing_m=2.0, **more))


def comb(teeth: int, leg_m: float, radius_m: float) -> Road:
    """A closed circuit of legs side by side, joined by hairpins."""
    turn, back = arc(-radius_m, 180), arc(radius_m, 180)
    pieces = [straight(leg_m), turn, straight(leg_m), back] * teeth
    pieces = pieces[:-1]
    width = (4 * teeth - 2) * radius_m
    home = [straight(3 * radius_m), arc(-radius_m, 90), straight(width - 2 * radius_m),
            arc(-radius_m, 90), straight(3 * radius_m)]  # fmt: skip
    return Road(tuple(pieces + home), heading_deg=90.0)


def twenty_kilometres() -> Track:
    road = comb(12, 700.0, 30.0)
    gates = [("finish", "finish", 300.0), *((f"g-{n}", "sector", 3400.0 * n) for n in range(1, 6))]
    return with_corners(track_of(road, gates=gates, spacing_m=8.0))


def two_hundred_metres() -> Track:
    gates = [("finish", "finish", 20.0), ("gate-a", "sector", 90.0), ("gate-b", "sector", 150.0)]
    return with_corners(track_of(stadium(50.0, 15.9), gates=gates, spacing_m=2.0))


def with_pit_lane(track: Track) -> Track:
    line = track.curve.position(np.array([1250.0, 1300.0, 1380.0, 60.0]))
    line = line + 14.0 * track.curve.left(np.array([1250.0, 1300.0, 1380.0, 60.0]))
    longitude, latitude = track.plane.to_geographic(line)
    return replace(track, pit_lanes=(PitLane("lane", longitude, latitude),))


ODD = {
    "20 km": twenty_kilometres,
    "200 m": two_hundred_metres,
    "antimeridian at 70 north": lambda: block(at=(179.999, 70.0)),
    "hairpins": lambda: with_corners(
        track_of(hairpin_circuit(), gates=[("finish", "finish", 60.0, 3.5)], spacing_m=2.0)
    ),
    "pit lane": lambda: with_pit_lane(block()),
    "without gates": lambda: track_of(stadium(), spacing_m=2.0),
}
ALL = {**{path.stem: (lambda path=path: read_track(path)) for path in SAMPLES}, **ODD}


@pytest.fixture(scope="module")
def pictures():
    """Pictures drawn so far, by name; drawing one takes a second."""
    drawn: dict[str, Picture] = {}

    def one(name: str) -> Picture:
        if name not in drawn:
            drawn[name] = draw(ALL[name]())
        return drawn[name]

    return one


def written_boxes(picture: Picture) -> list:
    """Boxes of all texts as matplotlib's Agg renderer sets them, millimetres."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    picture.figure.set_dpi(PNG_DOTS_PER_INCH)
    canvas = FigureCanvasAgg(picture.figure)
    with settings():
        renderer = canvas.get_renderer()
        boxes = [text.get_window_extent(renderer) for text in picture.figure.axes[0].texts]
    scale = 25.4 / PNG_DOTS_PER_INCH
    return [shapely.box(*(np.array([b.x0, b.y0, b.x1, b.y1]) * scale)) for b in boxes]


@pytest.mark.parametrize("name", ALL)
def test_no_label_overlaps_another_or_the_line(name, pictures):
    picture = pictures(name)
    labels = [label for label in picture.labels.values() if label is not None]
    boxes = [shapely.box(b.left, b.bottom, b.right, b.top) for b in (one.box for one in labels)]
    leaders = [shapely.LineString(one.leader_mm) for one in labels if one.leader_mm is not None]

    assert not any(box.intersects(picture.shapes.ink) for box in boxes)
    among = np.array(boxes, dtype=object)
    # Each meets itself.
    assert shapely.STRtree(among).query(among, predicate="intersects").shape[1] == len(boxes)
    for box in boxes:
        assert sum(box.intersects(leader) and not box.touches(leader) for leader in leaders) == 0


@pytest.mark.parametrize("name", ALL)
def test_no_text_overlaps_another_and_all_are_on_the_sheet(name, pictures):
    picture = pictures(name)
    boxes = written_boxes(picture)
    sheet = picture.sheet

    # Boxes are rounded to pixels of 0.13 mm.
    inner = [box.buffer(-0.15) for box in boxes]
    tree = shapely.STRtree(inner)
    assert tree.query(inner, predicate="intersects").shape[1] == len(inner)
    whole = shapely.box(10.0, 10.0, sheet.width_mm - 10.0, sheet.height_mm - 10.0)
    assert all(whole.contains(box) for box in boxes)
    assert not any(box.intersects(picture.shapes.ink) for box in inner)


@pytest.mark.parametrize("name", [n for n in ALL if n not in ("20 km", "hairpins")])
def test_every_gate_and_corner_is_labelled(name, pictures):
    picture = pictures(name)
    track = ALL[name]()

    assert None not in picture.labels.values()
    assert len(picture.labels) == len(track.gates) + len(track.corners) + len(
        track.pit_lanes
    ) + len(track.crossovers)
    assert picture.remarks == ()


def test_labels_without_room_are_told(pictures):
    picture = pictures("20 km")
    without = [name for name, label in picture.labels.items() if label is None]

    assert 0 < len(without) < 0.2 * len(picture.labels)
    (remark,) = picture.remarks
    assert all(name in remark for name in without)


@pytest.mark.parametrize("name", ALL)
def test_distances_on_the_sheet_are_geodesic_distances_by_the_scale_bar(name, pictures):
    picture, track = pictures(name), ALL[name]()
    line = track.centreline
    at = np.linspace(0, len(line.longitude_deg) - 1, 9).astype(int)[:-1]
    longitude, latitude = line.longitude_deg[at], line.latitude_deg[at]
    paper = picture.sheet.to_paper(track.plane.to_plane(longitude, latitude))
    _, _, ground = GEOD.inv(longitude, latitude, np.roll(longitude, 1), np.roll(latitude, 1))
    measured = np.hypot(*(paper - np.roll(paper, 1, axis=0)).T)

    # The bar as drawn: the dark and light pieces at the foot of the map, from end to end.
    bar = bar_length_m(picture.sheet)
    pieces = [
        patch.get_path().get_extents()
        for patch in picture.figure.axes[0].patches
        if abs(patch.get_path().get_extents().y0 - picture.sheet.map_box.bottom - 3.0) < 1e-9
    ]
    bar_mm = max(p.x1 for p in pieces) - min(p.x0 for p in pieces)
    assert len(pieces) == 4
    assert measured * bar / bar_mm == pytest.approx(ground, rel=5e-6, abs=1e-3)
    words = {text.get_text() for text in picture.figure.axes[0].texts}
    assert (f"{bar:,g} m" if bar < 2000 else f"{bar / 1000:,g} km") in words


@pytest.mark.parametrize("name", ["orrinback-hill", "antimeridian at 70 north", "20 km"])
def test_the_arrow_points_to_true_north(name, pictures):
    picture, track = pictures(name), ALL[name]()
    plane = track.plane
    longitude, latitude, _ = GEOD.fwd(plane.longitude_deg, plane.latitude_deg, 0.0, 100.0)
    ends = plane.to_plane([plane.longitude_deg, longitude], [plane.latitude_deg, latitude])
    away = np.diff(picture.sheet.to_paper(ends), axis=0)[0]
    letter = next(t for t in picture.figure.axes[0].texts if t.get_text() == "N")
    box = picture.sheet.map_box
    x, y = letter.get_position()
    # Half a capital of 9 points stands above the base line.
    towards = np.array([x - (box.right - 9.0), y + 1.16 - (box.bottom + 7.5)])

    angle = np.degrees(np.arctan2(away[0], away[1]) - np.arctan2(towards[0], towards[1]))
    assert angle == pytest.approx(0.0, abs=0.5)


def test_north_is_up_unless_that_wastes_the_sheet(pictures):
    assert pictures("pipwick-kart-circuit").sheet.turn_deg == 0.0
    # Turned to lie along the sheet, the hill course is half as large again.
    assert pictures("orrinback-hill").sheet.turn_deg != 0.0


def test_the_sheet_is_upright_or_across_as_the_circuit_asks():
    across = draw(track_of(stadium(600.0, 60.0), spacing_m=2.0)).sheet
    upright = draw(track_of(replace(stadium(600.0, 60.0), heading_deg=90.0), spacing_m=2.0)).sheet

    assert (across.width_mm, across.height_mm) == (297.0, 210.0)
    assert (upright.width_mm, upright.height_mm) == (210.0, 297.0)


def test_the_band_is_drawn_at_its_true_width(pictures):
    picture = pictures("200 m")
    expected = 200.0 * 12.0 * picture.sheet.mm_per_m**2

    assert picture.shapes.band.area == pytest.approx(expected, rel=0.01)


def test_the_tables_hold_length_direction_gates_sectors_and_corners(pictures):
    picture = pictures("antimeridian at 70 north")
    words = [text.get_text() for text in picture.figure.axes[0].texts]

    assert "Length 1,388 m, closed circuit, driven anticlockwise, 4 corners" in words
    # Sectors from 0 to 347 and 800 m of 1,388.5 m.
    assert {"347.0 m", "453.0 m", "588.5 m", "16.0 m"} <= set(words)
    assert words.count("30 m") == 4
    assert any("licensed timekeepers" in word for word in words)


def test_a_recording_is_drawn_and_one_elsewhere_is_told():
    outing = drive(block_circuit(), begin_m=10.0, laps=1.2)
    here = outing.recording(5, name="here.nmea")
    there = outing.recording(5, name="there.nmea", at=(20.0, 10.0))
    track = block()
    picture = draw(track, [here, there])

    assert picture.remarks == ("there.nmea lies off the sheet and is not drawn",)
    lines = [
        line.get_xydata()
        for line in picture.figure.axes[0].lines
        if line.get_color() == "#0072b2" and line.get_linewidth() < 1
    ]
    place = picture.sheet.to_paper(track.plane.to_plane(here.longitude_deg, here.latitude_deg))
    drawn = shapely.union_all([shapely.LineString(line) for line in lines])
    assert max(drawn.distance(shapely.Point(p)) for p in place) < 0.05


# Files


@pytest.mark.parametrize("suffix", [".svg", ".pdf", ".png"])
def test_the_same_track_gives_the_same_bytes_in_another_process(suffix, tmp_path):
    program = (
        "import sys; from pathlib import Path; from trackkit.paper.draw import write_paper; "
        "from trackkit.track.file import read_track; "
        "write_paper(read_track(sys.argv[1]), sys.argv[2])"
    )
    digests = set()
    for seed in ("1", "2"):
        path = tmp_path / f"{seed}{suffix}"
        subprocess.run(
            [sys.executable, "-c", program, str(SAMPLES[0]), str(path)],
            check=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        digests.add(hashlib.sha256(path.read_bytes()).hexdigest())
    assert len(digests) == 1


def test_a_users_own_settings_of_matplotlib_change_nothing(tmp_path):
    import matplotlib as mpl

    track = block()
    write_paper(track, tmp_path / "a.svg")
    with mpl.rc_context({"font.size": 33, "lines.linewidth": 9, "axes.facecolor": "red"}):
        write_paper(track, tmp_path / "b.svg")
        assert mpl.rcParams["font.size"] == 33
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_names_are_escaped_and_no_mathematics(tmp_path):
    track = replace(block(), name=NASTY, notes=NASTY)
    gate = replace(track.gates[1], name="$x^2$ & <b>")
    write_paper(track.with_gates([track.gates[0], gate]), tmp_path / "odd.svg")
    root = ET.parse(tmp_path / "odd.svg").getroot()

    tags = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert not tags & {"img", "script", "b", "text"}
    picture = draw(track.with_gates([track.gates[0], gate]))
    labelled = next(t for t in picture.figure.axes[0].texts if t.get_text() == "$x^2$ & <b> 347 m")
    assert not labelled.get_parse_math()


def test_letters_that_no_font_has_are_told_and_replaced(tmp_path):
    # Letters of the private use area belong to no font by right.
    track = replace(block(), name="Ring \U000f1234 Žluťoučký Ωκεανός")
    told = write_paper(track, tmp_path / "odd.pdf")

    assert len(told) == 1
    assert "U+F1234" in told[0]
    assert "install a font" in told[0]
    words = [text.get_text() for text in draw(track).figure.axes[0].texts]
    assert "Ring � Žluťoučký Ωκεανός" in words


def test_a_name_too_long_is_cut_short_with_an_ellipsis():
    track = replace(block(), name="Very " * 60)
    title = draw(track).figure.axes[0].texts[0].get_text()

    assert title.endswith("…")


def test_a_file_that_exists_stays_without_force(tmp_path):
    path = tmp_path / "track.png"
    path.write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        write_paper(block(), path)
    assert path.read_text() == "mine"
    write_paper(block(), path, force=True)
    assert path.read_bytes().startswith(b"\x89PNG")
    assert sorted(tmp_path.iterdir()) == [path]


def test_the_command_takes_the_picture_from_the_suffix(tmp_path, capsys):
    for suffix, magic in ((".svg", b"<?xml"), (".pdf", b"%PDF"), (".PNG", b"\x89PNG")):
        path = tmp_path / f"track{suffix}"
        assert run(["map", str(SAMPLES[0]), "-o", str(path)]) == 0
        assert path.read_bytes().startswith(magic)
        assert capsys.readouterr().out == f"wrote {path}\n"


def test_another_suffix_gets_one_sentence(tmp_path, capsys):
    assert run(["map", str(SAMPLES[0]), "-o", str(tmp_path / "track.gif")]) == 1
    said = capsys.readouterr().err

    assert "ends in none of .html, .svg, .pdf, .png" in said
    assert list(tmp_path.iterdir()) == []


def test_tiles_are_not_for_paper(tmp_path, capsys):
    path = str(tmp_path / "track.svg")
    assert run(["map", str(SAMPLES[0]), "--tiles", "street", "-o", path]) == 2
    assert "--tiles" in capsys.readouterr().err


def test_matplotlib_is_loaded_without_pyplot():
    program = (
        "import sys; from trackkit.paper.draw import draw; "
        "from trackkit.track.file import read_track; draw(read_track(sys.argv[1])); "
        "assert 'matplotlib' in sys.modules; "
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program, str(SAMPLES[0])], check=True)


def test_the_svg_opens_in_a_browser_at_the_size_of_the_sheet(tmp_path):
    if not CHROMIUM.is_file():
        if os.environ.get("TRACKKIT_REQUIRE_BROWSER") == "1":
            pytest.fail("no /usr/bin/chromium")
        pytest.skip("no /usr/bin/chromium")
    from playwright.sync_api import sync_playwright

    path = tmp_path / "track.svg"
    write_paper(read_track(SAMPLES[0]), path)
    asked = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        width = page.evaluate("document.documentElement.width.baseVal.value")
        shapes = page.evaluate("document.querySelectorAll('path').length")
        browser.close()
    # CSS pixels are 1/96 inch (CSS Values and Units Level 3).
    assert width == pytest.approx(297.0 / 25.4 * 96, rel=1e-3)
    assert shapes > 50
    assert asked == [path.as_uri()]
