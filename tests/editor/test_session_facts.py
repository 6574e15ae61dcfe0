"""Names and facts changed on the page: each does what the command does, and can be undone."""

from __future__ import annotations

import pytest

from trackkit.checks.evaluate import prepare
from trackkit.editor.session import Editing
from trackkit.errors import TrackFileError, TrackkitError
from trackkit.track.derive import with_corners
from trackkit.track.facts import rename_corner, set_fact


@pytest.fixture
def named(plain_block):
    track = with_corners(plain_block)
    return Editing(track, prepare(track, []))


def set_to(key, value):
    return {"do": "set", "key": key, "value": value}


def test_facts_and_corner_names_are_edits_with_undo(named):
    track = named.step.track
    corner = track.corners[1]
    named.apply(set_to("country", "XZ"))
    named.apply(set_to("valid_from", "2026-04-01"))
    named.apply(set_to(f"corner:{corner.id}", "Cormorant"))
    state = named.state()

    assert (state["facts"]["country"], state["facts"]["valid_from"]) == ("XZ", "2026-04-01")
    assert state["corners"][1] == {"id": corner.id, "number": 2, "name": "Cormorant"}
    assert state["undo_what"] == "named corner 2"
    by_hand = set_fact(track, "country", "XZ").track
    by_hand = set_fact(by_hand, "valid_from", "2026-04-01").track
    by_hand = rename_corner(by_hand, 2, "Cormorant").track
    told = [[entry["what"] for entry in t.history] for t in (named.step.track, by_hand)]
    assert told[0] == told[1]

    named.apply({"do": "undo"})
    assert named.state()["corners"][1]["name"] == ""
    assert named.state()["redo_what"] == "named corner 2"
    named.apply({"do": "undo"})
    assert named.state()["facts"]["valid_from"] is None
    assert named.state()["undo_what"] == "set country"
    named.apply({"do": "redo"})
    assert named.state()["facts"]["valid_from"] == "2026-04-01"


def test_a_name_stays_with_its_corner_when_the_finish_gate_moves(named):
    corner = named.step.track.corners[0]
    named.apply(set_to(f"corner:{corner.id}", "Cormorant"))
    named.apply({"do": "move", "gate": "finish", "to_m": corner.exit_m + 20.0})
    (row,) = [row for row in named.state()["corners"] if row["id"] == corner.id]
    assert row["name"] == "Cormorant"
    assert row["number"] == len(named.step.track.corners)


@pytest.mark.parametrize(
    ("request_", "error"),
    [
        (set_to("country", "UK"), TrackFileError),
        (set_to("corner:99", "x"), TrackFileError),
        (set_to("colour", "red"), TrackFileError),
        ({"do": "set", "key": "name"}, TrackkitError),
        ({"do": "set", "key": "name", "value": 5}, TrackkitError),
    ],
)
def test_what_cannot_be_set_is_refused_and_changes_nothing(named, request_, error):
    before = named.step
    with pytest.raises(error):
        named.apply(request_)
    assert named.step is before


def test_a_name_that_was_given_is_kept_by_the_edits_of_gates(named):
    named.apply({"do": "rename", "gate": "gate-b", "name": "Sector 2 end"})
    named.apply({"do": "place", "kind": "sector", "at_m": 100.0})
    assert named.step.track.gate("gate-b").name == "Sector 2 end"
