"""Map and editor by the rules of WCAG 2.2 A and AA that axe-core (Deque, MPL 2.0) can check.

axe-core comes from npm (.ci/run installs it) and is handed over as TRACKKIT_AXE, the path of
axe.min.js; without it these tests are skipped, or fail where TRACKKIT_REQUIRE_BROWSER=1.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from browsing import Visit, give_up
from checkout import TRACKS
from editor_page import SAMPLE, Editor
from invented_kart_track import FINDINGS, kart_drive, kart_track

from trackkit.pages.circuits import Listing, write_circuits
from trackkit.pages.html import write_map
from trackkit.simulation.simulate import simulate_drive, write_simulation
from trackkit.track.file import read_track

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def axe() -> str:
    path = os.environ.get("TRACKKIT_AXE", "")
    if not path or not Path(path).is_file():
        required = os.environ.get("TRACKKIT_REQUIRE_BROWSER") == "1"
        give_up("axe-core is not installed: TRACKKIT_AXE is not the path of axe.min.js", required)
    return Path(path).read_text("utf-8")


def violations(visit: Visit, axe: str) -> list[str]:
    visit.page.evaluate(axe)
    found = visit.page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES
    )
    assert len(found["passes"]) > 15
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in found["violations"]
        for node in one["nodes"]
    ]


@pytest.mark.slow
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_map_has_no_violation(browser, axe, tmp_path, size, theme) -> None:
    track = kart_track()
    path = tmp_path / "map.html"
    write_map(track, path, recordings=[kart_drive(track)], findings=FINDINGS)
    visit = Visit(browser, path.as_uri(), size, theme)
    visit.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert violations(visit, axe) == []
    visit.page.close()


@pytest.fixture(scope="module")
def laps_of_two_drivers(tmp_path_factory) -> str:
    track = read_track(SAMPLE)
    drives = [
        simulate_drive(track, laps=3, rate_hz=5.0, seed=seed, channels=seed == 1).recording
        for seed in (1, 2, 3)
    ]
    path = tmp_path_factory.mktemp("laps") / "map.html"
    write_map(
        track,
        path,
        recordings=drives,
        findings=FINDINGS,
        names=["a.csv", "b.csv", "c.csv"],
        drivers=["Anna Quill", "Anna Quill", "Bert Larch"],
    )
    return path.as_uri()


@pytest.mark.slow
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("wide", "high"), [(1400, 900), (820, 1180), (390, 844)])
def test_map_of_laps_has_no_violation_as_it_opens_and_in_use(
    browser, axe, laps_of_two_drivers, wide, high, theme
) -> None:
    visit = Visit(browser, laps_of_two_drivers, theme=theme)
    page = visit.page
    page.set_viewport_size({"width": wide, "height": high})
    page.wait_for_timeout(200)
    assert violations(visit, axe) == []
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    page.evaluate(
        "document.querySelectorAll('[data-row]').forEach(one => one.checked || one.click())"
    )
    page.evaluate(
        """[...document.querySelectorAll('[data-lap]:enabled')].slice(0, 4)
            .forEach(one => one.checked || one.click())"""
    )
    page.check("#stack-sectors")
    page.click("[data-sort='0']")
    page.focus("#along")
    page.keyboard.press("ArrowRight")
    page.click("#own-add")
    page.keyboard.press("Shift+ArrowRight")
    page.wait_for_timeout(200)
    assert page.locator("#own-save").is_visible()
    assert page.locator("#release").is_visible()
    assert page.locator("#losses").is_visible()
    assert violations(visit, axe) == []
    assert visit.complaints == []
    page.close()


@pytest.mark.slow
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_the_page_of_many_circuits_has_no_violation(browser, axe, tmp_path, size, theme) -> None:
    path = tmp_path / "index.html"
    tracks = [read_track(file) for file in sorted(TRACKS.glob("*.geojson"))]
    write_circuits([Listing(track, f"{track.id}.html") for track in tracks], path)
    visit = Visit(browser, path.as_uri(), size, theme, ready="window.trackkit?.circuits")
    visit.page.fill("#find-place", "nowhere")
    assert violations(visit, axe) == []
    visit.page.close()


@pytest.mark.slow
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_editor_has_no_violation_with_menu_and_dialog_too(
    browser, axe, tmp_path, size, theme
) -> None:
    path, recording = tmp_path / "track.geojson", tmp_path / "drive.csv"
    shutil.copy(SAMPLE, path)
    write_simulation(simulate_drive(read_track(path), laps=2, rate_hz=5.0, seed=1), recording)
    editor = Editor(browser, path, [recording], size=size, theme=theme)
    editor.focus("Sector 1 end")
    editor.page.keyboard.press("Shift+ArrowRight")
    editor.state()
    assert violations(editor, axe) == []
    editor.page.mouse.click(*editor.on_map(250.0))
    editor.page.locator("#place-menu").wait_for(state="visible")
    assert violations(editor, axe) == []
    editor.page.keyboard.press("Escape")
    draw_pit_lane(editor)
    assert violations(editor, axe) == []
    editor.page.locator("#lane-cancel").click()
    editor.page.locator("#line-edit").click()
    editor.page.keyboard.press("ArrowUp")
    assert violations(editor, axe) == []
    editor.page.locator("#lane-cancel").click()
    editor.page.evaluate("trackkit.page.disk.ask()")
    editor.page.locator("#disk-dialog").wait_for(state="visible")
    assert violations(editor, axe) == []
    editor.close()


@pytest.fixture
def laying(browser, tmp_path):
    """Open the page with a plan that is being laid: some pairs, and one half of another."""
    pytest.importorskip("rasterio")
    from unplaced_plan import TurnedPhoto

    opened = []

    def open_page(size, theme="light"):
        path = tmp_path / "track.geojson"
        shutil.copy(SAMPLE, path)
        track = read_track(path)
        photo = TurnedPhoto(track, tmp_path / "photo.png")
        editor = Editor(browser, path, [], plan=photo.path, size=size, theme=theme)
        opened.append(editor)
        editor.wait("trackkit.page.plan.pane !== null")
        # Older versions of Playwright hand on lists, but not what is like them.
        pairs = [
            [list(map(float, place)) for place in (photo.place(*corner.apex), corner.apex)]
            for corner in track.corners[:6]
        ]
        pairs[2][0][0] += 40.0
        editor.page.evaluate(
            """pairs => { const { plan } = trackkit.page;
                pairs.forEach(([[x, y], at]) => plan.pairs.add({ x, y, at }));
                plan.pairs.pickOnPlan([100, 100]);
                plan.changed();
                document.querySelectorAll("#plan-bar details").forEach(one => { one.open = true; });
            }""",
            pairs,
        )
        editor.wait("trackkit.page.plan.tried !== null")
        assert "does not go" in editor.page.locator("#plan-pairs").inner_text()
        return editor

    yield open_page
    for one in opened:
        one.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_plan_that_is_being_laid_has_no_violation(laying, axe, size, theme) -> None:
    assert violations(laying(size, theme), axe) == []


def test_on_a_phone_what_lays_a_plan_is_as_large_as_a_finger(laying) -> None:
    boxes = laying("phone").boxes(
        "#plan-bar :is(button, select, summary, input:not([type=checkbox]), "
        "label:has([type=checkbox]))"
    )
    assert len(boxes) > 12
    assert [box for box in boxes if box[2] - box[0] < 44 or box[3] - box[1] < 44] == []


def draw_pit_lane(editor: Editor) -> None:
    """Leave a pit lane half drawn, with its bar and points."""
    page = editor.page
    page.locator("#lane-draw").click()
    for at in ("10", "90"):
        page.locator("#lane-at").fill(at)
        page.locator("#lane-aside").fill("20")
        page.locator("#lane-add").click()


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_targets_are_24_pixels_at_least(browser, tmp_path, size) -> None:
    # WCAG 2.2, success criterion 2.5.8; what is in a sentence, or spaced out, may be smaller.
    path = tmp_path / "track.geojson"
    shutil.copy(SAMPLE, path)
    editor = Editor(browser, path, [], size=size)
    editor.focus("Sector 1 end")
    draw_pit_lane(editor)
    small = [
        box
        for box in editor.boxes("button, select, input, .label.gate, .end, .leaflet-bar a")
        if box[2] - box[0] < 24 or box[3] - box[1] < 24
    ]
    assert small == []
    editor.close()
