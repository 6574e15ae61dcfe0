"""What is to be done about a gate: with the place and the width that it takes."""

from dataclasses import replace

import numpy as np
import pytest
from drives import HOME, block_circuit, hairpin_circuit, hill_course, track_of

import trackkit.gates.remedies
from trackkit.gates.remedies import (
    make_narrower,
    make_wider,
    put_at_ends,
    put_elsewhere,
    put_square,
    put_where_it_is,
    remove_either,
)
from trackkit.track.features import Gate


def block(*gates):
    return track_of(block_circuit(), gates=[("finish", "finish", 0.0), *gates], spacing_m=2.0)


def hairpin(*gates):
    """Its first leg has another one 8 m to the left, driven the other way."""
    return track_of(hairpin_circuit(), gates=[("finish", "finish", 700.0), *gates], spacing_m=2.0)


def test_a_gate_with_room_is_put_square_as_wide_as_it_is():
    track = block(("a", "sector", 347.0))

    remedy = put_square(track, track.gate("a"), 347.04, "turn it")

    assert (remedy.what, remedy.do, remedy.feature) == ("turn it", "gate move", "a")
    assert (remedy.chainage_m, remedy.value) == (347.0, None)


def test_a_gate_wider_than_its_room_is_put_square_as_wide_as_there_is_room():
    track = hairpin(("a", "sector", 140.0, 8.0))

    remedy = put_square(track, track.gate("a"), 140.0, "turn it")

    # Of 8 m to the other leg a receiver's accuracy of 3 m is kept: 5 m to either side.
    assert remedy.value["width_m"] == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize(("wider_m", "narrowed"), [(0.45, False), (0.55, True)])
def test_a_quarter_of_a_metre_on_either_side_is_no_reason_to_make_a_gate_narrower(
    wider_m, narrowed, monkeypatch
):
    monkeypatch.setattr(trackkit.gates.remedies, "widest_clear_m", lambda *_: 16.0 - wider_m)
    track = block(("a", "sector", 347.0))
    gate = track.gate("a")
    assert gate.width_m == pytest.approx(16.0, abs=0.01)

    assert (put_square(track, gate, 347.0, "turn it").value is not None) == narrowed


def test_ends_are_given_to_a_hundred_millionth_of_a_degree():
    gate = block(("a", "sector", 347.0)).gate("a")

    remedy = put_at_ends(gate, (HOME[0] + 1.234567e-4, HOME[1]), HOME, "take these")

    assert remedy.value == {"left": [HOME[0] + 1.2346e-4, HOME[1]], "right": list(HOME)}


@pytest.mark.parametrize("backwards", [False, True])
def test_surveyed_ends_are_kept_each_on_its_side(backwards):
    track = block(("a", "sector", 347.0))
    gate = replace(track.gate("a"), surveyed=True)
    placed = replace(gate, left=gate.right, right=gate.left) if backwards else gate

    remedy = put_where_it_is(track, placed, 347.0, "write it anew")

    assert remedy.chainage_m is None
    assert remedy.value["left"] == pytest.approx(list(gate.left), abs=1e-8)
    assert remedy.value["right"] == pytest.approx(list(gate.right), abs=1e-8)


def test_of_two_gates_too_close_the_later_goes_unless_laps_need_it():
    (finish, a, b) = block(("a", "sector", 347.0), ("b", "sector", 355.0)).gates

    assert remove_either(a, b).feature == "b"
    assert remove_either(a, finish).feature == "a"
    assert remove_either(finish, replace(finish, kind="start")).do is None


def test_a_narrow_gate_is_made_as_wide_as_there_is_room():
    track = block(("a", "sector", 347.0, 3.0))

    remedy = make_wider(track, track.gate("a"), 347.0)

    # Half the assumed band of 12 m, and 4 m beyond it, on either side.
    assert remedy.value == {"width_m": 20.0}
    assert "make it 20.0 m wide" in remedy.what


@pytest.mark.parametrize(("half_m", "moves"), [(3.0, False), (4.5, False), (4.9, True)])
def test_a_gate_with_hardly_more_room_than_it_has_is_moved_instead(half_m, moves):
    track = hairpin(("a", "sector", 140.0, half_m))

    remedy = make_wider(track, track.gate("a"), 140.0)

    assert ("where the track has more room" in remedy.what) == moves
    if not moves:
        assert remedy.value["width_m"] == pytest.approx(10.0, abs=0.1)


