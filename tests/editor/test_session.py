"""Edits of gates with undo, and what recordings make of them after each: nothing but what the
commands would say of the same track.

The circuit is invented; `drives` builds it from straights and arcs of known length.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, corner_speed, drive, stadium, track_of

from trackkit.checks.evaluate import evaluate, prepare
from trackkit.checks.other_layouts import check_against
from trackkit.editor.session import Editing
from trackkit.errors import PlaceError, TrackkitError
from trackkit.gates.edit import move_gate, place_gate, remove_gate
from trackkit.pages.state import datum_m, state
from trackkit.track.model import Crossover
from trackkit.track.places import Place

ROAD = block_circuit()
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]


@pytest.fixture(scope="module")
def block():
    return track_of(ROAD, gates=GATES, spacing_m=2.0, revised="2024-01-01T00:00:00Z")


@pytest.fixture(scope="module")
def recording():
    outing = drive(ROAD, begin_m=1300.0, laps=4.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    return outing.recording(10, doppler=True, noise=0.5, seed=4)


@pytest.fixture
def editing(block, recording):
    return Editing(block, prepare(block, [recording]))


def move(gate, to_m, **more):
    return {"do": "move", "gate": gate, "to_m": to_m, **more}


def gates_of(shown):
    return {gate["id"]: gate for gate in shown["gates"]}


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
OVAL = stadium()
OVAL_GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 150.0), ("gate-b", "sector", 250.0)]
OVAL_STEPS = [
    [],
    # So narrow that laps miss it, which then no longer tell the receiver's wander.
    [{"do": "width", "gate": "gate-b", "width_m": 0.8}],
    [move("gate-a", 164.0)],
    [move("finish", 35.5)],
    [
        {"do": "place", "kind": "sector", "at_m": 300.0},
        {"do": "place", "kind": "speed", "at_m": 60.0, "name": "Trap"},
    ],
    [{"do": "remove", "gate": "gate-b"}],
    [{"do": "undo"}, {"do": "undo"}],
]


def assert_state_is(shown, evaluation):
    """What a page shows is an evaluation's laps, best times and findings."""
    (report,) = evaluation.reports
    assert len(shown["laps"]) == len(report.laps)
    for row, lap in zip(shown["laps"], report.laps, strict=True):
        assert (row["number"], row["kind"], row["complete"], row["missed"]) == (
            lap.number, lap.kind, lap.complete, list(lap.missed),
        )  # fmt: skip
        assert row["time_s"] == pytest.approx(lap.time_s, abs=2e-6)
        assert row["sigma_s"] == pytest.approx(lap.sigma_s, abs=2e-6)
        for known, sector in zip(row["sectors"], lap.sectors, strict=True):
            assert known["time_s"] == pytest.approx(sector.time_s, abs=2e-6)
            assert known["sigma_s"] == pytest.approx(sector.sigma_s, abs=2e-6)
    (best,) = shown["best"]
    for key in ("best_lap_s", "theoretical_best_s", "continuous_best_s"):
        assert best[key] == pytest.approx(getattr(report, key), abs=2e-6)
    for row in shown["gates"]:
        expected = evaluation.quality.at(evaluation.quality.sigma_s, row["chainage_m"])
        assert row["sigma_s"] == pytest.approx(float(expected), abs=2e-6)
    assert shown["findings"] == [finding.as_row() for finding in evaluation.findings]


