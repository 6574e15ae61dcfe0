"""What a page offers to do about findings."""

from dataclasses import replace

import pytest
from edited_block import move

from trackkit.checks.evaluate import prepare
from trackkit.editor.offers import offer
from trackkit.editor.session import Editing


def offered(editing):
    return [(f["rule"], f["offer"]) for f in editing.state()["findings"]]


@pytest.mark.slow
def test_what_a_finding_offers_does_away_with_it_and_can_be_undone(editing, plain_block):
    """Askew, too narrow and at an apex: each is moved to where, or made as wide as, is offered."""
    for first in (
        {"do": "width", "gate": "gate-a", "width_m": 4.0},
        move("gate-a", 223.0),
        {"do": "place", "kind": "sector", "at_m": 360.0},
    ):
        editing.apply(first)
        before = offered(editing)
        rule, button = next(one for one in before if one[1] is not None)
        there = editing.step.track
        editing.apply(button["edit"])
        assert rule not in [other for other, _ in offered(editing)]
        editing.apply({"do": "undo"})
        assert editing.step.track is there
        assert offered(editing) == before
        editing.apply({"do": "undo"})
        assert editing.step.track is plain_block


def test_a_missing_finish_gate_is_offered_where_the_line_begins(plain_block, block_recording):
    bare = replace(plain_block, gates=plain_block.gates_of_kind("sector"))
    editing = Editing(bare, prepare(bare, [block_recording]))
    (button,) = [button for rule, button in offered(editing) if rule == "gate-missing"]

    assert button["label"] == "place a finish gate at 0.0 m"
    editing.apply(button["edit"])
    assert editing.step.track.finish.chainage_m == 0.0


def test_surveyed_ends_that_are_the_wrong_way_round_are_offered_turned(plain_block):
    gates = [
        replace(g, left=g.right, right=g.left, surveyed=True) if g.id == "gate-a" else g
        for g in plain_block.gates
    ]
    turned = replace(plain_block, gates=tuple(gates))
    editing = Editing(turned, prepare(turned))
    (button,) = [button for rule, button in offered(editing) if rule == "gate-backwards"]

    assert button["label"] == "give it these ends"
    editing.apply(button["edit"])
    assert offered(editing) == []
    gate = editing.step.track.gate("gate-a")
    assert gate.surveyed
    assert gate.left == pytest.approx(plain_block.gate("gate-a").left, abs=1e-8)


@pytest.mark.parametrize(
    "action",
    [
        None,
        {"do": "gate move", "feature": "g", "chainage_m": None, "value": None},
        {"do": "set", "feature": None, "chainage_m": None, "value": {"length_m": 5.0}},
        {"do": "accept", "feature": "g", "chainage_m": None, "value": {"rule": "kink"}},
    ],
)
def test_what_takes_a_person_is_not_offered(action):
    assert offer(action) is None
