"""Gates brought onto another line of their track, on roads whose places are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, hairpin_circuit, hill_course, on_earth, track_of

from trackkit.building.onto_line import datum_onto, gates_beside, with_gates_onto
from trackkit.geometry.curve import Curve
from trackkit.track.features import Gate

GATES = [("finish", "finish", 0.0), ("a", "sector", 347.0), ("b", "sector", 800.0)]


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


def turned(track, vertices):
    """The same line, begun so many vertices later."""
    line = track.centreline
    rolled = {
        name: np.append(np.roll(getattr(line, name)[:-1], -vertices), getattr(line, name)[vertices])
        for name in ("longitude_deg", "latitude_deg")
    }
    return replace(track, centreline=replace(line, **rolled))


def test_on_a_line_that_begins_elsewhere_gates_have_the_chainages_that_they_have_there(block):
    begun_m = 100 * block.length_m / (len(block.centreline.longitude_deg) - 1)

    gates = {g.id: g for g in with_gates_onto(turned(block, 100), block).gates}

    for before in block.gates:
        expected = (before.chainage_m - begun_m) % block.length_m
        assert gates[before.id].chainage_m == pytest.approx(expected, abs=0.05)
        assert (gates[before.id].left, gates[before.id].right) == (before.left, before.right)


def test_on_the_same_line_the_finish_is_where_laps_begin_to_the_last_digit(block):
    moved = replace(
        block, gates=tuple(replace(g, chainage_m=g.chainage_m + 3.0) for g in block.gates)
    )

    gates = with_gates_onto(moved, block).gates

    assert [g.chainage_m for g in gates] == pytest.approx([0.0, 347.0, 800.0], abs=0.01)
    assert gates[0].chainage_m == 0.0


def long_gate(road, chainage_m, left_m, right_m, kind="sector"):
    middle, ahead = road.at(chainage_m)
    aside = np.array([-ahead[1], ahead[0]])
    ends = on_earth(np.array([middle + left_m * aside, middle - right_m * aside]))
    (left, right) = zip(*(axis.tolist() for axis in ends), strict=True)
    return Gate("long", kind, "Long", left, right, chainage_m=chainage_m)


@pytest.mark.parametrize("chainage_m", [140.0, 274.0])
def test_a_gate_across_two_legs_stays_on_its_own(chainage_m):
    # The legs of the hairpin run 8 m apart: at 140 m, and on the way back at 274 m or so.
    road = hairpin_circuit()
    track = track_of(road, gates=[("finish", "finish", 700.0)], spacing_m=2.0)
    gate = long_gate(road, chainage_m, 12.0, 12.0)
    track = track.with_gates([*track.gates, gate])

    (onto,) = (g for g in with_gates_onto(track, track).gates if g.id == "long")

    assert onto.chainage_m == pytest.approx(chainage_m, abs=0.05)


def test_laps_begin_where_a_line_crosses_the_finish_gate(block):
    line = turned(block, 100).curve

    assert line.position(datum_onto(block, line)) == pytest.approx(
        block.curve.position(0.0), abs=0.01
    )


def test_of_two_crossings_of_the_finish_gate_laps_begin_at_the_nearer_to_its_middle():
    road = hairpin_circuit()
    track = track_of(road, gates=[], spacing_m=2.0)
    for left_m, right_m, expected_m in ((13.0, 9.0, 140.0), (17.0, 3.0, 276.0)):
        gate = long_gate(road, 140.0, left_m, right_m, kind="finish")
        track = track.with_gates([replace(gate, chainage_m=0.0)])

        # Both legs are crossed where the gate lies across the first; on the second to a metre.
        assert datum_onto(track, track.curve) == pytest.approx(expected_m, abs=4.0)


def test_where_the_finish_gate_is_not_crossed_laps_begin_beside_it(block):
    angle = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    inside = Curve.through(40.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)

    # South of its middle.
    assert inside.position(datum_onto(block, inside)) == pytest.approx([0.0, -40.0], abs=0.05)


def test_a_course_and_a_lap_without_a_finish_gate_begin_where_their_lines_do(block):
    ends = [("start", "start", 20.0), ("finish", "finish", 1200.0)]
    course = track_of(hill_course(), gates=ends, spacing_m=2.0)

    assert datum_onto(course, course.curve) == 0.0
    assert datum_onto(block.with_gates(block.gates[1:]), turned(block, 100).curve) == 0.0


def test_on_a_course_the_finish_is_looked_for_where_it_was():
    ends = [("start", "start", 0.005), ("finish", "finish", 1200.0)]
    course = track_of(hill_course(), gates=ends, spacing_m=2.0)

    gates = with_gates_onto(course, course).gates

    assert [g.chainage_m for g in gates] == pytest.approx([0.005, 1200.0], abs=0.01)


def test_gates_that_a_line_does_not_cross_are_told_but_for_those_of_the_pits(block):
    aside = long_gate(block_circuit(), 500.0, 30.0, -10.0)
    pits = replace(aside, id="pits", kind="pit-entry")
    track = block.with_gates([*block.gates, aside, pits])

    assert [gate.id for gate in gates_beside(track)] == ["long"]
