"""Maps of `explore` and frames of notebooks, in Chromium: drawn, and asking for nothing."""

from __future__ import annotations

import re

import pytest
from browsing import Visit
from sample_circuits import track_of

import trackkit
from trackkit.units import shown_in

HOSTILE = "`${document.title = 'taken'}</script><img src=x onerror=alert(1)>"
READY = "document.querySelector('path.leaflet-interactive, iframe')"


@pytest.fixture(scope="module")
def report():
    track = trackkit.place_gate(track_of("pipwick-kart-circuit"), "speed", 120.0, name=HOSTILE)
    drive = trackkit.simulate_drive(track.track, laps=3, rate_hz=5.0, seed=3)
    return trackkit.time_laps(track.track, drive.recording)


@pytest.fixture
def visit(browser, tmp_path):
    visits = []

    def opened(html: str) -> Visit:
        path = tmp_path / "page.html"
        path.write_text(html, "utf-8")
        visits.append(Visit(browser, path.as_uri(), ready=READY))
        return visits[-1]

    yield opened
    for each in visits:
        assert each.complaints == []
        fetched = [url for url in each.requests if not url.startswith(("data:", "about:srcdoc"))]
        assert fetched == [each.address]
        each.page.close()


def shades(page) -> set[str]:
    return set(
        page.evaluate("[...document.querySelectorAll('path')].map(p => p.getAttribute('stroke'))")
    )


def test_a_track_is_drawn_with_named_layers_and_the_facts_of_gates(visit, report):
    page = visit(trackkit.explore(report.track).get_root().render()).page

    layers = page.locator(".leaflet-control-layers-overlays label").all_inner_texts()
    assert [words.strip() for words in layers] == ["Centreline", "Corners", "Gates"]
    page.locator("path[stroke='#e69f00']").click(force=True)
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert HOSTILE in popup.inner_text()
    assert "speed gate at 120.0 m" in popup.inner_text()
    assert page.title() != "taken"


def test_lengths_are_in_feet_where_people_read_feet(visit, report):
    """A foot is 0.3048 m (international yard and pound agreement, 1959)."""
    with shown_in("imperial"):
        html = trackkit.explore(report.track).get_root().render()
    page = visit(html).page
    page.locator("path[stroke='#e69f00']").click(force=True)
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert f"speed gate at {120.0 / 0.3048:.1f} ft" in popup.inner_text()
    assert not re.search(r"\d m\b", html)


@pytest.mark.parametrize(
    ("colour", "words"), [("speed", "km/h and more"), ("difference", "behind")]
)
def test_laps_are_coloured_with_a_legend_in_words(visit, report, colour, words):
    page = visit(trackkit.explore(report, colour=colour).get_root().render()).page

    assert words in page.inner_text("body")
    labels = page.locator(".leaflet-control-layers-overlays label")
    assert labels.filter(has_text="Lap 1").count() == 1
    before = page.locator("path").count()
    for label in labels.filter(has_text="Lap").all():
        label.locator("input").check()
    assert page.locator("path").count() > before
    expected = {"speed": "#f0e442", "difference": "#999999"}[colour]
    assert expected in shades(page)


def test_across_the_antimeridian_the_line_is_in_view_in_one_piece(visit):
    track = track_of("saltpenny-atoll-clockwise")
    assert track.centreline.longitude_deg.min() < -180.0 < track.centreline.longitude_deg.max()

    page = visit(trackkit.explore(track).get_root().render()).page

    box = page.locator("path[stroke='#4b5157']").bounding_box()
    assert max(box["width"], box["height"]) > 200
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 1280


def test_what_the_user_puts_on_the_map_is_there(visit, report):
    import folium

    drawn = trackkit.explore(report.track)
    place = [*reversed(report.track.finish.left)]
    folium.CircleMarker(place, color="#123456", popup="mine").add_to(drawn)

    assert "#123456" in shades(visit(drawn.get_root().render()).page)


def test_layers_and_markers_that_come_later_are_drawn_and_named(visit, report):
    import folium

    drawn = trackkit.explore(report.track)
    left, right = (
        [*reversed(end)] for end in (report.track.finish.left, report.track.finish.right)
    )
    line = report.track.__geo_interface__["features"][0]
    folium.GeoJson(line, name="Again").add_to(drawn)
    folium.Marker(left, popup="plain").add_to(drawn)
    folium.Marker(right, icon=folium.Icon(color="red")).add_to(drawn)
    page = visit(drawn.get_root().render()).page

    labels = page.locator(".leaflet-control-layers-overlays label").all_inner_texts()
    assert [words.strip() for words in labels] == ["Centreline", "Corners", "Gates", "Again"]
    picture = page.locator("img.leaflet-marker-icon")
    assert picture.evaluate("async (image) => { await image.decode(); return image.naturalWidth; }")
    assert page.locator(".leaflet-marker-icon path[fill='red']").count() == 1
    picture.click(force=True)
    assert page.locator(".leaflet-popup-content").inner_text() == "plain"


def test_a_library_is_drawn_with_all_its_circuits(visit):
    from sample_circuits import FOLDER, IDS

    library = trackkit.open_library([FOLDER])
    page = visit(trackkit.explore(library).get_root().render()).page

    assert page.locator("path[stroke='#d55e00']").count() >= len(IDS)


@pytest.mark.slow
@pytest.mark.parametrize("of", ["track", "report", "finding"])
def test_a_notebook_shows_the_page_in_a_frame_that_leaves_the_rest_alone(visit, report, of):
    crowded = trackkit.place_gate(report.track, "sector", 5.0).track
    finding = trackkit.check_track(crowded)[0]
    thing = {"track": report.track, "report": report, "finding": finding}[of]

    page = visit(f"<h1>Notebook</h1>{thing._repr_html_()}").page

    frame = page.frames[1]
    frame.wait_for_function("window.trackkit?.page")
    assert report.track.name in frame.locator("body").inner_text()
    assert page.evaluate("getComputedStyle(document.body).marginTop") == "8px"


def test_a_report_without_its_drive_shows_as_text(report):
    assert report.without_drive()._repr_html_() is None
