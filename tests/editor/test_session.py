"""Edits of gates with undo: each does what the command does."""

from dataclasses import replace

import numpy as np
import pytest
from drives import track_of
from edited_block import ROAD, gates_of, move

from trackkit.checks.evaluate import prepare
from trackkit.editor.session import Editing
from trackkit.errors import PlaceError, TrackkitError
from trackkit.gates.edit import move_gate, place_gate, remove_gate
from trackkit.track.places import Place


def same_ground(track, other):
    """Largest distance between ends of the same gates, metres."""
    return max(
        float(np.abs(track.gate_ends(gate) - track.gate_ends(other.gate(gate.id))).max())
        for gate in track.gates
    )


EDITS = [
    move("gate-a", 412.0),
    move("finish", 55.5),
    {"do": "width", "gate": "gate-b", "width_m": 9.0},
    {"do": "place", "kind": "sector", "at_m": 1000.0},
    {"do": "place", "kind": "speed", "at_m": 600.0, "name": "Trap"},
    {"do": "remove", "gate": "gate-a"},
]


def test_an_edit_does_what_the_command_does_and_leaves_the_same_history(editing, plain_block):
    for edit in EDITS:
        editing.apply(edit)
    by_hand = plain_block
    for change in [
        lambda t: move_gate(t, "gate-a", Place(chainage_m=412.0)),
        lambda t: move_gate(t, "finish", Place(chainage_m=55.5)),
        lambda t: move_gate(
            t, "gate-b", Place(chainage_m=t.gate("gate-b").chainage_m), width_m=9.0
        ),
        lambda t: place_gate(t, "sector", Place(chainage_m=1000.0)),
        lambda t: place_gate(t, "speed", Place(chainage_m=600.0), name="Trap"),
        lambda t: remove_gate(t, "gate-a"),
    ]:
        by_hand = change(by_hand).track
    track = editing.step.track

    assert [(g.id, g.kind, g.order, g.name) for g in track.gates] == [
        (g.id, g.kind, g.order, g.name) for g in by_hand.gates
    ]
    assert same_ground(track, by_hand) < 1e-6
    told = [entry["what"] for entry in track.history]
    assert told[:2] == [
        "moved gate gate-a from 347.0 m to 412.0 m",
        "moved gate finish from 0.0 m, which made its new place chainage 0",
    ]
    assert len(told) == len(EDITS)
    assert [t for t in told if "wide" not in t] == [
        entry["what"] for n, entry in enumerate(by_hand.history) if n != 2
    ]


def test_undo_takes_an_edit_back_and_redo_makes_it_again(editing, plain_block):
    editing.apply(move("gate-a", 400.0))
    changed = editing.state()
    editing.apply({"do": "undo"})
    back = editing.state()

    assert editing.step.track is plain_block
    assert (back["can_undo"], back["can_redo"], back["unsaved"]) == (False, True, False)
    assert back["redo_what"] == "moved Gate-A"
    assert back["gates"][1]["chainage_m"] == pytest.approx(347.0, abs=0.1)
    editing.apply({"do": "redo"})
    again = editing.state()
    assert again["gates"] == changed["gates"]
    assert again["laps"] == changed["laps"]
    assert again["edit"] > back["edit"] > changed["edit"]


def test_a_page_does_not_undo_what_another_one_did(editing):
    editing.apply(move("gate-a", 400.0), "first")
    editing.apply(move("gate-b", 820.0), "second")

    assert not editing.state(page="first")["can_undo"]
    with pytest.raises(TrackkitError, match=r"undo \(moved Gate-B\) was made on another page"):
        editing.apply({"do": "undo"}, "first")
    assert editing.state(page="second")["can_undo"]
    editing.apply({"do": "undo"}, "second")
    assert not editing.state(page="second")["can_undo"]
    assert not editing.state(page="first")["can_redo"]
    with pytest.raises(TrackkitError, match=r"redo .* was made on another page"):
        editing.apply({"do": "redo"}, "first")
    editing.apply({"do": "undo"}, "first")
    assert not editing.state(page="first")["unsaved"]


def test_what_was_done_on_a_page_that_closed_can_be_undone_on_any(editing):
    editing.apply(move("gate-a", 400.0), "closed")
    editing.close("closed")

    assert editing.state(page="open")["can_undo"]
    editing.apply({"do": "undo"}, "open")
    assert not editing.state(page="open")["unsaved"]


def test_drags_on_two_pages_are_two_steps(editing):
    editing.apply(move("gate-a", 400.0, merge="drag-1"), "first")
    editing.apply(move("gate-a", 410.0, merge="drag-1"), "second")

    editing.apply({"do": "undo"}, "second")
    assert editing.state()["gates"][1]["chainage_m"] == pytest.approx(400.0, abs=0.1)


def test_a_new_edit_after_undo_forgets_what_was_undone(editing):
    editing.apply(move("gate-a", 400.0))
    editing.apply({"do": "undo"})
    editing.apply(move("gate-a", 300.0))

    assert not editing.state()["can_redo"]
    with pytest.raises(TrackkitError, match="nothing to redo"):
        editing.apply({"do": "redo"})


@pytest.mark.parametrize("gate", ["gate-a", "finish"])
def test_a_drag_is_one_step_and_ends_where_one_move_would(editing, plain_block, gate):
    begin = plain_block.gate(gate).chainage_m
    for metres in (3.0, 8.0, 15.0, 21.25):
        # The page counts from the datum it last saw.
        seen = editing.state(gate)["datum_m"]
        to_m = (begin + metres - seen) % plain_block.curve.length_m
        editing.apply(move(gate, to_m, merge="drag-1", datum_m=seen, light=True))
    once = move_gate(plain_block, gate, Place(chainage_m=begin + 21.25))

    assert same_ground(editing.step.track, once.track) < 1e-3
    assert [e["what"] for e in editing.step.track.history] == [once.what]
    editing.apply({"do": "undo"})
    assert editing.step.track is plain_block


