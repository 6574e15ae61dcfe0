"""The page that draws each step from raw fixes to the line."""

import re
from dataclasses import replace

import numpy as np
import pytest
from drives import drive, stadium
from lxml import html
from pyproj import Transformer

from trackkit.building.build import build_track
from trackkit.building.from_line import build_from_line
from trackkit.errors import TrackkitError
from trackkit.pages.explain import explain_html
from trackkit.track.digest import short_digest
from trackkit.underlay.embed import EmbeddedPicture
from trackkit.units import shown_in


def recorded(laps=4.2, **more):
    return drive(stadium(), begin_m=10.0, laps=laps, cruise=15.0).recording(
        10, doppler=True, **more
    )


@pytest.fixture(scope="module")
def build():
    clean = recorded(name="first.gpx")
    # Off 30 m to the south in the second lap; a lap takes 26.7 s.
    bump = 30.0 * np.exp(-0.5 * ((clean.time_s - 46.0) / 1.5) ** 2) / 111_195.0
    off = replace(
        clean,
        latitude_deg=clean.latitude_deg - bump,
        speed_mps=None,
        course_deg=None,
        removed={"duplicate time": 3},
    )
    return build_track([off, recorded(name="<second>.gpx", noise=1.0, seed=2)], "R&D Oval")


@pytest.fixture(scope="module")
def page(build):
    return html.fromstring(explain_html(build))


def test_it_has_a_picture_for_each_step(page):
    headings = [h.text_content() for h in page.findall(".//h2")]

    assert headings == [
        "1. Raw fixes",
        "2. Laps found",
        "3. What was thrown out, and why",
        "4. Spread by chainage",
        "5. The line",
    ]
    assert len(page.findall(".//svg")) == 5
    assert all(len(svg.findall("path")) >= 1 for svg in page.findall(".//svg"))


def test_every_lap_is_listed_with_what_became_of_it(build, page):
    rows = [[cell.text_content() for cell in row] for row in page.findall(".//tbody/tr")]

    assert len(rows) == len(build.laps)
    assert sum(row[-1] == "yes" for row in rows) == build.laps_used
    (other,) = [row[-1] for row in rows if row[-1] != "yes"]
    assert "leaves the line by" in other


def test_what_readers_removed_and_how_accurate_the_line_is_are_told(page):
    text = page.text_content()

    assert "3 for duplicate time" in text
    assert "Absolute accuracy" in text
    assert "not the centre of the track" in text


def test_it_shows_the_verdict_and_the_accuracy_of_the_file(build):
    track = replace(build.track, accuracy_m=9.87)

    text = html.fromstring(explain_html(replace(build, track=track))).text_content()

    assert "Fit to hand on" in text
    assert short_digest(track) in text
    assert "Absolute accuracy 9.87 m" in text


def test_why_a_track_is_not_fit_and_what_to_do_stand_on_it(build):
    track = build.track.with_gates([replace(build.track.finish, kind="speed", id="gate-s")])

    text = html.fromstring(explain_html(replace(build, track=track))).text_content()

    assert "Not fit to hand on" in text
    assert "gate-missing" in text
    assert "Next:" in text


def test_names_from_files_are_not_markup(build):
    text = explain_html(build)

    assert "R&amp;D Oval" in text
    assert "&lt;second&gt;.gpx" in text
    assert "<second>" not in text


def test_it_needs_no_network_and_runs_no_script(page):
    assert page.findall(".//script") == []
    assert page.xpath("//@src | //@href") == []


def test_drawn_coordinates_lie_inside_the_picture(page):
    for svg in page.findall(".//svg"):
        width, height = (float(v) for v in svg.get("viewbox", svg.get("viewBox")).split()[2:])
        for path in svg.findall("path"):
            if "L" not in path.get("d"):
                continue
            points = np.array(path.get("d")[1:].replace("L", " ").split(), float).reshape(-1, 2)
            assert points.min() >= 0
            assert points[:, 0].max() <= width
            assert points[:, 1].max() <= height


def test_one_lap_alone_is_explained_too():
    text = explain_html(build_track([recorded(laps=1.2, name="one")], "One"))

    assert "One lap has no spread" in text


def test_a_drawn_line_is_not_explained():
    angle = np.linspace(0.0, 2 * np.pi, 200)
    drawn = build_from_line(161 + 1e-3 * np.cos(angle), 47 + 1e-3 * np.sin(angle), "Drawn")

    with pytest.raises(TrackkitError, match="drawn"):
        explain_html(drawn)


def test_it_is_in_the_units_that_are_read(build):
    with shown_in("imperial"):
        page = explain_html(build)

    words = re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<style.*?</style>", "", page))
    assert re.findall(r"[-+\d.,]+ (?:m|km/h|metres)\b", words) == []
    # The international foot is 0.3048 m (1959).
    assert f"{build.track.length_m / 0.3048:,.1f} ft, " in words
    assert re.search(r"\d+ ft, north is up", words)
    assert "length ft" in words


def test_a_picture_of_the_ground_lies_under_the_line_once_and_with_its_credit(build):
    line = build.track.centreline
    west, east = line.longitude_deg.min() - 0.001, line.longitude_deg.max() + 0.0005
    south, north = line.latitude_deg.min() - 0.0004, line.latitude_deg.max() + 0.0007
    picture = EmbeddedPicture(
        "data:image/webp;base64,AA", west, south, east, north, "R&D flight", 0.2, 0.1, 1.0
    )
    text = explain_html(build, underlay=picture)
    page = html.fromstring(text)

    assert text.count("data:image/webp") == 1
    assert "R&D flight; 0.20 m a pixel" in page.text_content()
    assert "http" not in re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    drawings = [svg for svg in page.findall(".//svg") if svg.find("use") is not None]
    assert len(drawings) == 4
    # Where pyproj has the line on the picture, the matrix puts it where the drawing has it.
    (image,) = page.findall(".//image")
    a, b, c, d, e, f = map(float, re.findall(r"-?[\d.]+", image.get("transform")))
    mercator = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    (left, right), (low, high) = mercator.transform([west, east], [south, north])
    x, y = mercator.transform(line.longitude_deg, line.latitude_deg)
    across, down = (np.array(x) - left) / (right - left), (high - np.array(y)) / (high - low)
    placed = np.column_stack([a * across + c * down + e, b * across + d * down + f])
    black = [p for p in drawings[3].findall("path") if p.get("stroke") == "#000000"]
    drawn = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", black[0].get("d")), dtype=float)
    assert np.abs(placed - drawn).max() < 0.3


def test_without_a_picture_the_page_may_load_none(build):
    assert "img-src" not in explain_html(build)
