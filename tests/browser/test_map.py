"""The HTML map in a browser: it draws, contacts nobody, and runs nothing from a name.

Chromium is driven from a file:// address.  Where it is missing these tests are skipped, or fail
if TRACKKIT_REQUIRE_BROWSER=1.  The track is invented.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from browsing import SIZES, Visit
from checkout import TRACKS
from geographiclib.geodesic import Geodesic
from invented_kart_track import FINDINGS, HOSTILE, kart_drive, kart_track
from playwright.sync_api import Locator

from trackkit.gates.square import square_ends
from trackkit.pages.html import write_map
from trackkit.remedies import Remedy
from trackkit.track.file import read_track

CONTROLS = """button:not(.go, .plain, .label, .name), input[type=checkbox], input[type=range],
    .zoom, #play, .steps, .rows-shown, .lane-tools, .tools, .leaflet-bar"""
WHITE = "rgb(255, 255, 255)"


@pytest.fixture(scope="module", params=list(SIZES))
def visit(request, browser, tmp_path_factory) -> Iterator[Visit]:
    track = kart_track()
    path = tmp_path_factory.mktemp("map") / "map.html"
    write_map(track, path, recordings=[kart_drive(track)], findings=FINDINGS)
    opened = Visit(browser, path.as_uri(), request.param)
    yield opened
    opened.page.close()


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_page_contacts_no_host_and_has_no_complaint(visit: Visit) -> None:
    assert visit.requests == [visit.address]
    assert visit.complaints == []


def track_box(visit: Visit) -> tuple[float, float, float, float]:
    """Around the centreline, on the screen."""
    length = visit.page.evaluate("trackkit.page.session.length")
    places = np.array([visit.on_map(at) for at in np.linspace(0, length, 60)])
    return (*places.min(axis=0), *places.max(axis=0))


def test_whole_track_is_in_view(visit: Visit) -> None:
    (frame,) = visit.boxes("#map")
    band = track_box(visit)
    assert frame[0] < band[0] < band[2] < frame[2]
    assert frame[1] < band[1] < band[3] < frame[3]


def test_track_fills_most_of_the_view(visit: Visit) -> None:
    (frame,) = visit.boxes("#map")
    band = track_box(visit)
    share = [(band[k + 2] - band[k]) / (frame[k + 2] - frame[k]) for k in (0, 1)]
    assert max(share) > 0.6


def test_band_and_fixes_are_painted_where_the_track_is(visit: Visit) -> None:
    # The canvas is transparent where nothing is drawn.
    painted = visit.page.evaluate(
        """places => { const frame = document.getElementById("map").getBoundingClientRect();
            const canvas = document.querySelector(".leaflet-ground-pane canvas");
            const box = canvas.getBoundingClientRect();
            const dots = canvas.width / box.width, context = canvas.getContext("2d");
            const at = (x, edge) => Math.round((x - edge) * dots);
            return places.map(([x, y]) =>
                context.getImageData(at(x, box.left), at(y, box.top), 1, 1).data[3]); }""",
        # Lists, since an older Playwright hands tuples on as nothing.
        [list(visit.on_map(at)) for at in (100.0, 500.0, 850.0)]
        + [list(visit.boxes("#map")[0][:2])],
    )
    assert painted[:3] == [255, 255, 255]
    assert painted[3] == 0


def test_gates_are_drawn_long_enough_to_see_and_labelled(visit: Visit) -> None:
    for kind, count in (("finish", 1), ("sector", 2)):
        boxes = visit.boxes(f".leaflet-gates-pane path.t-{kind}")
        assert len(boxes) == count
        assert all(np.hypot(c - a, d - b) >= 17 for a, b, c, d in boxes)
    assert visit.boxes(".label.finish")
    assert visit.page.locator(".label.finish").inner_text().split() == ["Finish", "0", "m"]


def test_labels_cover_neither_each_other_nor_the_furniture(visit: Visit) -> None:
    boxes = visit.boxes(".label.placed, .leaflet-control")
    assert len(boxes) > 8
    pairs = [(a, b) for n, a in enumerate(boxes) for b in boxes[:n]]
    assert not [pair for pair in pairs if overlap(*pair)]


def test_panels_stay_clear_of_the_map_and_within_the_page(visit: Visit) -> None:
    (frame,) = visit.boxes("#map")
    width = visit.page.viewport_size["width"]
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
    for box in visit.boxes(".caution, .side, .head, #chart"):
        assert not overlap(box, frame)
        assert box[0] >= 0
        assert box[2] <= width


