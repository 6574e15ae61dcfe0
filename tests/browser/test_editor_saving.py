"""The file under the page of `trackkit edit`, in a browser: saved, changed and deleted."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from trackkit.track.file import read_track

pytestmark = pytest.mark.slow

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")


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
    with editor.page.expect_event("load"):
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
    with page.expect_event("load"):
        page.get_by_role("button", name="Take the file").click()
    editor.wait("Boolean(window.trackkit?.page)")
    assert editor.gate("Sector 1 end")["chainage_m"] == pytest.approx(start, abs=0.001)


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


def test_a_copy_is_saved_beside_and_the_track_stays_as_it_is(editor) -> None:
    page, before = editor.page, editor.path.read_bytes()
    editor.focus("Sector 1 end")
    page.keyboard.press("Shift+ArrowRight")
    shown = editor.gate("Sector 1 end")["chainage_m"]
    page.locator("#save-copy").click()
    assert page.locator("#copy-name").input_value() == "track-copy.geojson"
    page.keyboard.type("track.geojson")
    page.keyboard.press("Enter")
    editor.wait("document.querySelector('#copy-trouble').textContent.includes('another name')")
    page.locator("#copy-name").fill("mine")
    page.keyboard.press("Enter")
    page.locator("#copy-dialog").wait_for(state="hidden")
    copy = read_track(editor.path.parent / "mine.geojson")
    gate = next(gate for gate in copy.gates if gate.name == "Sector 1 end")
    assert gate.chainage_m == pytest.approx(shown, abs=0.01)
    assert editor.path.read_bytes() == before
    assert page.locator("#unsaved").inner_text() == "Not saved"
    assert str(editor.path.parent / "mine.geojson") in page.locator("#status").inner_text()
    assert editor.complaints.pop(0).startswith("Failed to load resource")
