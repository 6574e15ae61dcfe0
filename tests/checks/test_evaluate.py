"""One evaluation, made again as gates move: what has not changed is not worked out again."""

from dataclasses import replace

import driven_block
import pytest
from damaged_tracks import turned_ends, with_gate
from drives import block_circuit, drive, gate_ends, stadium

import trackkit.checks.evaluate
from trackkit.checks.evaluate import evaluate, prepare
from trackkit.gates.placement import with_gate_moved
from trackkit.track.places import Place


def rules(evaluation):
    return [(finding.rule, finding.feature) for finding in evaluation.findings]


@pytest.fixture
def judged(monkeypatch):
    """Names of the gates that were judged."""
    names = []
    plain = trackkit.checks.evaluate._judged

    def counted(track, prepared, gate, *more, **named):
        names.append(gate.id)
        return plain(track, prepared, gate, *more, **named)

    monkeypatch.setattr(trackkit.checks.evaluate, "_judged", counted)
    return names


def test_only_the_gate_that_moved_is_judged_again(clean, judged):
    prepared = prepare(clean)
    first = evaluate(clean, prepared)
    assert (first.findings, judged) == ((), [gate.id for gate in clean.gates])
    judged.clear()

    turned = evaluate(with_gate(clean, "gate-a", **turned_ends(347.0, 30.0)), prepared)

    assert judged == ["gate-a"]
    assert rules(turned) == [("gate-not-square", "gate-a")]
    assert turned.whole
    assert rules(evaluate(clean, prepared)) == []


def test_what_is_found_again_is_what_a_check_of_its_own_finds(clean):
    bad = with_gate(clean, "gate-b", **turned_ends(800.0, 30.0))
    prepared = prepare(clean)
    evaluate(clean, prepared)

    assert evaluate(bad, prepared).findings == evaluate(bad, prepare(bad)).findings


def test_while_the_finish_is_dragged_only_it_is_judged_and_the_rest_waits(clean, judged):
    bad = with_gate(clean, "gate-a", **turned_ends(347.0, 30.0))
    prepared = prepare(bad)
    before = evaluate(bad, prepared)
    moved, _, _ = with_gate_moved(bad, "finish", Place(chainage_m=100.0))
    judged.clear()

    dragged = evaluate(moved, prepared, moving="finish")

    assert judged == ["finish"]
    assert (dragged.whole, rules(dragged)) == (False, [])
    # What places are worth is carried over to the line that begins elsewhere.
    for chainage in (0.0, 123.0, 700.0):
        there = float(dragged.quality.at(dragged.quality.speed_mps, chainage))
        was = float(before.quality.at(before.quality.speed_mps, chainage + 100.0))
        assert there == pytest.approx(was, rel=0.01)
    after = evaluate(moved, prepared)
    assert (after.whole, rules(after)) == (True, [("gate-not-square", "gate-a")])


def test_a_gate_dragged_along_the_same_line_is_judged_with_all_others(clean):
    bad = with_gate(clean, "gate-b", **turned_ends(800.0, 30.0))
    prepared = prepare(bad)
    evaluate(bad, prepared)
    moved, _, _ = with_gate_moved(bad, "gate-a", Place(chainage_m=350.0))

    dragged = evaluate(moved, prepared, moving="gate-a")

    assert (dragged.whole, rules(dragged)) == (False, [("gate-not-square", "gate-b")])


def test_recordings_of_another_place_are_named_and_do_not_count(clean):
    elsewhere = drive(stadium(), laps=1.2).recording(5, doppler=True, name="elsewhere")

    evaluation = evaluate(clean, prepare(clean, [elsewhere]))

    assert rules(evaluation) == [("recording-elsewhere", None)]
    assert not evaluation.quality.recorded
    assert len(evaluation.reports) == 1


def test_speeds_are_those_recorded_where_the_recording_is_of_the_track():
    track, recording = driven_block.block(), driven_block.recording()

    prepared = prepare(track, [recording], ["mine.csv"])

    assert (prepared.files, prepared.astray) == (("mine.csv",), {})
    assert prepared.recordings == (recording,)
    assert evaluate(track, prepared).quality.recorded
    assert prepare(track, [recording]).files == (recording.name,)


def test_without_the_gates_of_a_lap_there_are_no_reports(clean):
    without = replace(clean, gates=tuple(g for g in clean.gates if g.kind != "finish"))

    evaluation = evaluate(without, prepare(without, [driven_block.recording()]))

    assert evaluation.reports == ()
    assert rules(evaluation) == [("gate-missing", None)]


def test_other_layouts_are_compared_gate_by_gate(clean):
    other = with_gate(clean, "gate-a", chainage_m=352.0)
    left, right = gate_ends(block_circuit(), 352.0)
    other = replace(with_gate(other, "gate-a", left=left, right=right), layout="Short")

    evaluation = evaluate(clean, prepare(clean, others=[other]))

    assert rules(evaluation) == [("gate-disagrees", "gate-a")]