@pytest.mark.parametrize("wander_from", ["recording", "laps"])
def test_after_each_edit_a_page_shows_what_an_evaluation_from_nothing_finds(wander_from):
    """Also where laps tell the receiver's wander, and an edit makes laps count or not."""
    track = replace(
        track_of(OVAL, gates=OVAL_GATES, spacing_m=2.0), crossovers=(Crossover(120.0, 330.0),)
    )
    alone = wander_from == "recording"
    # It stands just behind gate-a, which is 220 m on from where it begins.
    driven = drive(
        OVAL, begin_m=330.0, laps=2.3 if alone else 7.3, cruise=corner_speed(OVAL, 18.0, 5.0),
        stop_at_m=218.6, stop_s=560.0 if alone else 60.0,
    )  # fmt: skip
    recording = driven.recording(4, doppler=alone, noise=0.5, seed=9)
    editing = Editing(track, prepare(track, [recording]))
    assert editing.step.prepared.timed[0].by_itself.wander_from_recording == alone
    rules = set()
    for edits in OVAL_STEPS:
        for edit in edits:
            # What came before, as during a drag, must not show in the end.
            if edit["do"] == "move":
                editing.apply({**edit, "to_m": edit["to_m"] - 7.0, "merge": "drag"})
                editing.state(edit["gate"])
            editing.apply(edit)
        now = editing.step.track
        assert_state_is(editing.state(), evaluate(now, prepare(now, [recording])))
        rules |= {finding["rule"] for finding in editing.state()["findings"]}
    assert rules >= {"bridge-nowhere", "gate-apex", "gate-missed", "recording-parked"}


def test_a_gate_is_given_the_findings_about_it(editing):
    editing.apply({"do": "width", "gate": "gate-a", "width_m": 3.0})
    shown = editing.state()

    mine = gates_of(shown)["gate-a"]["findings"]
    assert {shown["findings"][n]["rule"] for n in mine} >= {"gate-missed"}
    assert {shown["findings"][n]["feature"] for n in mine} == {"gate-a"}


def test_gates_of_another_layout_on_the_same_tarmac_are_compared_with(block, recording):
    other = replace(
        move_gate(block, "gate-a", Place(chainage_m=355.0)).track, id="other", layout="B"
    )
    shown = state(block, prepare(block, [recording], others=[other]))

    expected = [f.as_row() for f in check_against(block, other)]
    assert [f for f in shown["findings"] if f["rule"] == "gate-disagrees"] == expected
    assert len(expected) == 1


def test_sectors_run_from_gate_to_gate_and_add_up_to_a_lap(editing):
    rows = editing.state()["sectors"]

    assert [(row["from"], row["to"]) for row in rows] == [
        ("finish", "gate-a"), ("gate-a", "gate-b"), ("gate-b", "finish"),
    ]  # fmt: skip
    assert [row["length_m"] for row in rows] == pytest.approx(
        [347.0, 453.0, ROAD.length_m - 800.0], abs=0.1
    )


def test_an_edit_does_what_the_command_does_and_leaves_the_same_history(editing, block):
    for edit in EDITS:
        editing.apply(edit)
    by_hand = block
    for change in [
        lambda t: move_gate(t, "gate-a", Place(chainage_m=412.0)),
        lambda t: move_gate(t, "finish", Place(chainage_m=55.5)),
        lambda t: move_gate(
            t, "gate-b", Place(chainage_m=t.gate("gate-b").chainage_m), width_m=9.0
        ),
        lambda t: place_gate(t, "sector", Place(chainage_m=1000.0)),
        lambda t: place_gate(t, "speed", Place(chainage_m=600.0), name="Trap"),
        lambda t: remove_gate(t, "gate-a"),
    ]:  # fmt: skip
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


def test_undo_takes_an_edit_back_and_redo_makes_it_again(editing, block):
    editing.apply(move("gate-a", 400.0))
    changed = editing.state()
    editing.apply({"do": "undo"})
    back = editing.state()

    assert editing.step.track is block
    assert (back["can_undo"], back["can_redo"], back["unsaved"]) == (False, True, False)
    assert back["redo_what"] == "moved Gate-A"
    assert back["gates"][1]["chainage_m"] == pytest.approx(347.0, abs=0.1)
    editing.apply({"do": "redo"})
    again = editing.state()
    assert again["gates"] == changed["gates"]
    assert again["laps"] == changed["laps"]
    assert again["edit"] > back["edit"] > changed["edit"]


def test_a_new_edit_after_undo_forgets_what_was_undone(editing):
    editing.apply(move("gate-a", 400.0))
    editing.apply({"do": "undo"})
    editing.apply(move("gate-a", 300.0))

    assert not editing.state()["can_redo"]
    with pytest.raises(TrackkitError, match="nothing to redo"):
        editing.apply({"do": "redo"})


