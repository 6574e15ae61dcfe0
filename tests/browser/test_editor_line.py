"""The centreline moved through control points on the page, by pointer, touch and keyboard."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest
from cut_hairpin import ROAD, cut_track, on_hairpin

from trackkit.track.file import read_track, write_track

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")

from editor_page import Editor

pytestmark = pytest.mark.slow


@pytest.fixture
def editor(browser, tmp_path):
    path = tmp_path / "cut.geojson"
    write_track(cut_track(), path)
    opened = Editor(browser, path, [])
    yield opened
    assert [line for line in opened.complaints if "400" not in line] == []
    opened.close()


def turn_to(editor, position, zoom: float = 19.0) -> None:
    editor.page.evaluate(
        "([lon, lat, zoom]) => trackkit.page.map.map.setView([lat, lon], zoom, {animate: false})",
        [*position, zoom],
    )


def on_screen(editor, position) -> tuple[float, float]:
    return tuple(
        editor.page.evaluate(
            """([lon, lat]) => { const { map } = trackkit.page.map;
                const point = map.latLngToContainerPoint([lat, lon]);
                const frame = map.getContainer().getBoundingClientRect();
                return [point.x + frame.left, point.y + frame.top]; }""",
            list(position),
        )
    )


def points(editor) -> list[dict]:
    return editor.page.evaluate(
        """() => { const { line } = trackkit.page; return line.controls.map((control) =>
            ({ ...control, at: line.position(control) })); }"""
    )


def select(editor, n: int) -> None:
    """Choose a point as the keyboard does, and bring it into view."""
    turn_to(editor, points(editor)[n]["at"])
    editor.page.evaluate("n => { trackkit.page.line.select(n); }", n)
    editor.page.evaluate("n => trackkit.page.line.marks.focus(n)", n)


def output(*words: str) -> dict:
    made = subprocess.run(
        [sys.executable, "-m", "trackkit", *words, "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    return json.loads(made.stdout)


def test_a_hairpin_cut_by_a_chord_is_mended_by_dragging_points(editor) -> None:
    page = editor.page
    before = read_track(editor.path)
    page.locator("#line-edit").click()
    # Away with the points of the chord, from its first end to its last.
    ends = [before.plane.to_plane(*at) for at in on_hairpin([0.0, 1.0])]
    first, last = before.curve.project(np.array(ends))[0] + [-4.0, 4.0]
    while True:
        of_chord = [
            n
            for n, control in enumerate(points(editor))
            if control["base"] is not None and first < control["base"] < last
        ]
        if not of_chord:
            break
        select(editor, of_chord[0])
        page.keyboard.press("Delete")
    for share in (0.5, 0.25, 0.75, 0.0, 1.0):
        to = on_hairpin([share])[0]
        turn_to(editor, on_hairpin([0.5])[0])
        drawn = page.evaluate(
            """([lon, lat]) => { const { line } = trackkit.page;
                const to = line.onPlane([lon, lat]);
                const lines = line.marks.lines[0].getLatLngs().flat();
                const away = lines.map((place) => {
                    const at = line.onPlane([place.lng, place.lat]);
                    return Math.hypot(at.x - to.x, at.y - to.y); });
                const near = lines[away.indexOf(Math.min(...away))];
                return [near.lng, near.lat]; }""",
            to.tolist(),
        )
        start = on_screen(editor, drawn)
        page.mouse.click(*start)
        editor.drag(start, on_screen(editor, to))

    with page.expect_event("load"):
        page.locator("#lane-done").click()
    editor.wait(
        "window.trackkit?.page && trackkit.page.session.state.undo_what === 'drew the line'"
    )
    editor.save()

    track = read_track(editor.path)
    described = output("describe", str(editor.path))
    # Two straights of 84.39 m and two half circles of 36.80 m; by hand, to a metre.
    assert described["length_m"] == pytest.approx(ROAD.length_m, abs=1.0)
    assert described["length_m"] > before.length_m + 28.0
    assert [(g.id, g.left, g.right) for g in track.gates] == [
        (g.id, g.left, g.right) for g in before.gates
    ]
    assert track.gate("back").chainage_m == pytest.approx(200.0, abs=1.0)
    assert track.history[-1]["what"].startswith("line drawn by hand at ")
    assert {row.kind for row in track.centreline.accuracy_profile} == {"drawn"}
    findings = output("check", str(editor.path))["findings"]
    assert {f["rule"] for f in findings} <= {"gate-missing", "sigma-of-gates"}
    reasons = described["verdict"]["reasons"]
    assert any("the drawn line is known to 3.0 m" in reason for reason in reasons)


def test_the_keyboard_alone_moves_the_line_and_undo_takes_each_step_back(editor) -> None:
    page = editor.page
    page.locator("#line-edit").press("Enter")
    count = len(points(editor))
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert label.startswith("Point ")
    assert label.split(", ")[0].endswith(f"of {count} of the line")
    n = page.evaluate("trackkit.page.line.selected")
    before = points(editor)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Shift+ArrowUp")
    after = points(editor)
    # A degree of latitude is about 111 km (WGS 84).
    assert 111_000 * (after[n]["at"][1] - before[n]["at"][1]) == pytest.approx(11.0, abs=0.1)
    assert [k for k in range(count) if after[k]["at"] != before[k]["at"]] == [n]
    page.keyboard.press("Insert")
    assert len(points(editor)) == count + 1
    page.keyboard.press("Delete")
    assert len(points(editor)) == count
    for _ in range(3):
        page.keyboard.press("Control+z")
    assert points(editor) == before
    assert not page.evaluate("Boolean(trackkit.page.editing.drafting.draft.undo)")
    page.keyboard.press("Control+y")
    assert points(editor)[n]["at"] == after[n]["at"]
    page.evaluate("n => trackkit.page.line.select(n)", n)
    page.locator("#lane-aside").fill("2.5")
    page.locator("#lane-side").select_option("left")
    page.locator("#lane-aside").press("Enter")
    assert page.evaluate(
        "n => { const { line } = trackkit.page;"
        " return line.beside(line.position(line.controls[n])).aside; }",
        n,
    ) == pytest.approx(2.5, abs=0.01)
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "line-edit"
    assert not editor.state()["can_undo"]


def test_save_lays_what_is_drawn_and_saves_it(editor) -> None:
    page = editor.page
    page.locator("#line-edit").click()
    page.keyboard.press("ArrowUp")
    assert page.text_content("#unsaved") == "Not saved"
    with page.expect_event("load"):
        page.locator("#save").click()
    editor.wait(
        "window.trackkit?.page && trackkit.page.session.state.undo_what === 'drew the line'"
        " && !trackkit.page.session.state.unsaved && trackkit.page.line.which === null"
    )
    assert read_track(editor.path).history[-1]["what"].startswith("line drawn by hand")


def test_what_is_refused_stays_to_be_mended(editor) -> None:
    page = editor.page
    page.locator("#line-edit").click()
    page.evaluate(
        """() => { const { line } = trackkit.page;
            const { x, y } = line.controls[line.selected];
            line.insert(line.position({ x: x + 0.05, y }));
            line.step(line.selected, 0, 6, "a"); }"""
    )
    page.locator("#lane-done").click()
    editor.wait("!document.querySelector('#trouble-box').hidden")
    assert page.locator("#lane-bar").is_visible()
    assert page.evaluate("trackkit.page.editing.drafting.draft.undoes") == "moved a point"
    assert editor.state()["undo_what"] is None


def test_snapping_is_off_until_it_is_asked_for(editor) -> None:
    page = editor.page
    page.locator("#line-edit").click()
    assert not page.locator("#lane-snap").is_checked()
    n = page.evaluate("trackkit.page.line.selected")
    at = points(editor)[n]["at"]
    turn_to(editor, at)
    (x, y) = on_screen(editor, at)

    def aside() -> float:
        return abs(
            page.evaluate(
                "n => { const { line } = trackkit.page;"
                " return line.beside(line.position(line.controls[n])).aside; }",
                n,
            )
        )

    editor.drag((x, y), (x + 1, y + 7))
    assert aside() > 0.5
    page.locator("#lane-snap").check()
    (x, y) = on_screen(editor, points(editor)[n]["at"])
    editor.drag((x, y), (x + 6, y + 1))
    assert aside() < 0.01


@pytest.mark.parametrize("width", [1400, 820, 390])
def test_the_map_is_not_covered_while_the_line_is_moved(editor, width) -> None:
    page = editor.page
    page.set_viewport_size({"width": width, "height": 844})
    page.locator("#line-edit").click()
    bar, shown = (page.locator(one).bounding_box() for one in ("#lane-bar", "#map"))
    assert bar["y"] >= shown["y"] + shown["height"] - 1.0
    assert shown["height"] >= 200.0
    assert bar["y"] + bar["height"] <= 844.0
    if width == 390:
        for button in page.locator("#lane-bar button:visible").all():
            box = button.bounding_box()
            assert min(box["width"], box["height"]) >= 44.0
