"""A photo without coordinates laid under the map on the page, by pointer and by keyboard."""

from __future__ import annotations

import pytest

from trackkit import read_plan_points, read_track

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")
pytest.importorskip("rasterio")

from editor_page import Editor
from unplaced_plan import TurnedPhoto

pytestmark = pytest.mark.slow


@pytest.fixture
def photo(tmp_path, file):
    return TurnedPhoto(read_track(file), tmp_path / "photo.png")


@pytest.fixture
def apexes(file):
    return [corner.apex for corner in read_track(file).corners[:6]]


@pytest.fixture
def editor(browser, file, photo):
    opened = Editor(browser, file, [], plan=photo.path)
    opened.wait("trackkit.page.plan.pane !== null")
    yield opened
    assert [line for line in opened.complaints if "400" not in line] == []
    assert [u for u in opened.requests if not u.startswith((opened.origin, "data:"))] == []
    opened.close()


def turn_to(editor, photo, at, zoom=20.0) -> None:
    """Bring a place into the middle of both panes."""
    editor.page.evaluate(
        """([x, y, lon, lat, zoom]) => { const { plan, map } = trackkit.page;
            plan.pane.map.setView([-y, x], 2, { animate: false });
            map.map.setView([lat, lon], zoom, { animate: false }); }""",
        [*photo.place(*at), *at, zoom],
    )


def middle(editor, selector) -> tuple[float, float]:
    ((left, top, right, bottom),) = editor.boxes(selector)
    return 0.5 * (left + right), 0.5 * (top + bottom)


def pair(editor, photo, at) -> None:
    turn_to(editor, photo, at)
    for pane in ("#plan-pane", "#map"):
        editor.page.mouse.click(*middle(editor, pane))


def left_over(editor) -> list[str]:
    """What the list says of each pair, once the server has answered."""
    editor.wait("trackkit.page.plan.tried !== null")
    rows = editor.page.locator("#plan-pairs tbody tr")
    return [" ".join(row.split()) for row in rows.all_inner_texts()]


def test_pairs_that_are_clicked_lay_the_photo_and_show_what_is_left(editor, photo, apexes, file):
    page = editor.page
    for at in apexes[:3]:
        pair(editor, photo, at)
    assert all(" 0.00 m" in row for row in left_over(editor))
    shown = page.locator("#map .underlay")
    assert shown.count() == 1
    pair(editor, photo, apexes[3])
    # To the pixel of a screen: the photo has a metre a pixel, and is shown four times as large.
    assert all(float(row.split(" m ")[0].split()[-1]) < 0.6 for row in left_over(editor))
    assert "One sigma of a point is 0." in page.locator("#plan-said").inner_text()

    page.locator("#plan-credit").fill("A. Painter")
    with page.expect_event("load"):
        page.locator("#plan-lay").click()
    editor.wait("Boolean(window.trackkit?.page)")
    assert page.locator("#plan-bar").is_hidden()
    assert page.locator("#map .underlay").count() == 1
    assert "A. Painter" in page.locator("#map .leaflet-control-attribution").inner_text()
    laid = page.evaluate("trackkit.page.session.base.underlay")
    track = read_track(file)
    assert laid["west"] < track.centreline.longitude_deg.min()
    assert laid["north"] > track.centreline.latitude_deg.max()


def test_a_bad_pair_is_told_removed_and_brought_back(editor, photo, apexes):
    page = editor.page
    for at in apexes[:5]:
        pair(editor, photo, at)
    turn_to(editor, photo, apexes[5])
    x, y = middle(editor, "#plan-pane")
    page.mouse.click(x + 100.0, y)
    page.mouse.click(*middle(editor, "#map"))
    assert "does not go with the others" in left_over(editor)[5]
    assert page.locator("#map .pair-mark.bad").inner_text() == "6"

    page.get_by_role("button", name="Remove pair 6").click()
    assert "does not go" not in " ".join(left_over(editor))
    assert page.evaluate("document.activeElement.textContent") == "Remove pair 5"
    page.locator("#undo").click()
    assert "does not go with the others" in left_over(editor)[5]
    page.keyboard.press("Control+y")
    assert len(left_over(editor)) == 5


def test_a_pair_is_put_together_by_keys_alone(editor, photo, apexes):
    page = editor.page
    turn_to(editor, photo, apexes[0])
    page.locator("#plan-pane").focus()
    page.keyboard.press("Enter")
    assert page.locator("#plan-said").inner_text() == "Now the same place on the map."
    page.keyboard.press("Escape")
    assert page.locator("#plan-said").inner_text().startswith("Click a place on the plan")
    page.locator("#plan-pane").focus()
    page.keyboard.press("Enter")
    page.locator("#map").focus()
    page.keyboard.press("Enter")
    assert len(left_over(editor)) == 1
    (made,) = page.evaluate("trackkit.page.plan.pairs.pairs")
    assert (made["x"], made["y"]) == pytest.approx(photo.place(*apexes[0]), abs=0.51)
    assert made["at"] == pytest.approx(list(apexes[0]), abs=1e-5)


def test_a_pair_is_typed_by_its_chainage_and_what_is_no_place_is_said(editor, file):
    page = editor.page
    page.get_by_text("Type a pair").click()
    for name, value in (("x", "12.5"), ("y", "30"), ("place", "nowhere")):
        page.locator(f"#plan-{name}").fill(value)
    page.keyboard.press("Enter")
    page.locator("#trouble").wait_for()
    editor.wait("document.querySelector('#trouble').textContent.includes('is no place')")
    page.locator("#plan-place").fill("100m")
    page.keyboard.press("Enter")
    editor.wait("trackkit.page.plan.pairs.pairs.length === 1")
    (made,) = page.evaluate("trackkit.page.plan.pairs.pairs")
    track = read_track(file)
    there = track.plane.to_geographic(track.curve.position(100.0))
    assert made["at"] == pytest.approx([float(value) for value in there], abs=1e-8)
    assert page.locator("#trouble-box").is_hidden()


def test_points_are_saved_for_the_command(editor, photo, apexes, tmp_path):
    page = editor.page
    for at in apexes[:3]:
        pair(editor, photo, at)
    page.get_by_text("Save to files").click()
    page.locator("#plan-name").fill("mine")
    page.locator("#plan-save-points").click()
    editor.wait("document.querySelector('#plan-said').textContent.startsWith('Saved to')")
    assert len(read_plan_points(tmp_path / "mine.csv")) == 3


def test_clicks_near_the_line_are_on_it_where_that_is_asked_for(editor, photo, apexes, file):
    page = editor.page
    page.locator("#plan-snap").check()
    turn_to(editor, photo, apexes[0])
    x, y = middle(editor, "#map")
    page.mouse.click(x + 9.0, y + 9.0)
    page.mouse.click(*middle(editor, "#plan-pane"))
    (made,) = page.evaluate("trackkit.page.plan.pairs.pairs")
    track = read_track(file)
    _, aside = track.curve.project(track.plane.to_plane(*made["at"])[None])
    assert aside[0] == pytest.approx(0.0, abs=0.02)


def test_the_pane_opens_again_with_its_pairs(editor, photo, apexes):
    page = editor.page
    pair(editor, photo, apexes[0])
    left_over(editor)
    page.locator("#plan-leave").click()
    assert page.locator("#plan-pane").is_hidden()
    assert page.locator("#map .pair-mark").count() == 0
    page.locator("#plan-open").click()
    editor.wait("trackkit.page.plan.plan !== null")
    assert len(left_over(editor)) == 1