def test_a_width_that_is_no_help_has_the_gate_moved():
    track = hairpin(("a", "sector", 140.0, 3.0))

    assert make_wider(track, track.gate("a"), 140.0, least_m=9.0).value is not None
    assert "more room" in make_wider(track, track.gate("a"), 140.0, least_m=11.0).what


@pytest.mark.parametrize("most_m", [6.5, 9.3, 14.0])
def test_a_gate_is_made_as_narrow_as_it_takes_and_no_narrower(most_m):
    track = block(("a", "sector", 347.0))
    gate = track.gate("a")

    def good(other: Gate) -> bool:
        left, right = track.gate_ends(other)
        return float(np.linalg.norm(left - right)) <= most_m

    width = make_narrower(track, gate, 347.0, good).value["width_m"]

    assert most_m - 0.7 < width <= most_m
    assert width == pytest.approx(round(width, 1))


@pytest.mark.parametrize(("half_m", "moves"), [(5.1, True), (5.6, False)])
def test_a_gate_that_could_be_hardly_narrower_is_moved_instead(half_m, moves):
    # Of 8 m to the other leg 5 m to either side are clear: a width of 10 m.
    track = hairpin(("a", "sector", 140.0, half_m))

    remedy = make_narrower(track, track.gate("a"), 140.0)

    assert remedy.what.startswith("move it") == moves
    if not moves:
        assert remedy.value["width_m"] == pytest.approx(10.0, abs=0.1)


def test_a_gate_that_no_width_mends_is_moved_to_where_there_is_room():
    track = hairpin(("a", "sector", 140.0))

    remedy = make_narrower(track, track.gate("a"), 140.0, lambda _: False)

    assert remedy.what.startswith("move it where the track has more room, such as ")
    # Not beside the other leg, nor where laps begin, which is at 700 m of the road.
    assert track.curve.separation(remedy.chainage_m, 0.0) > 25.0


def test_a_gate_across_the_pit_lane_is_for_people_to_judge():
    gate = replace(block().finish, kind="pit-entry")

    assert make_narrower(block(), gate, 0.0).do is None


def test_the_nearest_fit_place_is_taken_and_where_there_is_none_it_is_only_told():
    track = block(("a", "sector", 347.0))
    place = track.curve.chainages(2.0)
    fit = (place > 500.0) & (place < 700.0)

    remedy = put_elsewhere(track, track.gate("a"), 347.0, place, fit, "out of the way")
    nowhere = put_elsewhere(track, track.gate("a"), 347.0, place, fit & False, "out of the way")

    assert remedy.chainage_m == pytest.approx(501.0, abs=6.0)
    assert (nowhere.what, nowhere.do) == ("move it out of the way", None)


def test_places_beside_where_a_lap_begins_are_the_finish_gates_alone():
    track = block(("a", "sector", 30.0))
    place = track.curve.chainages(2.0)
    near = track.curve.separation(place, 0.0) < 20.0

    assert put_elsewhere(track, track.gate("a"), 30.0, place, near, "near").do is None
    assert put_elsewhere(track, track.finish, 30.0, place, near, "near").do == "gate move"


def test_on_an_open_course_gates_keep_clear_of_its_ends():
    ends = [("start", "start", 20.0), ("finish", "finish", 1230.0)]
    track = track_of(hill_course(), gates=[*ends, ("a", "sector", 600.0)], spacing_m=2.0)
    place = track.curve.chainages(2.0)

    first = put_elsewhere(track, track.gate("a"), 0.0, place, place >= 0.0, "early")
    last = put_elsewhere(track, track.gate("a"), 1257.0, place, place >= 0.0, "late")

    # Where its end gates go by default, and 25 m from there.
    assert 25.0 < first.chainage_m < 80.0
    assert track.curve.length_m - 80.0 < last.chainage_m < track.curve.length_m - 25.0


def test_where_a_gate_has_no_room_a_straight_with_room_is_named_and_no_bend():
    track = hairpin(("a", "sector", 140.0))

    remedy = make_narrower(track, track.gate("a"), 140.0, lambda _: False)

    # The road from the finish gate, which is at 700 m of it.
    place = (remedy.chainage_m + 700.0) % hairpin_circuit().length_m
    assert hairpin_circuit().radius(place) == np.inf


def test_a_gate_in_a_bend_that_no_width_mends_is_moved_onto_a_straight():
    # Its first bend goes from 200 m to 247 m, and nothing else is near.
    track = block(("a", "sector", 223.0))

    remedy = make_narrower(track, track.gate("a"), 223.0, lambda _: False)

    assert block_circuit().radius(remedy.chainage_m) == np.inf
    assert track.curve.separation(remedy.chainage_m, 223.0) < 45.0