def test_scale_bar_tells_the_truth(visit: Visit) -> None:
    # The bar's length against the geodesic between its ends, which Leaflet's own scale does not
    # use: GeographicLib (Karney 2013) on WGS 84, where Leaflet takes a sphere (0.6 % apart).
    text, width = visit.page.evaluate(
        """() => { const bar = document.querySelector(".leaflet-control-scale-line");
            return [bar.textContent, bar.getBoundingClientRect().width]; }"""
    )
    west, east = visit.page.evaluate(
        """width => { const { map } = trackkit.page.map, middle = map.getSize().divideBy(2);
            return [0, width].map(x => map.containerPointToLatLng(middle.add([x, 0])))
                .map(place => [place.lat, place.lng]); }""",
        width,
    )
    number, unit = text.split()
    shown_m = float(number) * {"m": 1, "km": 1000}[unit]
    assert shown_m == pytest.approx(Geodesic.WGS84.Inverse(*west, *east)["s12"], rel=0.03)


def test_finding_in_the_list_leads_to_its_place_on_the_map(visit: Visit) -> None:
    finding = visit.page.locator("#finding-list li", has_text="Another piece is near")
    assert "warning 2" in finding.inner_text()
    assert "What to do: Survey the ends" in finding.inner_text()
    finding.locator(".go").click()
    (frame,) = visit.boxes("#map")
    x, y = visit.on_map(500.0)
    assert x == pytest.approx(0.5 * (frame[0] + frame[2]), abs=3)
    assert y == pytest.approx(0.5 * (frame[1] + frame[3]), abs=3)


def test_finding_of_a_gate_stands_beside_its_label_and_in_its_row(visit: Visit) -> None:
    assert "error" in visit.page.locator(".label.gate", has_text="Sector 2 end").inner_text()
    row = visit.page.locator(".gate-row", has_text="Reaches another piece")
    assert "Sector 2 end" in words_of(row)


def words_of(row: Locator) -> str:
    """What a row of gates reads: its fields, which may be typed in, and its text."""
    fields = [field.input_value() for field in row.locator("input").all()]
    return " ".join([*fields, *row.inner_text().split()])


def test_gates_sectors_corners_and_findings_are_in_the_lists(visit: Visit) -> None:
    rows = [words_of(row) for row in visit.page.locator("#ledger li").all()]
    assert [row[:8] for row in rows] == [
        "Finish f",
        "Sector 1",
        "Sector 1",
        "Sector 2",
        "Sector 2",
        "Sector 3",
    ]
    assert "340.0" in rows[1] + rows[2]
    assert visit.page.locator("#corners tbody tr").count() == 7


def test_pointing_at_the_chart_shows_the_place_on_the_map(visit: Visit) -> None:
    visit.page.evaluate("trackkit.page.map.fit()")
    (chart,) = visit.boxes("#chart canvas")
    visit.page.locator("#chart").scroll_into_view_if_needed()
    (chart,) = visit.boxes("#chart canvas")
    visit.page.mouse.move(0.5 * (chart[0] + chart[2]), 0.6 * chart[3] + 0.4 * chart[1])
    (dot,) = visit.boxes(".here")
    place = visit.page.evaluate("trackkit.page.session.place")
    x, y = visit.on_map(place)
    assert 0.5 * (dot[0] + dot[2]) == pytest.approx(x, abs=1.5)
    assert 0.5 * (dot[1] + dot[3]) == pytest.approx(y, abs=1.5)
    assert f"{place:,.0f}" in visit.page.locator("#readout").inner_text()


def test_pointing_at_the_map_shows_the_place_in_the_chart(visit: Visit) -> None:
    visit.page.evaluate("trackkit.page.map.fit()")
    visit.page.locator("#map").scroll_into_view_if_needed()
    visit.page.mouse.move(*visit.on_map(500.0))
    assert visit.page.evaluate("trackkit.page.session.place") == pytest.approx(500, abs=4)
    (mark,) = visit.boxes(".mark")
    x = visit.page.evaluate(
        "document.querySelector('#chart').getBoundingClientRect().left + trackkit.page.chart.x(500)"
    )
    assert 0.5 * (mark[0] + mark[2]) == pytest.approx(x, abs=4)


