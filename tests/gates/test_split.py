"""Suggested gates put on the track."""

import pytest
from drives import block_circuit, track_of

from trackkit.gates.split import ExpectedSector, Split, apply_suggestions, suggest_gates


@pytest.fixture(scope="module")
def track():
    gates = [("finish", "finish", 0.0), ("old", "sector", 150.0)]
    return track_of(block_circuit(), gates=gates, spacing_m=2.0)


@pytest.fixture(scope="module")
def split(track):
    return suggest_gates(track, 3, "length")


def test_one_gate_fewer_than_sectors_is_suggested_near_even_places(track, split):
    assert split.by == "length"
    places = [suggestion.chainage_m for suggestion in split.suggestions]
    third = track.curve.length_m / 3
    assert places == pytest.approx([third, 2 * third], abs=0.5 * third)
    assert "speeds assumed from curvature" in split.timing_basis


def test_suggested_gates_take_the_place_of_those_there_are_and_the_history_says_so(track, split):
    changed, _ = apply_suggestions(track, split)

    placed = [gate.chainage_m for gate in changed.gates_of_kind("sector")]
    assert placed == pytest.approx([s.chainage_m for s in split.suggestions], abs=0.1)
    assert changed.finish == track.finish
    what = changed.history[-1]["what"]
    assert what == "placed 2 suggested sector gates, split by length"


def test_a_gate_that_is_where_one_is_suggested_stays_as_it_is(track, split):
    changed, _ = apply_suggestions(track, split)
    again, remarks = apply_suggestions(changed, split)

    assert again.gates == changed.gates
    assert remarks == ()


def test_a_split_as_json_has_a_row_for_each_gate(split):
    row = split.as_row()

    assert (row["by"], len(row["suggestions"])) == ("length", 2)
    assert row["suggestions"][0] == split.suggestions[0].as_row()
    assert repr(Split("time", split.suggestions[:1], "x")) == "Split(by time, 1 suggestion)"


def test_a_sector_as_json_is_told_to_centimetres_milliseconds_and_microseconds():
    row = ExpectedSector(2, 12.3456, 1234.5678, 45.67891, 0.012345678).as_row()

    assert row == {
        "number": 2,
        "begin_m": 12.35,
        "end_m": 1234.57,
        "time_s": 45.679,
        "sigma_s": 0.012346,
    }
