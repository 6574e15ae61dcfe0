"""Gates edited by hand on the page, in a browser, against what the command line makes of them.

The circuit is one of the invented samples; the recording is simulated.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from editor_page import SAMPLE, Editor
from geographiclib.geodesic import Geodesic

from trackkit.cli import run
from trackkit.gates.edit import LONGEST_NAME
from trackkit.track.file import read_track

pytest.importorskip("starlette")
uvicorn = pytest.importorskip("uvicorn")

NAME = "<img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("drive") / "drive.csv"
    assert run(["simulate", str(SAMPLE), "--laps", "3", "--rate", "5", "-o", str(path)]) == 0
    return path


@pytest.fixture
def file(tmp_path) -> Path:
    path = tmp_path / "track.geojson"
    shutil.copy(SAMPLE, path)
    return path


@pytest.fixture
def editor(browser, file, recording) -> Iterator[Editor]:
    opened = Editor(browser, file, [recording])
    yield opened
    assert opened.complaints == []
    assert [url for url in opened.requests if not url.startswith((opened.origin, "data:"))] == []
    opened.close()


def assert_same_gates(file: Path, other: Path) -> None:
    """Every end of every gate within 1 cm by GeographicLib (Karney 2013)."""
    ours, theirs = ({g.id: g for g in read_track(p).gates} for p in (file, other))
    assert list(ours) == list(theirs)
    for key, gate in ours.items():
        assert (gate.name, gate.kind, gate.order) == (
            theirs[key].name,
            theirs[key].kind,
            theirs[key].order,
        )
        for a, b in ((gate.left, theirs[key].left), (gate.right, theirs[key].right)):
            assert Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"] < 0.01


def by_command(tmp_path, *commands: list[str]) -> Path:
    path = tmp_path / "command.geojson"
    shutil.copy(SAMPLE, path)
    for command in commands:
        words = [str(path) if word == "TRACK" else word for word in command]
        assert run(words) == 0
    return path


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


def test_a_chainage_that_is_typed_is_where_the_gate_goes(editor, tmp_path) -> None:
    gate = editor.gate("Sector 1 end")
    field = editor.page.get_by_label("Chainage of Sector 1 end, metres")
    field.fill("301.7")
    field.press("Enter")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(301.7, abs=0.01)
    editor.save()
    assert_same_gates(
        editor.path, by_command(tmp_path, ["gate", "move", "TRACK", gate["id"], "301.7m"])
    )


def test_saving_keeps_the_previous_file_and_a_reload_shows_what_was_saved(editor) -> None:
    before = editor.path.read_bytes()
    editor.focus("Sector 1 end")
    editor.page.keyboard.press("Shift+ArrowRight")
    there = editor.gate("Sector 1 end")["chainage_m"]
    assert editor.page.locator("#unsaved").inner_text() == "Not saved"
    editor.save()
    assert Path(f"{editor.path}~").read_bytes() == before
    editor.open()
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(there, abs=0.001)
    assert editor.page.locator("#unsaved").inner_text() == "Saved"


def test_leaving_with_unsaved_changes_asks_and_after_saving_does_not(editor) -> None:
    asked = []
    editor.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    editor.focus("Sector 1 end")
    editor.page.keyboard.press("ArrowRight")
    editor.state()
    at = editor.gate("Sector 1 end")["chainage_m"]
    editor.page.evaluate("setTimeout(() => window.location.reload(), 0)")
    editor.page.wait_for_timeout(500)
    assert asked == ["beforeunload"]
    assert editor.gate("Sector 1 end")["chainage_m"] == at
    editor.save()
    with editor.page.expect_navigation():
        editor.page.evaluate("setTimeout(() => window.location.reload(), 0)")
    assert asked == ["beforeunload"]
    editor.wait("Boolean(window.trackkit?.page)")


def changed_by_another(path: Path) -> bytes:
    document = json.loads(path.read_text("utf-8"))
    document["track"]["notes"] = "Another hand was here."
    path.write_text(json.dumps(document), "utf-8")
    return path.read_bytes()


def test_a_file_changed_on_disk_is_told_and_not_written_over_unasked(editor) -> None:
    page = editor.page
    editor.focus("Sector 1 end")
    page.keyboard.press("ArrowRight")
    editor.state()
    theirs = changed_by_another(editor.path)
    page.locator("#changed").wait_for(state="visible")
    page.locator("#save").click()
    page.locator("#disk-dialog").wait_for(state="visible")
    page.locator("#disk-dialog .cancel").click()
    assert editor.path.read_bytes() == theirs
    # The page was told with status 409, which a browser notes in its console.
    editor.complaints[:] = [one for one in editor.complaints if "409" not in one]
    page.locator("#changed-look").click()
    page.get_by_role("button", name="Write over it").click()
    editor.wait("!trackkit.page.session.state.unsaved")
    assert Path(f"{editor.path}~").read_bytes() == theirs
    assert editor.path.read_bytes() != theirs


def test_taking_the_file_from_disk_shows_its_gates(editor, tmp_path) -> None:
    page = editor.page
    start = editor.gate("Sector 1 end")["chainage_m"]
    editor.focus("Sector 1 end")
    page.keyboard.press("ArrowRight")
    editor.state()
    changed_by_another(editor.path)
    page.locator("#changed").wait_for(state="visible")
    page.locator("#changed-look").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Take the file").click()
    editor.wait("Boolean(window.trackkit?.page)")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(start, abs=0.001)


def test_findings_appear_beside_the_gate_while_it_is_held(editor) -> None:
    # Within a few metres of the finish gate a sector is too short for its uncertainty.
    page = editor.page
    start = editor.gate("Sector 1 end")["chainage_m"]
    page.mouse.move(*editor.on_map(start))
    page.mouse.down()
    for at in range(int(start), 1, -8):
        page.mouse.move(*editor.on_map(float(at)))
    editor.wait("!trackkit.page.editing.busy && !trackkit.page.editing.waiting.length")
    assert page.locator(".label.gate.selected .tag").count() == 1
    assert page.locator(".gate-row.selected .row-findings p").count() > 0
    assert page.evaluate("trackkit.page.session.sliding !== null")
    page.mouse.up()
    editor.state()


def test_what_was_done_is_said_in_the_live_region(editor) -> None:
    editor.focus("Sector 1 end")
    editor.page.keyboard.press("ArrowRight")
    at = editor.gate("Sector 1 end")["chainage_m"]
    assert f"Sector 1 end is at {at:.1f}" in editor.page.locator("#status").inner_text()


def test_circuit_called_like_an_element_shows_as_just_that_name(browser, file) -> None:
    document = json.loads(file.read_text("utf-8"))
    document["track"]["name"] = NAME
    for feature in document["features"]:
        if feature["properties"]["role"] == "gate":
            feature["properties"]["name"] = NAME
    file.write_text(json.dumps(document), "utf-8")
    editor = Editor(browser, file, [])
    assert editor.page.locator("h1").inner_text() == NAME
    assert NAME in editor.page.locator(".label.gate").first.inner_text()
    assert editor.page.locator("h1 img, .label img, .gate-row img").count() == 0
    assert editor.complaints == []
    editor.close()


def test_a_width_that_is_refused_is_told_and_nothing_changes(editor) -> None:
    before = editor.state()["gates"]
    field = editor.page.get_by_label("Width of Sector 1 end, metres")
    field.fill("900")
    field.press("Enter")
    editor.page.locator("#trouble-box").wait_for(state="visible")
    assert "0.5 to 500 metres" in editor.page.locator("#trouble").inner_text()
    assert editor.state()["gates"] == before
    # A browser notes the refusal, status 400, in its console.
    editor.complaints[:] = [one for one in editor.complaints if "400" not in one]


def test_a_name_as_long_as_a_gate_may_have_can_be_typed(editor) -> None:
    name = "a" * LONGEST_NAME
    field = editor.page.get_by_label("Name of Sector 1 end")
    field.focus()
    field.select_text()
    # Typed, since only what is typed is held to the length that a field takes.
    editor.page.keyboard.insert_text(name + "bc")
    field.press("Enter")
    assert editor.gate(name)["kind"] == "sector"


def test_a_chainage_that_is_typed_is_one_step(editor) -> None:
    start = editor.gate("Sector 1 end")["chainage_m"]
    field = editor.page.get_by_label("Chainage of Sector 1 end, metres")
    field.fill("301.7")
    field.press("Enter")
    field.press("Tab")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(301.7, abs=0.01)
    editor.page.locator("#undo").click()
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(start, abs=0.001)
    assert not editor.state()["can_undo"]


@pytest.mark.parametrize("typed", ["", "1e9"])
def test_a_chainage_that_is_none_is_told_and_does_not_stay_in_its_field(editor, typed) -> None:
    start = editor.gate("Sector 1 end")["chainage_m"]
    field = editor.page.get_by_label("Chainage of Sector 1 end, metres")
    field.fill(typed)
    field.press("Enter")
    editor.page.locator("#trouble-box").wait_for(state="visible")
    editor.state()
    field.press("Tab")
    editor.wait(
        "text => document.querySelectorAll('.gate-row .n')[2].value === text", f"{start:.1f}"
    )
    # A browser notes the refusal, status 400, in its console.
    editor.complaints[:] = [one for one in editor.complaints if "400" not in one]


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


def test_a_place_rounded_past_the_end_of_a_lap_is_its_beginning(editor) -> None:
    rounded = "at => trackkit.page.session.rounded(at)"
    length = editor.state()["track"]["length_m"]
    assert round(length - 0.01, 1) > length  # as this circuit has it
    assert editor.page.evaluate(rounded, length - 0.01) == 0
    assert editor.page.evaluate(rounded, 12.34) == 12.3


def test_a_finish_gate_shows_chainage_zero_wherever_it_is(editor) -> None:
    for datum in range(1, 933, 7):
        shown = editor.page.evaluate(
            """datum => { const { line } = trackkit.page.session;
                return line.wrap(line.wrap(0 + datum) - datum); }""",
            datum + 0.492,
        )
        assert shown == pytest.approx(0, abs=1e-6)
        back = editor.page.evaluate(
            "datum => trackkit.page.session.line.wrap(datum - (datum + 1e-13 * datum))", datum
        )
        assert back == pytest.approx(0, abs=1e-6)


def test_laps_are_drawn_once_a_track_without_gates_has_a_finish(browser, file, recording) -> None:
    document = json.loads(file.read_text("utf-8"))
    document["features"] = [f for f in document["features"] if f["properties"]["role"] != "gate"]
    file.write_text(json.dumps(document), "utf-8")
    editor = Editor(browser, file, [recording])
    assert editor.page.evaluate("trackkit.page.chart.drawn.length") == 0
    editor.page.locator("#add").click()
    with editor.page.expect_navigation():
        editor.page.locator("[data-kind=finish]").click()
    editor.wait("Boolean(window.trackkit?.page)")
    assert editor.page.evaluate("trackkit.page.chart.drawn.length") == 2
    assert editor.state()["unsaved"]
    assert editor.complaints == []
    editor.close()


def test_a_file_that_was_deleted_is_told_as_that_and_can_be_written_again(editor) -> None:
    page = editor.page
    editor.focus("Sector 1 end")
    page.keyboard.press("ArrowRight")
    editor.state()
    editor.path.unlink()
    page.locator("#changed").wait_for(state="visible")
    assert "deleted or moved" in page.locator("#changed").inner_text()
    page.locator("#changed-look").click()
    assert page.get_by_role("button", name="Take the file").count() == 0
    page.get_by_role("button", name="Write it again").click()
    editor.wait("!trackkit.page.session.state.unsaved")
    assert editor.path.exists()


def test_a_warning_stays_within_its_gates_label(editor) -> None:
    editor.focus("Sector 1 end")
    field = editor.page.get_by_label("Chainage of Sector 1 end, metres")
    field.fill("3")
    field.press("Enter")
    editor.state()
    fits = """() => Array.from(document.querySelectorAll(".label.gate .tag")).map((tag) =>
        tag.getBoundingClientRect().right <= tag.parentNode.getBoundingClientRect().right)"""
    found = editor.page.evaluate(fits)
    assert found
    assert all(found)
