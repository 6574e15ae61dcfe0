"""Gates edited by hand on the page, in a browser, against what the command line makes of them.

The circuit is one of the invented samples; the recording is simulated.
"""

from __future__ import annotations

import json
import shutil

import pytest
from edited_sample import assert_same_gates, by_command
from editor_page import SAMPLE, Editor

pytestmark = pytest.mark.slow

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")


def test_a_click_on_the_track_places_what_the_command_line_places(editor, tmp_path) -> None:
    editor.page.mouse.click(*editor.on_map(250.0))
    at = editor.page.locator("#menu-at").input_value()
    assert float(at) == pytest.approx(250.0, abs=4)
    editor.page.get_by_role("button", name="Sector gate").click()
    editor.save()
    other = by_command(tmp_path, ["gate", "place", "TRACK", "sector", f"{at}m"])
    assert_same_gates(editor.path, other)


def test_a_gate_dragged_on_the_map_lands_where_the_command_line_moves_it(editor, tmp_path) -> None:
    gate = editor.gate("Sector 1 end")
    start = gate["chainage_m"]
    editor.drag(*(editor.on_map(start + by) for by in (0.0, 15.0, 30.0, 41.0)))
    moved = editor.gate("Sector 1 end")
    assert moved["chainage_m"] == pytest.approx(start + 41, abs=4)
    editor.save()
    at = f"{moved['chainage_m']:.1f}m"
    other = by_command(tmp_path, ["gate", "move", "TRACK", gate["id"], at])
    assert_same_gates(editor.path, other)


def test_a_finish_gate_dragged_takes_chainage_zero_with_it(editor, tmp_path) -> None:
    editor.drag(*(editor.on_map(by) for by in (0.0, 8.0, 16.0, 24.0)))
    datum = editor.state()["datum_m"]
    assert datum == pytest.approx(24.0, abs=4)
    assert editor.gate("Finish")["chainage_m"] == pytest.approx(0.0, abs=0.01)
    editor.save()
    other = by_command(tmp_path, ["gate", "move", "TRACK", "finish", f"{datum:.1f}m"])
    assert_same_gates(editor.path, other)


def test_a_post_dragged_in_the_chart_moves_its_gate(editor) -> None:
    start = editor.gate("Sector 1 end")["chainage_m"]
    (post,) = [
        box
        for box in editor.boxes(".post.sector")
        if abs(0.5 * (box[0] + box[2]) - chart_x(editor, start)) < 2
    ]
    y = 0.5 * (post[1] + post[3])
    editor.drag((chart_x(editor, start), y), (chart_x(editor, start + 60), y))
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(start + 60, abs=3)


def chart_x(editor: Editor, shown_m: float) -> float:
    (box,) = editor.boxes("#chart canvas")
    return box[0] + editor.page.evaluate("at => trackkit.page.chart.x(at)", shown_m)


def test_sectors_and_laps_follow_a_gate_that_is_dragged(editor) -> None:
    page = editor.page
    before = page.locator("#lap-table tbody").inner_text()
    length = page.locator(".sector-row").first.inner_text()
    start = editor.gate("Sector 1 end")["chainage_m"]
    page.mouse.move(*editor.on_map(start))
    page.mouse.down()
    page.mouse.move(*editor.on_map(start + 30), steps=4)
    # The hand still holds the gate.
    editor.wait("text => document.querySelector('#lap-table tbody').innerText !== text", before)
    assert page.locator(".sector-row").first.inner_text() != length
    page.mouse.up()
    laps = [lap for lap in editor.state()["laps"] if lap["complete"]]
    shown = page.locator("#lap-table tbody").inner_text()
    assert laps
    for lap in laps:
        assert sum(s["time_s"] for s in lap["sectors"]) == pytest.approx(lap["time_s"], abs=2e-3)
        assert f"{lap['sectors'][0]['time_s']:.2f}"[:-1] in shown


