"""The HTML map in a browser: it draws, contacts nobody, and runs nothing from a name.

Chromium is driven from a file:// address.  Where it is missing these tests are skipped, or fail
if TRACKKIT_REQUIRE_BROWSER=1.  The track is invented.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from trackkit.checks import Finding
from trackkit.curve import Curve
from trackkit.geodesy import LocalPlane
from trackkit.htmlmap import write_map
from trackkit.recording import Recording
from trackkit.track import Centreline, Corner, Gate, Track

CHROMIUM = Path("/usr/bin/chromium")
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
HOSTILE = (
    "<img src=x onerror=\"window.harmed='img'\">`${window.harmed='js'}`"
    "</script><script>window.harmed='script'</script>\"'\u2028"
)
SIZES = {"desk": (1280, 800), "phone": (360, 740)}


def kart_track(longitude_deg: float = 179.9985, name: str = "Quarry Bottom (invented)") -> Track:
    """A kart-like circuit of about 1 km astride the antimeridian, with a hairpin."""
    vertex = np.array(
        [
            *((-160, -70), (0, -71), (150, -62), (185, -30), (160, 5), (100, 12), (72, 40)),
            *((90, 72), (80, 105), (48, 98), (28, 60), (0, 35), (-30, 40), (-46, 70), (-60, 105)),
            *((-92, 112), (-112, 85), (-108, 40), (-130, 5), (-180, -8), (-202, -35), (-196, -60)),
        ],
        dtype=float,
    )
    plane = LocalPlane(longitude_deg, -17.0)
    curve = Curve.through(vertex, closed=True)
    longitude, latitude = plane.to_geographic(
        curve.position(np.append(curve.sampled(), curve.length_m))
    )
    line = Centreline(longitude, latitude, closed=True)
    track = Track("quarry", name, line, curve.length_m, direction="anticlockwise")
    curve = track.curve

    def position(chainage_m: float, aside_m: float = 0.0) -> tuple[float, float]:
        place = curve.position(chainage_m) + aside_m * curve.left(chainage_m)
        return tuple(float(value) for value in track.plane.to_geographic(place))

    gates = [
        Gate(key, kind, label, position(at, 6), position(at, -6), chainage_m=at)
        for key, kind, label, at in (
            ("finish", "finish", "Finish", 0.0),
            ("gate-a1b2", "sector", "Sector 1 end", 340.0),
            ("gate-c3d4", "sector", "Sector 2 end", 700.0),
        )
    ]
    corners = [
        Corner(n, "", "left" if curve.curvature(at) > 0 else "right", position(at), at, at, at, 20)
        for n, at in enumerate((330.0, 420.0, 470.0, 540.0, 660.0, 760.0, 900.0), start=1)
    ]
    return replace(track, gates=tuple(gates), corners=tuple(corners))


def kart_drive(track: Track, name: str = "morning.gpx") -> Recording:
    time = np.arange(0, 120, 0.1)
    place = track.curve.position(18 * time + 15 * np.sin(time / 4))
    longitude, latitude = track.plane.to_geographic(place)
    return Recording(name, time, longitude, latitude)


FINDINGS = [
    Finding("error", "gate-other", "gate-c3d4", None, None, "Reaches another piece", "Narrow it"),
    Finding("warning", "near", None, 500.0, None, "Another piece is near", "Survey the ends"),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    required = os.environ.get("TRACKKIT_REQUIRE_BROWSER") == "1"
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        give_up("playwright is not installed", required)
    if not CHROMIUM.exists():
        give_up(f"{CHROMIUM} is not installed", required)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=str(CHROMIUM), args=SWITCHES)
        yield opened
        opened.close()


def give_up(reason: str, required: bool) -> None:
    if required:
        pytest.fail(f"{reason}, and TRACKKIT_REQUIRE_BROWSER=1")
    pytest.skip(reason)


class Visit:
    """A page opened in the browser, with what it said and what it asked for."""

    def __init__(self, browser, path: Path, size: str) -> None:
        width, height = SIZES[size]
        self.page = browser.new_page(viewport={"width": width, "height": height})
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.address = path.as_uri()
        self.page.goto(self.address)
        self.page.wait_for_function("window.trackkitReady === true", timeout=10_000)

    def boxes(self, selector: str) -> list[tuple[float, float, float, float]]:
        """Left, top, right and bottom of every element that shows, in pixels."""
        found = self.page.evaluate(
            """selector => Array.from(document.querySelectorAll(selector))
                .filter(node => getComputedStyle(node).visibility === "visible")
                .map(node => node.getBoundingClientRect())
                .map(box => [box.left, box.top, box.right, box.bottom])""",
            selector,
        )
        return [tuple(box) for box in found]


@pytest.fixture(scope="module", params=list(SIZES))
def visit(request, browser, tmp_path_factory) -> Iterator[Visit]:
    track = kart_track()
    path = tmp_path_factory.mktemp("map") / "map.html"
    write_map(track, path, recordings=[kart_drive(track)], findings=FINDINGS)
    opened = Visit(browser, path, request.param)
    yield opened
    opened.page.close()


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_page_contacts_no_host_and_has_no_complaint(visit: Visit) -> None:
    assert visit.requests == [visit.address]
    assert visit.complaints == []


def test_whole_track_is_in_view(visit: Visit) -> None:
    (frame,) = visit.boxes(".folium-map")
    (band,) = visit.boxes("path.t-band")
    assert frame[0] < band[0] < band[2] < frame[2]
    assert frame[1] < band[1] < band[3] < frame[3]


def test_track_fills_most_of_the_view(visit: Visit) -> None:
    (frame,) = visit.boxes(".folium-map")
    (band,) = visit.boxes("path.t-band")
    share = [(band[k + 2] - band[k]) / (frame[k + 2] - frame[k]) for k in (0, 1)]
    assert max(share) > 0.6


def test_gates_are_drawn_long_enough_to_see_and_labelled(visit: Visit) -> None:
    for kind, count in (("finish", 1), ("sector", 2)):
        boxes = visit.boxes(f".leaflet-gates-pane path.t-{kind}")
        assert len(boxes) == count
        assert all(np.hypot(c - a, d - b) >= 17 for a, b, c, d in boxes)
    assert visit.boxes(".label.finish")
    assert visit.page.locator(".label.finish").inner_text().split() == ["Finish", "0", "m"]


def test_arrows_are_shown_and_apart(visit: Visit) -> None:
    boxes = visit.boxes("svg.arrow")
    centres = np.array([((a + c) / 2, (b + d) / 2) for a, b, c, d in boxes])
    assert len(centres) >= 3
    apart = np.linalg.norm(centres[:, None] - centres[None, :], axis=-1)
    assert apart[np.triu_indices(len(centres), 1)].min() > 40


def test_labels_cover_neither_each_other_nor_the_furniture(visit: Visit) -> None:
    boxes = visit.boxes(".label, .leaflet-control")
    assert len(boxes) > 8
    pairs = [(a, b) for n, a in enumerate(boxes) for b in boxes[:n]]
    assert not [pair for pair in pairs if overlap(*pair)]


def test_panels_stay_clear_of_the_map_and_within_the_page(visit: Visit) -> None:
    (frame,) = visit.boxes(".folium-map")
    width = visit.page.viewport_size["width"]
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
    for box in visit.boxes(".caution, #legend, .head"):
        assert not overlap(box, frame)
        assert box[0] >= 0
        assert box[2] <= width


def test_scale_bar_tells_the_truth(visit: Visit) -> None:
    # The bar's length against the geodesic between its ends, which Leaflet's own scale does not
    # use: GeographicLib (Karney 2013) on WGS 84, where Leaflet takes a sphere (0.6 % apart).
    from geographiclib.geodesic import Geodesic

    text, width = visit.page.evaluate(
        """() => { const bar = document.querySelector(".leaflet-control-scale-line");
            return [bar.textContent, bar.getBoundingClientRect().width]; }"""
    )
    west, east = visit.page.evaluate(
        """width => { const middle = map_1.getSize().divideBy(2);
            return [0, width].map(x => map_1.containerPointToLatLng(middle.add([x, 0])))
                .map(place => [place.lat, place.lng]); }""",
        width,
    )
    number, unit = text.split()
    shown_m = float(number) * {"m": 1, "km": 1000}[unit]
    assert shown_m == pytest.approx(Geodesic.WGS84.Inverse(*west, *east)["s12"], rel=0.03)


def test_finding_in_the_list_leads_to_its_place_on_the_map(visit: Visit) -> None:
    visit.page.evaluate("document.getElementById('findings').open = true")
    visit.page.locator(".go").first.click()
    popup = visit.page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert "error 1" in popup.inner_text()
    assert "What to do: Narrow it" in popup.inner_text()


def test_box_in_the_legend_takes_gates_off_the_map(visit: Visit) -> None:
    label = visit.page.locator(".shown label", has_text="gates")
    label.click()
    assert visit.page.locator(".leaflet-pane .label.gate").count() == 0
    label.click()
    assert visit.page.locator(".leaflet-pane .label.gate").count() == 3


def test_nothing_in_a_hostile_name_runs(browser, tmp_path) -> None:
    track = kart_track(name=HOSTILE)
    track = replace(
        track,
        layout=HOSTILE,
        notes=HOSTILE,
        gates=tuple(replace(gate, name=HOSTILE) for gate in track.gates),
        corners=tuple(replace(corner, name=HOSTILE) for corner in track.corners),
    )
    findings = [replace(finding, message=HOSTILE, remedy=HOSTILE) for finding in FINDINGS]
    path = tmp_path / "map.html"
    write_map(track, path, recordings=[kart_drive(track, HOSTILE)], findings=findings)
    visit = Visit(browser, path, "desk")
    for label in (".label.finish", ".label.corner.placed", ".label.error"):
        visit.page.locator(label).first.hover(force=True)
        visit.page.locator(label).first.click(force=True)
        visit.page.wait_for_selector(".leaflet-popup-content")
    assert visit.page.evaluate("window.harmed") is None
    assert visit.page.title().startswith("<img src=x")
    # Not even refused by the policy: nothing was there to refuse.
    assert visit.complaints == []
    assert visit.requests == [visit.address]
    visit.page.close()


def test_forty_five_thousand_fixes_draw_within_five_seconds(browser, tmp_path) -> None:
    track = kart_track()
    time = np.arange(45_000) / 25
    rng = np.random.default_rng(5)
    chainage = 18 * time + 15 * np.sin(time / 4)
    aside = 2 * np.sin(time / 11) + rng.normal(0, 0.15, len(time))
    place = track.curve.position(chainage) + aside[:, None] * track.curve.left(chainage)
    longitude, latitude = track.plane.to_geographic(place)
    path = tmp_path / "map.html"
    write_map(track, path, recordings=[Recording("long", time, longitude, latitude)])
    visit = Visit(browser, path, "desk")
    # Measured: 1.1 s on two busy cores.
    assert visit.page.evaluate("performance.now()") < 5000
    visit.page.close()
