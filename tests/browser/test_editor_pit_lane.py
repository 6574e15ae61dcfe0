"""The pit lane drawn, edited and removed on the page, by pointer, touch and keyboard alone."""

from __future__ import annotations

import re

import pytest

from trackkit.track.file import read_track
from trackkit.units import shown_in

pytestmark = pytest.mark.slow

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")

BESIDE = ((60.0, 14.0), (40.0, 24.0), (10.0, 26.0), (-40.0, 26.0), (-70.0, 15.0))
"""Chainages, and metres to the left of the line, around the finish gate of the sample; the first
is the exit."""


def spot(editor, at_m: float, aside_m: float) -> tuple[float, float]:
    """Where a place beside the line is on the screen, pixels."""
    return tuple(
        editor.page.evaluate(
            """([at, aside]) => { const { map, session } = trackkit.page;
                const [lon, lat] = session.line.beside(session.line.at(at), aside);
                const point = map.map.latLngToContainerPoint([lat, lon]);
                const frame = map.map.getContainer().getBoundingClientRect();
                return [point.x + frame.left, point.y + frame.top]; }""",
            [at_m, aside_m],
        )
    )


def lane_of(editor) -> list[list[float]]:
    lanes = editor.state()["pit_lanes"]
    return lanes[0]["line"] if lanes else []


def beside(editor, position: list[float]) -> tuple[float, float]:
    """Chainage and metres to the left of a position."""
    found = editor.page.evaluate("at => trackkit.page.lane.beside(at)", position)
    return found["shown"], found["aside"]


def type_lane(editor) -> None:
    """Lay the pit lane by typing alone."""
    page = editor.page
    page.locator("#lane-draw").press("Enter")
    length = editor.page.evaluate("trackkit.page.session.length")
    for at, aside in reversed(BESIDE):
        page.locator("#lane-at").fill(f"{at % length:.1f}")
        page.locator("#lane-aside").fill(f"{aside:.1f}")
        page.locator("#lane-side").select_option("left")
        page.locator("#lane-add").press("Enter")
    page.locator("#lane-done").press("Enter")
    editor.wait("trackkit.page.session.state.pit_lanes.length === 1")


def begin_lane(page, *chainages) -> None:
    """Begin the pit lane with points 20 m beside the line."""
    page.locator("#lane-draw").click()
    for at in chainages:
        page.locator("#lane-at").fill(at)
        page.locator("#lane-aside").fill("20")
        page.locator("#lane-add").click()


def test_clicks_draw_the_pit_lane_and_it_is_saved_with_its_history(editor) -> None:
    page = editor.page
    page.evaluate("trackkit.page.map.map.setZoom(18.5, {animate: false})")
    finish = editor.gate("Finish")["left"]
    page.evaluate(
        "([lon, lat]) => trackkit.page.map.map.setView([lat, lon], 18.5, {animate: false})", finish
    )
    page.locator("#lane-draw").click()
    clicked = [(-60.0, 20.0), (-20.0, 25.0), (20.0, 25.0), (45.0, 18.0)]
    length = page.evaluate("trackkit.page.session.length")
    for at, aside in clicked:
        page.mouse.click(*spot(editor, at % length, aside))
    assert lane_of(editor) == []  # not before it is done
    page.locator("#lane-done").click()
    editor.wait("trackkit.page.session.state.pit_lanes.length === 1")

    editor.save()

    track = read_track(editor.path)
    (lane,) = track.pit_lanes
    vertex = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    for (at, aside), point in zip(clicked, vertex, strict=True):
        true = track.curve.position(at % length) + aside * track.curve.left(at % length)
        assert point == pytest.approx(true, abs=1.0)
    assert track.history[-1]["what"].endswith("from a line drawn on the page")


def test_the_keyboard_alone_draws_edits_and_removes_it(editor) -> None:
    page = editor.page
    type_lane(editor)
    for position, (at, aside) in zip(lane_of(editor), reversed(BESIDE), strict=True):
        shown, left = beside(editor, position)
        assert abs((shown - at + 100) % editor.state()["track"]["length_m"] - 100) < 0.3
        assert left == pytest.approx(aside, abs=0.1)
    before = lane_of(editor)
    page.locator("#lane-edit").press("Enter")
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert label.startswith("Point 1 of 5 of the pit lane, 15.0\N{NO-BREAK SPACE}m left of ")

    page.keyboard.press("ArrowUp")
    page.keyboard.press("Shift+ArrowUp")
    moved = lane_of(editor)
    # A degree of latitude is about 111 km (WGS 84).
    assert 111_000 * (moved[0][1] - before[0][1]) == pytest.approx(11.0, abs=0.1)
    page.keyboard.press("Control+z")
    assert lane_of(editor)[0] == pytest.approx(before[0])
    page.keyboard.press("Insert")
    assert len(lane_of(editor)) == 6
    page.keyboard.press("Delete")
    assert lane_of(editor) == [pytest.approx(at) for at in before]
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "lane-edit"
    page.locator("#lane-remove").press("Enter")
    editor.wait("trackkit.page.session.state.pit_lanes.length === 0")
    assert page.evaluate("document.activeElement.id") == "lane-draw"


