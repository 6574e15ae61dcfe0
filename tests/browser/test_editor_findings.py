"""Findings and remarks on the page of `trackkit edit`, in a browser."""

from __future__ import annotations

import json
import shlex

import pytest
from edited_sample import assert_same_gates, by_command

from trackkit.cli import run

pytestmark = pytest.mark.slow

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")


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


def test_a_button_of_a_finding_does_what_check_says_to_type_and_is_undone(
    editor, tmp_path, capsys
) -> None:
    gate = editor.gate("Sector 1 end")
    edit = {"do": "width", "gate": gate["id"], "width_m": 4.0}
    editor.page.evaluate("(edit) => trackkit.page.editing.edit(edit)", edit)
    narrow = editor.state()["findings"]
    (n,) = [n for n, one in enumerate(narrow) if one["rule"] == "gate-missed"]
    name = f"{narrow[n]['offer']['label']}: {narrow[n]['severity']} {n + 1}"
    button = editor.page.locator("#finding-list button", has_text=name)

    button.click()
    assert editor.state()["findings"] == []
    assert button.count() == 0
    assert editor.gate("Sector 1 end")["width_m"] > 10.0
    assert editor.page.evaluate("document.activeElement !== document.body")
    editor.page.locator("#undo").click()
    assert editor.state()["findings"] == narrow
    assert editor.gate("Sector 1 end")["width_m"] == pytest.approx(4.0, abs=0.01)
    button.click()
    assert editor.state()["findings"] == []
    editor.save()

    at = f"{gate['chainage_m']:.2f}m"
    other = by_command(tmp_path, ["gate", "move", "TRACK", gate["id"], at, "--width", "4"])
    capsys.readouterr()
    assert run(["check", str(other), "--json"]) == 0
    findings = json.loads(capsys.readouterr().out)["findings"]
    finding = next(one for one in findings if one["rule"] == "gate-missed")
    typed = finding["remedy"][finding["remedy"].index("trackkit ") :]
    assert run(shlex.split(typed)[1:]) == 0
    assert_same_gates(editor.path, other)
