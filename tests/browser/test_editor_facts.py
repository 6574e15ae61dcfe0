"""Names and facts on the page of `trackkit edit`: fields with labels, undone like any edit."""

from __future__ import annotations

import json
import shutil

import pytest
from editor_page import SAMPLE, Editor

pytestmark = pytest.mark.slow


@pytest.fixture
def editor(browser, tmp_path):
    path = tmp_path / "track.geojson"
    shutil.copy(SAMPLE, path)
    editor = Editor(browser, path, [])
    editor.page.evaluate(
        "document.querySelectorAll('details').forEach(one => { one.open = true; })"
    )
    yield editor
    editor.close()


def stored(editor):
    return json.loads(editor.path.read_text("utf-8"))


def typed(editor, label, text):
    field = editor.page.get_by_label(label, exact=True)
    field.fill(text)
    field.press("Enter")
    editor.state()
    return field


def test_a_corner_is_named_in_the_list_shown_on_the_map_and_saved(editor):
    typed(editor, "Name of corner 2", "Cormorant")

    assert editor.page.locator(".label.corner[title='Corner 2: Cormorant']").count() == 1
    assert editor.page.text_content("#status").startswith("Done: named corner 2")
    editor.page.click("#save")
    editor.wait("document.querySelector('#unsaved').textContent === 'Saved'")
    names = [
        f["properties"]["name"]
        for f in stored(editor)["features"]
        if f["properties"].get("number") == 2
    ]
    assert names == ["Cormorant"]


def test_undo_takes_a_corners_name_back(editor):
    field = typed(editor, "Name of corner 1", "Cormorant")
    editor.page.click("#undo")
    editor.state()
    assert field.input_value() == ""


def test_facts_are_fields_and_the_heading_follows_the_name(editor):
    typed(editor, "Name", "Sandbar Ring")
    typed(editor, "Time zone", "Etc/GMT+3")
    valid = editor.page.get_by_label("Valid from", exact=True)
    valid.fill("2026-04-01")
    valid.blur()
    editor.wait("trackkit.page.session.state.facts.valid_from === '2026-04-01'")

    assert editor.page.text_content("h1") == "Sandbar Ring"
    editor.page.click("#save")
    editor.wait("document.querySelector('#unsaved').textContent === 'Saved'")
    described = stored(editor)["track"]
    assert (described["name"], described["timezone"]) == ("Sandbar Ring", "Etc/GMT+3")
    assert (described["valid_from"], described["version"]) == ("2026-04-01", "1.1")
    assert described["id"] == "pipwick-kart-circuit"


def test_what_was_refused_is_said_and_does_not_stay_in_the_field(editor):
    field = typed(editor, "Country (two letters)", "UK")
    editor.wait("document.querySelector('#trouble').textContent !== ''")
    assert "no country code of ISO 3166-1" in editor.page.text_content("#trouble")
    field.blur()
    editor.wait("document.querySelector('[name=country]').value === ''")