def test_nothing_in_a_hostile_name_runs(browser, tmp_path) -> None:
    track = kart_track(name=HOSTILE)
    track = replace(
        track,
        layout=HOSTILE,
        notes=HOSTILE,
        gates=tuple(replace(gate, name=HOSTILE) for gate in track.gates),
        corners=tuple(replace(corner, name=HOSTILE) for corner in track.corners),
    )
    findings = [replace(finding, message=HOSTILE, remedy=Remedy(HOSTILE)) for finding in FINDINGS]
    path = tmp_path / "map.html"
    write_map(track, path, recordings=[kart_drive(track, HOSTILE)], findings=findings)
    visit = Visit(browser, path.as_uri())
    for label in (".label.finish", ".label.sector", ".label.tag.placed", ".post"):
        visit.page.locator(label).first.hover(force=True)
        visit.page.locator(label).first.click(force=True)
    assert visit.page.locator(".gate-row .name bdi").first.inner_text().startswith("<img src=x")
    assert visit.page.evaluate("window.harmed") is None
    assert visit.page.title().startswith("<img src=x")
    # Not even refused by the policy: nothing was there to refuse.
    assert visit.complaints == []
    assert visit.requests == [visit.address]
    visit.page.close()


def test_circuit_called_like_an_element_shows_as_just_that_name(browser, tmp_path) -> None:
    name = "<img src=x onerror=alert(1)>"
    path = tmp_path / "map.html"
    write_map(kart_track(name=name), path)
    visit = Visit(browser, path.as_uri())
    assert visit.page.locator("h1").inner_text() == name
    assert visit.page.locator("h1 img").count() == 0
    visit.page.close()


@pytest.mark.slow
def test_page_that_is_printed_holds_map_chart_and_lists_and_no_controls(browser, tmp_path) -> None:
    track = kart_track()
    path = tmp_path / "map.html"
    write_map(
        track, path, recordings=[kart_drive(track), kart_drive(track, "b.csv")], findings=FINDINGS
    )
    visit = Visit(browser, path.as_uri(), theme="dark")
    # As wide as A4 between margins of 12 mm, at 96 pixels an inch (CSS Values and Units Level 3).
    visit.page.set_viewport_size({"width": 703, "height": 1031})
    visit.page.emulate_media(media="print", color_scheme="dark")
    visit.page.wait_for_timeout(300)
    (frame,) = visit.boxes("#map")
    band = track_box(visit)
    assert frame[0] < band[0] < band[2] < frame[2]
    assert not visit.boxes(".leaflet-control-zoom")
    assert visit.boxes("#chart canvas")
    assert visit.boxes("#ledger li")
    assert visit.boxes(CONTROLS) == []
    losses = visit.page.locator("#loss-table tbody th").all_inner_texts()
    assert len(losses) > 3
    assert all(text.strip() for text in losses)
    for area in ("#readings", "#losses .scroll", "#lap-table"):
        assert visit.page.locator(area).evaluate(
            "({ scrollHeight: whole, clientHeight: there }) => whole <= there + 1"
        ), area
    for table in visit.boxes("table"):
        assert table[2] <= 703
    assert visit.page.evaluate("getComputedStyle(document.body).backgroundColor") == WHITE
    ink = visit.page.evaluate("getComputedStyle(document.body).color")
    assert max(int(level) for level in re.findall(r"\d+", ink)) < 64
    assert visit.page.pdf().startswith(b"%PDF")
    visit.page.close()


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(path.stem for path in TRACKS.glob("*.geojson")))
def test_a_gate_under_the_hand_is_drawn_where_it_will_be_placed(browser, tmp_path, name) -> None:
    track = read_track(TRACKS / f"{name}.geojson")
    path = tmp_path / "map.html"
    write_map(track, path)
    visit = Visit(browser, path.as_uri())
    places = np.random.default_rng(8).uniform(0.0, track.curve.length_m, 100).round(1).tolist()
    drawn = visit.page.evaluate(
        "places => places.map(at => trackkit.page.session.line.squareEnds(at, 20))", places
    )
    for at, ends in zip(places, drawn, strict=True):
        for there, here in zip(square_ends(track, at, 20.0)[:2], ends, strict=True):
            # By GeographicLib; positions in a file are rounded to about 1 mm.
            off = Geodesic.WGS84.Inverse(there[1], there[0], here[1], here[0])["s12"]
            assert off < 0.001, f"{1000 * off:.1f} mm off at {at} m"
    visit.page.close()


def test_the_verdict_says_why_not_and_what_to_do_next(visit: Visit) -> None:
    state = visit.page.evaluate("trackkit.page.session.state.verdict")
    panel = visit.page.inner_text("#verdict")

    assert panel.startswith("Not fit to hand on")
    assert all(reason in panel for reason in state["reasons"])
    assert f"Next: {state['next']}" in panel
    assert f"Geometry {state['letters']}" in panel