@pytest.mark.parametrize("gate", ["gate-a", "finish"])
def test_a_drag_is_one_step_and_ends_where_one_move_would(editing, block, gate):
    begin = block.gate(gate).chainage_m
    for metres in (3.0, 8.0, 15.0, 21.25):
        # The page counts from the datum it last saw.
        seen = editing.state(gate)["datum_m"]
        to_m = (begin + metres - seen) % block.curve.length_m
        editing.apply(move(gate, to_m, merge="drag-1", datum_m=seen, light=True))
    once = move_gate(block, gate, Place(chainage_m=begin + 21.25))

    assert same_ground(editing.step.track, once.track) < 1e-3
    assert [e["what"] for e in editing.step.track.history] == [once.what]
    editing.apply({"do": "undo"})
    assert editing.step.track is block


def test_another_drag_is_another_step_and_so_is_one_after_saving(editing, block):
    editing.apply(move("gate-a", 350.0, merge="drag-1"))
    editing.apply(move("gate-a", 360.0, merge="drag-2"))
    editing.mark_saved()
    editing.apply(move("gate-a", 370.0, merge="drag-2"))

    assert len(editing.step.track.history) == 3
    editing.apply({"do": "undo"})
    assert not editing.state()["unsaved"]
    editing.apply({"do": "undo"})
    assert editing.state()["unsaved"]


def test_chainages_sent_before_the_datum_moved_still_mean_the_same_place(editing, block):
    place = block.curve.position(500.0)
    editing.apply(move("finish", 40.0))
    editing.apply(move("gate-a", 500.0, datum_m=0.0))
    track = editing.step.track

    assert track.gate("gate-a").chainage_m == pytest.approx(460.0, abs=0.01)
    middle = track.gate_ends(track.gate("gate-a")).mean(axis=0)
    there = block.plane.to_plane(*track.plane.to_geographic(middle))
    assert there == pytest.approx(place, abs=0.001)


def test_the_datum_is_told_along_the_line_the_page_was_made_with(editing):
    editing.apply(move("finish", -30.0))
    shown = editing.state()

    assert shown["datum_m"] == pytest.approx(ROAD.length_m - 30.0, abs=0.05)
    assert gates_of(shown)["finish"]["chainage_m"] == 0.0
    assert gates_of(shown)["gate-a"]["chainage_m"] == pytest.approx(377.0, abs=0.1)
    editing.apply({"do": "undo"})
    assert datum_m(editing.step.track, editing.step.prepared) == 0.0


def test_while_the_finish_gate_is_dragged_only_its_findings_are_told(block, recording):
    narrow = replace(
        block, gates=tuple(
            move_gate(block, g.id, Place(chainage_m=g.chainage_m), width_m=3.0).track.gate(g.id)
            if g.kind == "sector" else g for g in block.gates
        )
    )  # fmt: skip
    editing = Editing(narrow, prepare(narrow, [recording]))
    assert len(gates_of(editing.state())["gate-b"]["findings"]) > 0

    editing.apply(move("finish", 10.0, merge="drag"))
    during = editing.state("finish")
    after = editing.state()

    assert during["light"]
    assert not after["light"]
    assert gates_of(during)["gate-b"]["findings"] == []
    assert len(gates_of(after)["gate-b"]["findings"]) > 0
    assert [lap["time_s"] for lap in during["laps"]] == pytest.approx(
        [lap["time_s"] for lap in after["laps"]], abs=1e-4
    )


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
        ({"do": "place", "kind": "sector", "at": [11.0, 95.0]}, "no longitude and latitude"),
        ({"do": "place", "kind": "sector", "at": [12.0, 47.0]}, "from the centreline"),
        ({"do": "width", "gate": "gate-a", "width_m": 0.1}, "not sensible"),
        ({"do": "remove", "gate": "finish"}, "cannot be without its finish gate"),
        ({"do": "rename", "gate": "gate-a", "name": "  "}, "1 to 100 characters"),
        ({"do": "rename", "gate": "gate-a", "name": "a\nb"}, "1 to 100 characters"),
    ],
)
def test_an_edit_that_cannot_be_made_changes_nothing(editing, block, request_, what):
    before = editing.edit
    with pytest.raises(TrackkitError, match=what):
        editing.apply(request_)

    assert editing.step.track is block
    assert editing.edit == before


