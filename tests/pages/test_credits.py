"""The credit that a source asks for is said in every file made from it, and on every page."""

import html
import re
from dataclasses import replace

import pytest
from checkout import TRACKS

from trackkit.building.build import build_track
from trackkit.cli import run
from trackkit.export.export import export_track
from trackkit.library.folders import open_library
from trackkit.pages.circuits import Listing, circuits_html
from trackkit.pages.explain import explain_html
from trackkit.pages.explore import explore
from trackkit.pages.html import map_html
from trackkit.paper.draw import write_paper
from trackkit.paper.plots import plot_track
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import read_track, write_track

CREDIT = "© Gannet mappers & friends"


@pytest.fixture(scope="module")
def plain():
    return read_track(TRACKS / "gullhatch-oval.geojson")


@pytest.fixture(scope="module")
def credited(plain):
    return replace(plain, sources=({"file": "made", "credit": CREDIT},))


def shown(page):
    return html.unescape(page).split("</head>")[-1]


def test_pages_say_it(plain, credited):
    for make in (map_html, lambda track: circuits_html([Listing(track, "a.html")])):
        assert re.search(rf"Data: {CREDIT}", shown(make(credited)))
        assert "Data: " not in shown(make(plain))


def test_the_page_of_how_a_line_came_about_says_it(plain):
    drive = simulate_drive(plain, laps=1, rate_hz=5, seed=1).recording
    build = build_track([drive], "Oval")
    track = replace(build.track, sources=({"file": "made", "credit": CREDIT},))
    assert CREDIT in shown(explain_html(replace(build, track=track)))


def test_notebook_maps_and_plots_say_it(credited):
    from matplotlib.figure import Figure

    assert CREDIT in shown(explore(credited).get_root().render())
    axes = plot_track(credited, Figure().subplots())
    assert any(CREDIT in text.get_text() for text in axes.texts)


def test_a_map_of_a_library_says_each_credit_once(credited, plain, tmp_path):
    for number, track in enumerate((credited, credited, plain)):
        write_track(replace(track, id=f"oval-{number}"), tmp_path / f"oval-{number}.geojson")
    library = open_library([tmp_path])
    tracks = {known.id: known for known in library.tracks()}
    assert (tracks["oval-1"].credit, tracks["oval-2"].credit) == (CREDIT, "")
    assert shown(explore(library).get_root().render()).count(CREDIT) == 1


def test_a_description_says_it(credited, plain, tmp_path, capsys):
    for track, count in ((credited, 1), (plain, 0)):
        write_track(track, tmp_path / "oval.geojson", force=True)
        assert run(["describe", str(tmp_path / "oval.geojson")]) == 0
        assert capsys.readouterr().out.count(f"data: {CREDIT}") == count


@pytest.mark.parametrize("form", ["gpx", "kml", "gpkg", "csv", "geojson"])
def test_exports_say_it(form, credited, tmp_path):
    path = tmp_path / f"oval.{form}"
    export_track(credited, path, form)
    content = path.read_bytes().decode("utf-8", "replace").replace("&amp;", "&")
    assert CREDIT in content


def test_drawings_say_it(credited, tmp_path):
    ezdxf = pytest.importorskip("ezdxf")
    export_track(credited, tmp_path / "oval.dxf", "dxf")
    properties = ezdxf.readfile(tmp_path / "oval.dxf").header.custom_vars.properties
    assert ("Credit", CREDIT) in properties


@pytest.mark.slow
def test_the_sheet_says_it(credited, tmp_path):
    write_paper(credited, tmp_path / "oval.svg")
    assert "Gannet mappers" in (tmp_path / "oval.svg").read_text("utf-8")