def test_keys_move_points_by_a_foot_where_people_read_feet(browser, file) -> None:
    """A foot is 0.3048 m (international yard and pound agreement, 1959)."""
    from editor_page import Editor

    with shown_in("imperial"):
        editor = Editor(browser, file, [])
    page = editor.page
    type_lane(editor)
    before = lane_of(editor)
    page.locator("#lane-edit").press("Enter")
    assert "move it by 1\N{NO-BREAK SPACE}ft" in page.locator("#lane-keys").inner_text()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Shift+ArrowUp")
    # A degree of latitude is about 111 km (WGS 84).
    north = 111_000 * (lane_of(editor)[0][1] - before[0][1])
    assert north == pytest.approx(11 * 0.3048, abs=0.05)
    steps = page.locator(".gate-row .step").all_inner_texts()
    assert any("by 1 ft" in step for step in steps)

    everything = page.evaluate(
        """[...document.querySelectorAll("body, body *")].flatMap(node => [
            ...(node.tagName === "SCRIPT" || node.tagName === "STYLE" ? [] : [...node.childNodes]
                .filter(({ nodeType }) => nodeType === 3).map(({ data }) => data)),
            node.title, node.ariaLabel, node.getAttribute("aria-valuetext")]).filter(Boolean)"""
    )
    assert [text for text in everything if re.search(r"\d\s+m\b|metres?\b", text)] == []
    assert editor.complaints == []
    editor.close()


def test_a_point_is_dragged_and_a_click_on_the_line_adds_one(editor) -> None:
    type_lane(editor)
    editor.page.locator("#lane-edit").click()
    before = lane_of(editor)
    (x, y) = spot(editor, *BESIDE[2])
    editor.drag((x, y), (x + 20, y + 12))
    moved = lane_of(editor)
    assert [n for n in range(5) if moved[n] != before[n]] == [2]
    middle = editor.page.evaluate(
        """([a, b]) => { const { map } = trackkit.page.map;
            const one = map.latLngToContainerPoint([a[1], a[0]]);
            const other = map.latLngToContainerPoint([b[1], b[0]]);
            const frame = map.getContainer().getBoundingClientRect();
            return [(one.x + other.x) / 2 + frame.left, (one.y + other.y) / 2 + frame.top]; }""",
        [moved[2], moved[1]],
    )
    editor.page.mouse.click(*middle)
    assert len(lane_of(editor)) == 6
    # Each was one step.
    editor.page.locator("#undo").click()
    editor.page.locator("#undo").click()
    assert lane_of(editor) == [pytest.approx(at) for at in before]


def test_undo_takes_back_the_last_point_while_it_is_drawn(editor) -> None:
    page = editor.page
    begin_lane(page, "10.0", "50.0")
    page.locator("#undo").click()
    assert page.locator(".lane-point").count() == 1
    page.locator("#lane-cancel").click()
    assert page.locator(".lane-point").count() == 0
    assert lane_of(editor) == []
    assert not editor.state()["can_undo"]


def test_a_line_that_is_refused_stays_to_be_mended(editor) -> None:
    page = editor.page
    begin_lane(page, "10.0", "15.0")
    page.locator("#lane-done").click()
    editor.wait("!document.querySelector('#trouble-box').hidden")
    assert "too short" in page.locator("#trouble").inner_text()
    assert page.locator(".lane-point").count() == 2
    assert page.locator("#lane-bar").is_visible()
    # The browser notes the refusal too.
    assert all("400" in complaint for complaint in editor.complaints)
    editor.complaints.clear()


def test_on_a_phone_map_and_tools_come_into_view_when_the_lane_is_edited(editor) -> None:
    type_lane(editor)
    page = editor.page
    page.set_viewport_size({"width": 390, "height": 844})
    page.locator("#lane-edit").click()  # far below the map
    for selector in ("#map", "#lane-bar"):
        box = page.locator(selector).bounding_box()
        assert box["y"] >= 0.0, selector
        assert box["y"] + box["height"] <= 844.0, selector