def test_a_place_on_the_map_is_snapped_to_the_centreline(editing, block):
    beside = block.curve.position(600.0) + 4.0 * block.curve.left(600.0)
    longitude, latitude = block.plane.to_geographic(beside)
    editing.apply({"do": "place", "kind": "sector", "at": [float(longitude), float(latitude)]})
    shown = editing.state()

    new = next(g for g in shown["gates"] if g["id"] not in ("finish", "gate-a", "gate-b"))
    assert new["chainage_m"] == pytest.approx(600.0, abs=0.01)
    assert "snapped to the centreline" in shown["remarks"][0]


def test_a_gate_is_called_as_asked(editing):
    editing.apply({"do": "rename", "gate": "gate-a", "name": " Old Barn "})

    assert gates_of(editing.state())["gate-a"]["name"] == "Old Barn"
    assert editing.step.track.history[-1]["what"] == "renamed gate gate-a from Gate-A to Old Barn"


def test_a_track_without_a_finish_gate_is_shown_and_gets_one(block, recording):
    bare = block.with_gates([])
    editing = Editing(bare, prepare(bare, [recording]))
    shown = editing.state()

    assert (shown["laps"], shown["sectors"]) == ([], [])
    assert "gate-missing" in {f["rule"] for f in shown["findings"]}
    editing.apply({"do": "place", "kind": "finish", "at_m": 5.0})
    shown = editing.state()
    assert sum(lap["complete"] for lap in shown["laps"]) >= 3
    # Laps have traces on the page only if it is made anew, with another base.
    assert (shown["base"], shown["datum_m"]) == (1, 0.0)
    editing.apply({"do": "undo"})
    assert editing.state()["base"] == 0
    editing.apply({"do": "redo"})
    editing.apply(move("finish", 5.0))
    assert editing.state()["base"] == 1


def test_a_recording_of_another_place_is_said_to_be(block, recording):
    elsewhere = replace(
        recording, longitude_deg=recording.longitude_deg + 1.0, name="elsewhere.csv"
    )  # fmt: skip
    shown = state(block, prepare(block, [recording, elsewhere]))

    said = [f for f in shown["findings"] if f["rule"] == "recording-elsewhere"]
    assert len(said) == 1
    assert "elsewhere.csv" in said[0]["message"]
    assert {lap["recording"] for lap in shown["laps"] if lap["complete"]} == {0}


def test_without_recordings_speeds_are_assumed_as_check_does(block):
    prepared = prepare(block)
    shown = state(block, prepared)

    assert (shown["laps"], shown["best"]) == ([], [])
    assert not evaluate(block, prepared).quality.recorded
    assert all(gate["sigma_s"] > 0 for gate in shown["gates"])


def test_an_open_course_is_edited_like_a_lap(recording):
    road = replace(ROAD, closed=False)
    gates = [("start", "start", 50.0), ("gate-a", "sector", 347.0), ("finish", "finish", 1100.0)]
    course = track_of(road, gates=gates, spacing_m=2.0)
    editing = Editing(course, prepare(course, [recording]))
    editing.apply(move("finish", 1050.0))
    shown = editing.state()

    assert shown["datum_m"] == 0.0
    assert [(s["from"], s["to"]) for s in shown["sectors"]] == [
        ("start", "gate-a"), ("gate-a", "finish"),
    ]  # fmt: skip
    assert gates_of(shown)["finish"]["chainage_m"] == pytest.approx(1050.0)


def test_a_state_is_plain_json(editing):
    assert json.loads(json.dumps(editing.state(), allow_nan=False))["gates"]


def test_a_name_that_is_none_is_refused_by_the_library_too(block):
    from trackkit.gates.edit import rename_gate

    with pytest.raises(PlaceError, match="1 to 100 characters"):
        rename_gate(block, "gate-a", "")