def test_an_end_that_is_dragged_changes_the_width_alone(editor, tmp_path) -> None:
    page = editor.page
    gate = editor.gate("Sector 1 end")
    at = gate["chainage_m"]
    page.evaluate(
        "([lon, lat]) => trackkit.page.map.map.setView([lat, lon], 20, {animate: false})",
        gate["left"],
    )
    editor.focus("Sector 1 end")
    (one, _) = editor.boxes(".end")
    x, y = 0.5 * (one[0] + one[2]), 0.5 * (one[1] + one[3])
    middle = editor.on_map(at)
    outward = [a + 1.5 * (b - a) for a, b in zip(middle, (x, y), strict=True)]
    editor.drag((x, y), tuple(outward))
    moved = editor.gate("Sector 1 end")
    assert moved["width_m"] == pytest.approx(1.5 * gate["width_m"], rel=0.05)
    assert moved["chainage_m"] == pytest.approx(at, abs=0.02)
    editor.save()
    width = f"{moved['width_m']:.1f}"
    other = by_command(
        tmp_path, ["gate", "move", "TRACK", gate["id"], f"{at:.2f}m", "--width", width]
    )
    assert_same_gates(editor.path, other)


def test_tab_reaches_every_gate_in_racing_order(editor) -> None:
    names = [gate["name"] for gate in editor.state()["gates"]]
    editor.page.locator("#map").focus()
    reached = []
    for _ in names:
        editor.page.keyboard.press("Tab")
        reached.append(editor.page.evaluate("document.activeElement.getAttribute('aria-label')"))
    assert [label.partition(",")[0] for label in reached] == names


def test_keys_move_and_remove_a_gate_and_undo_it(editor) -> None:
    start = editor.gate("Sector 1 end")["chainage_m"]
    count = len(editor.state()["gates"])
    editor.focus("Sector 1 end")
    press = editor.page.keyboard.press
    for key in ("ArrowRight", "Shift+ArrowRight", "ArrowLeft", "ArrowRight"):
        press(key)
    there = editor.gate("Sector 1 end")["chainage_m"]
    assert there == pytest.approx(start + 11, abs=0.06)
    # Steps that follow one another are undone together.
    press("Control+z")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(start, abs=0.001)
    press("Control+y")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(there, abs=0.001)
    press("Delete")
    assert len(editor.state()["gates"]) == count - 1
    press("Control+z")
    assert len(editor.state()["gates"]) == count


def test_the_finish_can_be_driven_to_the_very_end_of_an_open_course(browser, tmp_path) -> None:
    path = tmp_path / "hill.geojson"
    shutil.copy(SAMPLE.parent / "orrinback-hill.geojson", path)
    editor = Editor(browser, path, [])
    gate = editor.state()["gates"][-1]
    length = editor.state()["track"]["length_m"]
    editor.page.evaluate(
        "([id, at]) => trackkit.page.editing.slideTo(id, at, 12, 'drag-9', true)",
        [gate["id"], length],
    )
    # The last whole decimetre of the line: rounded up, it would be off the track.
    (moved,) = [one for one in editor.state()["gates"] if one["id"] == gate["id"]]
    assert moved["chainage_m"] == pytest.approx(length, abs=0.1)
    assert editor.complaints == []
    editor.close()


def test_laps_are_drawn_once_a_track_without_gates_has_a_finish(browser, file, recording) -> None:
    document = json.loads(file.read_text("utf-8"))
    document["features"] = [f for f in document["features"] if f["properties"]["role"] != "gate"]
    file.write_text(json.dumps(document), "utf-8")
    editor = Editor(browser, file, [recording])
    assert editor.page.evaluate("trackkit.page.chart.drawn.length") == 0
    editor.page.locator("#add").click()
    with editor.page.expect_event("load"):
        editor.page.locator("[data-kind=finish]").click()
    editor.wait("Boolean(window.trackkit?.page)")
    assert editor.page.evaluate("trackkit.page.chart.drawn.length") == 2
    assert editor.state()["unsaved"]
    assert editor.complaints == []
    editor.close()