def test_another_drag_is_another_step_and_so_is_one_after_saving(editing, plain_block):
    editing.apply(move("gate-a", 350.0, merge="drag-1"))
    editing.apply(move("gate-a", 360.0, merge="drag-2"))
    editing.mark_saved()
    editing.apply(move("gate-a", 370.0, merge="drag-2"))

    assert len(editing.step.track.history) == 3
    editing.apply({"do": "undo"})
    assert not editing.state()["unsaved"]
    editing.apply({"do": "undo"})
    assert editing.state()["unsaved"]


def test_chainages_sent_before_the_datum_moved_still_mean_the_same_place(editing, plain_block):
    place = plain_block.curve.position(500.0)
    editing.apply(move("finish", 40.0))
    editing.apply(move("gate-a", 500.0, datum_m=0.0))
    track = editing.step.track

    assert track.gate("gate-a").chainage_m == pytest.approx(460.0, abs=0.01)
    middle = track.gate_ends(track.gate("gate-a")).mean(axis=0)
    there = plain_block.plane.to_plane(*track.plane.to_geographic(middle))
    assert there == pytest.approx(place, abs=0.001)


@pytest.mark.parametrize(
    ("request_", "what"),
    [
        ({}, "do is not a text"),
        ({"do": "explode"}, "'explode' is no edit"),
        ({"do": "undo"}, "nothing to undo"),
        ({"do": "move", "gate": "gate-a"}, "to_m is not a number"),
        (move("gate-a", "412"), "to_m is not a number"),
        (move("gate-a", True), "to_m is not a number"),
        (move("gate-a", float("nan")), "to_m is not a number"),
        (move("gate-a", 10**400), "to_m is not a number"),
        (move("gate-a", 1e9), "off the track"),
        (move("gate-a", -1e308), "off the track"),
        (move("\ud800", 1.0), "no gate is called"),
        ({"do": "place", "kind": "sector", "at_m": 1.0, "name": "\ud800"}, "1 to 100 characters"),
        (move("nobody", 10.0), "no gate is called"),
        (move("gate-a", 10.0, merge=7), "merge is not a text"),
        ({"do": "place", "kind": "bend", "at_m": 1.0}, "no kind of gate"),
        ({"do": "place", "kind": "finish", "at_m": 1.0}, "has a finish gate already"),
        ({"do": "place", "kind": "sector", "at": [1.0]}, "a longitude and a latitude"),
        ({"do": "place", "kind": "sector", "at": [161.0, 95.0]}, "no longitude and latitude"),
        ({"do": "place", "kind": "sector", "at": [162.0, 47.0]}, "from the centreline"),
        ({"do": "width", "gate": "gate-a", "width_m": 0.1}, "not sensible"),
        ({"do": "remove", "gate": "finish"}, "cannot be without its finish gate"),
        ({"do": "rename", "gate": "gate-a", "name": "  "}, "1 to 100 characters"),
        ({"do": "rename", "gate": "gate-a", "name": "a\nb"}, "1 to 100 characters"),
    ],
)
def test_an_edit_that_cannot_be_made_changes_nothing(editing, plain_block, request_, what):
    before = editing.edit
    with pytest.raises(TrackkitError, match=what):
        editing.apply(request_)

    assert editing.step.track is plain_block
    assert editing.edit == before


def test_a_place_on_the_map_is_snapped_to_the_centreline(editing, plain_block):
    beside = plain_block.curve.position(600.0) + 4.0 * plain_block.curve.left(600.0)
    longitude, latitude = plain_block.plane.to_geographic(beside)
    editing.apply({"do": "place", "kind": "sector", "at": [float(longitude), float(latitude)]})
    shown = editing.state()

    new = next(g for g in shown["gates"] if g["id"] not in ("finish", "gate-a", "gate-b"))
    assert new["chainage_m"] == pytest.approx(600.0, abs=0.01)
    assert "snapped to the centreline" in shown["remarks"][0]


def test_a_gate_is_called_as_asked(editing):
    editing.apply({"do": "rename", "gate": "gate-a", "name": " Old Barn "})

    assert gates_of(editing.state())["gate-a"]["name"] == "Old Barn"
    assert editing.step.track.history[-1]["what"] == "renamed gate gate-a from Gate-A to Old Barn"


def test_an_open_course_is_edited_like_a_lap(block_recording):
    road = replace(ROAD, closed=False)
    gates = [("start", "start", 50.0), ("gate-a", "sector", 347.0), ("finish", "finish", 1100.0)]
    course = track_of(road, gates=gates, spacing_m=2.0)
    editing = Editing(course, prepare(course, [block_recording]))
    editing.apply(move("finish", 1050.0))
    shown = editing.state()

    assert shown["datum_m"] == 0.0
    assert [(s["from"], s["to"]) for s in shown["sectors"]] == [
        ("start", "gate-a"),
        ("gate-a", "finish"),
    ]
    assert gates_of(shown)["finish"]["chainage_m"] == pytest.approx(1050.0)


def test_a_name_that_is_none_is_refused_by_the_library_too(plain_block):
    from trackkit.gates.edit import rename_gate

    with pytest.raises(PlaceError, match="1 to 100 characters"):
        rename_gate(plain_block, "gate-a", "")
