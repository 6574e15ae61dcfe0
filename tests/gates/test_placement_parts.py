"""Gates across the pit lane, ids and names of new gates, and where none may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, hill_course, on_earth, track_of

from trackkit.errors import PlaceError
from trackkit.gates.meant import pit_lane_curves
from trackkit.gates.placement import (
    _how_it_lies,
    _require_between,
    _require_width,
    pit_gate_half_m,
    with_gate,
    with_gate_moved,
)
from trackkit.gates.square import NARROWEST_M, WIDEST_M
from trackkit.motion.noise import RECEIVER_ACCURACY_M
from trackkit.track.features import Gate, PitLane
from trackkit.track.places import FARTHEST_SNAP_M, Place


def beside_road(aside_m, begin_m=300.0, end_m=400.0):
    """Plane positions beside the road, to the left of it."""
    position, ahead = block_circuit().at(np.arange(begin_m, end_m + 1.0, 5.0))
    return position + aside_m * np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)


def with_lane(track, aside_m):
    return replace(track, pit_lanes=(PitLane("lane", *on_earth(beside_road(aside_m))),))


def ends_of(track, gate):
    return track.gate_ends(gate)


@pytest.mark.parametrize("aside_m", [20.0, -20.0])
@pytest.mark.parametrize(("width_m", "expected_m"), [(None, 10.0), (8.0, 8.0)])
def test_a_pit_gate_lies_square_across_the_lane_beside_its_place(
    bare, aside_m, width_m, expected_m
):
    track = with_lane(bare, aside_m)

    changed, gate, remarks = with_gate(track, "pit-entry", Place(chainage_m=347.0), width_m=width_m)

    left, right = ends_of(changed, gate)
    middle, ahead = beside_road(aside_m, 347.0, 347.0)[0], block_circuit().at(347.0)[1]
    assert 0.5 * (left + right) == pytest.approx(middle, abs=0.3)
    assert np.linalg.norm(left - right) == pytest.approx(expected_m, abs=0.01)
    # Its left end is on the left of whoever drives there.
    aside = np.array([-ahead[1], ahead[0]])
    assert (left - right) @ aside == pytest.approx(expected_m, abs=0.05)
    assert gate.surveyed is False
    assert gate.chainage_m == pytest.approx(347.0, abs=0.5)
    assert any("snapped to the pit lane, 47." in r or "46." in r for r in remarks)
    assert any("20.0 m from the place given" in remark for remark in remarks)


def test_a_place_given_by_position_is_snapped_from_there(bare):
    track = with_lane(bare, 20.0)
    longitude, latitude = on_earth(beside_road(17.0, 360.0, 360.0)[0])

    _, gate, remarks = with_gate(
        track, "pit-exit", Place(position=(float(longitude), float(latitude)))
    )

    assert any("3.0 m from the place given" in remark for remark in remarks)
    assert gate.chainage_m == pytest.approx(360.0, abs=0.5)


@pytest.mark.parametrize(
    ("aside_m", "half_m"), [(20.0, 5.0), (6.5, 6.5 - RECEIVER_ACCURACY_M), (3.0, 1.5)]
)
def test_a_pit_gate_stays_a_receivers_accuracy_from_the_line_but_has_three_metres(
    bare, aside_m, half_m
):
    track = with_lane(bare, aside_m)
    (lane,) = pit_lane_curves(track)

    assert pit_gate_half_m(track, lane, 50.0) == pytest.approx(np.clip(half_m, 1.5, 5.0), abs=0.02)


@pytest.mark.parametrize(
    ("width_m", "refused"),
    [(NARROWEST_M - 0.1, True), (NARROWEST_M, False), (WIDEST_M, False), (WIDEST_M + 1, True)],
)
def test_a_pit_gate_of_no_sensible_width_is_refused_with_the_width(bare, width_m, refused):
    track = with_lane(bare, 20.0)
    place = Place(chainage_m=347.0, anyway=True)

    if refused:
        with pytest.raises(PlaceError, match=f"a gate {width_m:g} m wide is not sensible"):
            with_gate(track, "pit-entry", place, width_m=width_m)
    else:
        changed, gate, _ = with_gate(track, "pit-entry", place, width_m=width_m)
        assert np.linalg.norm(np.diff(ends_of(changed, gate), axis=0)) == pytest.approx(
            width_m, rel=1e-3
        )


@pytest.mark.parametrize("beyond_m", [-1.0, 1.0])
def test_a_place_too_far_from_the_lane_is_refused(bare, beyond_m):
    track = with_lane(bare, FARTHEST_SNAP_M + beyond_m)

    if beyond_m > 0:
        with pytest.raises(PlaceError, match=r"the pit lane passes \d+ m from the place"):
            with_gate(track, "pit-entry", Place(chainage_m=347.0))
    else:
        with_gate(track, "pit-entry", Place(chainage_m=347.0))


def test_without_a_lane_a_pit_gate_would_lie_across_the_track_and_is_placed_only_anyway(bare):
    with pytest.raises(PlaceError, match="would lie across the racing line"):
        with_gate(bare, "pit-entry", Place(chainage_m=347.0))
    _, gate, remarks = with_gate(bare, "pit-entry", Place(chainage_m=347.0, anyway=True))

    assert gate.chainage_m == pytest.approx(347.0, abs=0.01)
    assert not any("pit lane" in remark for remark in remarks)


def test_gates_of_the_track_lie_across_it_for_all_its_pit_lane(bare):
    _, gate, remarks = with_gate(with_lane(bare, 60.0), "sector", Place(chainage_m=347.0))

    assert gate.chainage_m == pytest.approx(347.0, abs=0.01)
    assert gate.surveyed is False
    assert not any("pit lane" in remark for remark in remarks)


def test_surveyed_ends_of_a_pit_gate_are_kept_as_whoever_drives_there_sees_them(bare):
    track = with_lane(bare, 20.0)
    ends = on_earth(np.array([beside_road(26.0, 347, 347)[0], beside_road(14.0, 347, 347)[0]]))
    left, right = zip(*(axis.tolist() for axis in ends), strict=True)

    _, gate, remarks = with_gate(track, "pit-entry", Place(ends=(left, right)))
    _, turned, told = with_gate(track, "pit-entry", Place(ends=(right, left)))

    assert (gate.left, gate.right, gate.surveyed) == (left, right, True)
    assert (turned.left, turned.right) == (left, right)
    assert not any("swapped" in remark for remark in remarks)
    assert any("swapped" in remark for remark in told)
    assert turned.chainage_m == pytest.approx(347.0, abs=0.5)
    # Square to the line it need not be, since it is not across it.
    assert not any("off square" in remark for remark in remarks)


def test_the_first_of_a_kind_there_is_one_of_is_called_by_it_and_others_by_their_place(bare):
    changed, sector, _ = with_gate(bare, "sector", Place(chainage_m=347.0))
    changed, speed, _ = with_gate(changed, "speed", Place(chainage_m=200.0))
    again, second, _ = with_gate(changed, "speed", Place(chainage_m=500.0))
    course = track_of(hill_course(), gates=[], spacing_m=5.0)
    course, finish, _ = with_gate(course, "finish", Place(chainage_m=400.0))

    assert finish.id == "finish"
    assert len({"finish", "sector", "speed", sector.id, speed.id, second.id}) == 6
    assert (speed.name, second.name) == ("Speed", "Speed 2")
    assert with_gate(again, "speed", Place(chainage_m=600.0))[1].name == "Speed 3"


def test_an_id_that_is_taken_is_not_given_again():
    course = track_of(hill_course(), gates=[("start", "sector", 200.0)], spacing_m=5.0)
    taken = replace(course, gates=tuple(replace(g, id="start") for g in course.gates))

    changed, gate, _ = with_gate(taken, "start", Place(chainage_m=30.0))

    assert gate.id != "start"
    assert sorted(g.kind for g in changed.gates) == ["sector", "start"]


def test_a_gate_that_cannot_be_meant_is_placed_only_if_it_is_wanted_all_the_same(bare):
    # Both ends on one side of the track.
    ends = on_earth(np.array([beside_road(40.0, 347, 347)[0], beside_road(30.0, 347, 347)[0]]))
    place = Place(ends=tuple(zip(*(axis.tolist() for axis in ends), strict=True)))

    with pytest.raises(PlaceError):
        with_gate(bare, "sector", place)
    _, gate, _ = with_gate(bare, "sector", replace(place, anyway=True))
    assert gate.surveyed


COURSE = track_of(
    hill_course(),
    gates=[("start", "start", 30.0), ("finish", "finish", 400.0), ("one", "sector", 200.0)],
    spacing_m=5.0,
)


@pytest.mark.parametrize(
    ("kind", "chainage_m", "between"),
    [
        ("sector", 30.5, True),
        ("sector", 30.0, False),
        ("sector", 399.5, True),
        ("sector", 400.0, False),
        ("finish", 250.0, True),
        ("finish", 25.0, False),
        ("start", 190.0, True),
        ("start", 210.0, False),
    ],
)
def test_on_a_course_timed_gates_lie_from_the_start_to_the_finish(kind, chainage_m, between):
    moved = replace(
        COURSE,
        gates=tuple(
            replace(g, chainage_m=chainage_m) if g.kind == kind else g for g in COURSE.gates
        ),
    )

    if between:
        _require_between(moved)
    else:
        start = 30.0 if kind != "start" else chainage_m
        words = rf"between the start gate at {start:.1f} m and the finish gate at"
        with pytest.raises(PlaceError, match=words):
            _require_between(moved)


def test_a_course_without_its_start_or_finish_asks_for_no_order():
    for kind in ("start", "finish"):
        gates = [replace(g, chainage_m=1.0) if g.kind == "sector" else g for g in COURSE.gates]
        _require_between(replace(COURSE, gates=tuple(g for g in gates if g.kind != kind)))


@pytest.mark.parametrize("beyond_m", [-0.5, 0.5])
def test_ends_as_far_apart_as_the_widest_gate_are_of_one(bare, beyond_m):
    half = 0.5 * (WIDEST_M + beyond_m)
    middle, ahead = block_circuit().at(347.0)
    aside = half * np.array([-ahead[1], ahead[0]])
    left, right = (
        tuple(float(value) for value in on_earth(at)) for at in (middle + aside, middle - aside)
    )
    gate = Gate("wide", "sector", "Wide", left, right, chainage_m=347.0)

    if beyond_m > 0:
        with pytest.raises(PlaceError, match="no gate is wider than"):
            _require_width(bare, gate)
    else:
        _require_width(bare, gate)


@pytest.mark.parametrize(("middle_m", "side"), [(0.4, "left"), (-0.4, "right")])
@pytest.mark.parametrize("turned_deg", [0.0, 100.0])
def test_how_a_surveyed_gate_lies_is_told_by_angle_and_side(bare, middle_m, side, turned_deg):
    middle, ahead = block_circuit().at(347.0)
    left_of_road = np.array([-ahead[1], ahead[0]])
    angle = np.radians(turned_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    centre, aside = middle + middle_m * left_of_road, turn @ left_of_road
    left, right = (
        tuple(float(value) for value in on_earth(at))
        for at in (centre + 5.0 * aside, centre - 5.0 * aside)
    )

    words = _how_it_lies(bare, Gate("a", "sector", "A", left, right, chainage_m=347.0))

    assert words.startswith(f"kept as surveyed: {turned_deg:.1f} degrees off square")
    assert words.endswith(f"its middle 0.4 m to the {side} of the centreline")


def test_a_gate_that_is_moved_keeps_its_width_unless_another_is_given(bare):
    track, gate, _ = with_gate(bare, "sector", Place(chainage_m=347.0), width_m=21.0)

    kept, moved, _ = with_gate_moved(track, gate.id, Place(chainage_m=300.0))
    _, other, _ = with_gate_moved(track, gate.id, Place(chainage_m=300.0), width_m=15.0)

    assert (moved.id, moved.kind, moved.name) == (gate.id, gate.kind, gate.name)
    assert moved.width_m == pytest.approx(21.0, abs=0.01)
    assert other.width_m == pytest.approx(15.0, abs=0.01)
    assert moved.chainage_m == pytest.approx(300.0, abs=0.01)
    assert len(kept.gates) == len(track.gates)
