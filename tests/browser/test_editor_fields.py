"""What is typed on the page of `trackkit edit`, in a browser."""

from __future__ import annotations

import json

import pytest
from edited_sample import assert_same_gates, by_command
from editor_page import Editor

from trackkit.gates.edit import LONGEST_NAME
from trackkit.units import shown_in

pytestmark = pytest.mark.slow

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")


NAME = "<img src=x onerror=alert(1)>"


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


def test_places_and_widths_are_typed_in_feet_where_people_read_feet(browser, file) -> None:
    """A foot is 0.3048 m (international yard and pound agreement, 1959)."""
    with shown_in("imperial"):
        editor = Editor(browser, file, [])
    before = editor.gate("Sector 1 end")
    at = editor.page.get_by_label("Chainage of Sector 1 end, feet")
    width = editor.page.get_by_label("Width of Sector 1 end, feet")
    assert float(at.input_value()) == pytest.approx(before["chainage_m"] / 0.3048, abs=0.051)
    assert float(width.input_value()) == pytest.approx(before["width_m"] / 0.3048, abs=0.051)

    at.fill("1000.0")
    at.press("Enter")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(304.8, abs=1e-3)
    assert at.input_value() == "1000.0"
    editor.page.get_by_role("button", name="Move Sector 1 end by 10 ft").click()
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(1010 * 0.3048, abs=1e-3)
    width.fill("5000")
    width.press("Enter")
    editor.page.locator("#trouble-box").wait_for(state="visible")
    assert "1.6 to 1,640 feet" in editor.page.locator("#trouble").inner_text()
    assert editor.page.locator(".leaflet-control-scale-line").inner_text().endswith("ft")
    editor.close()


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
