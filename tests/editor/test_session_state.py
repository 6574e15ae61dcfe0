"""What a page shows after each edit: what the commands would say of the same track."""

import json
from dataclasses import replace

import pytest
from drives import corner_speed, drive, stadium, track_of
from edited_block import ROAD, gates_of, move

from trackkit.checks.evaluate import evaluate, prepare
from trackkit.checks.other_layouts import check_against
from trackkit.editor.session import Editing
from trackkit.gates.edit import move_gate
from trackkit.pages.state import datum_m, state
from trackkit.track.features import Crossover
from trackkit.track.places import Place

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
            lap.number,
            lap.kind,
            lap.complete,
            list(lap.missed),
        )
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
    findings = [{k: v for k, v in row.items() if k != "offer"} for row in shown["findings"]]
    assert findings == [finding.as_row() for finding in evaluation.findings]


@pytest.mark.slow
@pytest.mark.parametrize("wander_from", ["recording", "laps"])
def test_after_each_edit_a_page_shows_what_an_evaluation_from_nothing_finds(wander_from):
    """Also where laps tell the receiver's wander, and an edit makes laps count or not."""
    track = replace(
        track_of(OVAL, gates=OVAL_GATES, spacing_m=2.0), crossovers=(Crossover(120.0, 330.0),)
    )
    alone = wander_from == "recording"
    # It stands just behind gate-a, which is 220 m on from where it begins.
    driven = drive(
        OVAL,
        begin_m=330.0,
        laps=2.3 if alone else 7.3,
        cruise=corner_speed(OVAL, 18.0, 5.0),
        stop_at_m=218.6,
        stop_s=560.0 if alone else 60.0,
    )
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


def test_gates_of_another_layout_on_the_same_tarmac_are_compared_with(plain_block, block_recording):
    other = replace(
        move_gate(plain_block, "gate-a", Place(chainage_m=355.0)).track, id="other", layout="B"
    )
    shown = state(plain_block, prepare(plain_block, [block_recording], others=[other]))

    expected = [f.as_row() for f in check_against(plain_block, other)]
    assert [f for f in shown["findings"] if f["rule"] == "gate-disagrees"] == expected
    assert len(expected) == 1


def test_sectors_run_from_gate_to_gate_and_add_up_to_a_lap(editing):
    rows = editing.state()["sectors"]

    assert [(row["from"], row["to"]) for row in rows] == [
        ("finish", "gate-a"),
        ("gate-a", "gate-b"),
        ("gate-b", "finish"),
    ]
    assert [row["length_m"] for row in rows] == pytest.approx(
        [347.0, 453.0, ROAD.length_m - 800.0], abs=0.1
    )


def test_the_datum_is_told_along_the_line_the_page_was_made_with(editing):
    editing.apply(move("finish", -30.0))
    shown = editing.state()

    assert shown["datum_m"] == pytest.approx(ROAD.length_m - 30.0, abs=0.05)
    assert gates_of(shown)["finish"]["chainage_m"] == 0.0
    assert gates_of(shown)["gate-a"]["chainage_m"] == pytest.approx(377.0, abs=0.1)
    editing.apply({"do": "undo"})
    assert datum_m(editing.step.track, editing.step.prepared) == 0.0


@pytest.mark.slow
def test_while_the_finish_gate_is_dragged_only_its_findings_are_told(plain_block, block_recording):
    narrow = replace(
        plain_block,
        gates=tuple(
            move_gate(plain_block, g.id, Place(chainage_m=g.chainage_m), width_m=3.0).track.gate(
                g.id
            )
            if g.kind == "sector"
            else g
            for g in plain_block.gates
        ),
    )
    editing = Editing(narrow, prepare(narrow, [block_recording]))
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


@pytest.mark.slow
def test_a_track_without_a_finish_gate_is_shown_and_gets_one(plain_block, block_recording):
    bare = plain_block.with_gates([])
    editing = Editing(bare, prepare(bare, [block_recording]))
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


def test_a_recording_of_another_place_is_said_to_be(plain_block, block_recording):
    elsewhere = replace(
        block_recording, longitude_deg=block_recording.longitude_deg + 1.0, name="elsewhere.csv"
    )
    shown = state(plain_block, prepare(plain_block, [block_recording, elsewhere]))

    said = [f for f in shown["findings"] if f["rule"] == "recording-elsewhere"]
    assert len(said) == 1
    assert "elsewhere.csv" in said[0]["message"]
    assert {lap["recording"] for lap in shown["laps"] if lap["complete"]} == {0}


def test_without_recordings_speeds_are_assumed_as_check_does(plain_block):
    prepared = prepare(plain_block)
    shown = state(plain_block, prepared)

    assert (shown["laps"], shown["best"]) == ([], [])
    assert not evaluate(plain_block, prepared).quality.recorded
    assert all(gate["sigma_s"] > 0 for gate in shown["gates"])


def test_a_state_is_plain_json(editing):
    assert json.loads(json.dumps(editing.state(), allow_nan=False))["gates"]
