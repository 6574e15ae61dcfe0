"""Gates put where they were surveyed, and what is told of how they lie."""

import re
from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, hill_course, on_earth, track_of
from named_block import at

from trackkit.errors import PlaceError
from trackkit.gates.placement import in_racing_order, with_gate, with_gate_moved, without_gate
from trackkit.track.places import Place


def ends_at(chainage_m, left_m, right_m, turned_deg=0.0):
    """Ends some metres to either side of the road, turned by some degrees from square."""
    middle, ahead = block_circuit().at(float(chainage_m))
    angle = np.radians(90.0 + turned_deg)
    aside = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]) @ ahead
    longitude, latitude = on_earth(np.array([middle + left_m * aside, middle - right_m * aside]))
    return Place(ends=tuple(zip(longitude.tolist(), latitude.tolist(), strict=True)))


@pytest.mark.parametrize("turned_deg", [0.0, 8.0, -25.0])
def test_surveyed_ends_are_told_to_be_so_far_from_square(bare, turned_deg):
    _, gate, remarks = with_gate(bare, "sector", ends_at(347.0, 8.0, 8.0, turned_deg))

    (told,) = [remark for remark in remarks if "degrees off square" in remark]
    (degrees,) = re.findall(r"([\d.]+) degrees off square", told)
    assert float(degrees) == pytest.approx(abs(turned_deg), abs=0.15)
    assert gate.surveyed


@pytest.mark.parametrize(
    ("left_m", "right_m", "aside", "side"), [(9.0, 5.0, 2.0, "left"), (5.0, 9.0, 2.0, "right")]
)
def test_the_middle_of_surveyed_ends_is_told_beside_the_line(bare, left_m, right_m, aside, side):
    _, _, remarks = with_gate(bare, "sector", ends_at(347.0, left_m, right_m))

    assert any(f"its middle {aside:.1f} m to the {side}" in remark for remark in remarks)


def test_ends_given_right_then_left_are_swapped_and_it_is_said(bare):
    place = ends_at(347.0, 8.0, 7.0)
    left, right = place.ends

    changed, gate, remarks = with_gate(bare, "sector", Place(ends=(right, left)))

    assert (gate.left, gate.right) == (left, right)
    assert any("swapped" in remark for remark in remarks)
    assert in_racing_order(changed, left, right, 347.0) == (left, right, False)
    assert in_racing_order(changed, right, left, 347.0) == (left, right, True)


def test_ends_farther_apart_than_any_gate_are_refused(bare):
    with pytest.raises(PlaceError, match="m apart, and no gate is wider than"):
        with_gate(bare, "sector", ends_at(347.0, 260.0, 260.0))


def test_names_that_are_taken_get_a_number(bare):
    track = bare
    for chainage in (300.0, 600.0, 700.0):
        track, _, _ = with_gate(track, "speed", at(chainage))

    assert sorted(g.name for g in track.gates_of_kind("speed")) == ["Speed", "Speed 2", "Speed 3"]


def test_on_an_open_course_a_gate_must_stay_between_start_and_finish():
    track = track_of(
        hill_course(),
        gates=[("start", "start", 100.0), ("finish", "finish", 1100.0), ("a", "sector", 500.0)],
        spacing_m=2.0,
    )

    for where in (60.0, 1150.0):
        with pytest.raises(PlaceError, match="would not lie between"):
            with_gate_moved(track, "a", Place(chainage_m=where))
        with pytest.raises(PlaceError, match="would not lie between"):
            with_gate(track, "sector", Place(chainage_m=where))
    with pytest.raises(PlaceError, match="would not lie between"):
        with_gate_moved(track, "start", Place(chainage_m=600.0))
    moved, gate, _ = with_gate_moved(track, "a", Place(chainage_m=900.0))
    assert gate.chainage_m == pytest.approx(900.0)
    without, gone = without_gate(moved, "a")
    assert (gone.id, len(without.gates)) == ("a", 2)
    for kind in ("start", "finish"):
        with pytest.raises(PlaceError, match=f"cannot be without its {kind} gate"):
            without_gate(track, kind)


def test_a_moved_gate_keeps_its_width_unless_another_is_given(bare):
    track, gate, _ = with_gate(bare, "sector", at(347.0), width_m=13.0)

    _, moved, _ = with_gate_moved(track, gate.id, at(700.0))
    _, wider, _ = with_gate_moved(track, gate.id, at(700.0), width_m=17.0)

    assert moved.width_m == pytest.approx(13.0, abs=0.01)
    assert wider.width_m == pytest.approx(17.0, abs=0.01)


def test_moving_the_finish_moves_where_the_line_begins_and_moving_another_gate_does_not(bare):
    track, gate, _ = with_gate(bare, "sector", at(347.0))

    finish_moved, finish, _ = with_gate_moved(track, "finish", at(100.0))
    other_moved, other, _ = with_gate_moved(track, gate.id, at(500.0))

    assert finish.chainage_m == 0.0
    assert finish_moved.gate(gate.id).chainage_m == pytest.approx(247.0, abs=0.01)
    assert finish_moved.gate(gate.id).left == gate.left
    assert other.chainage_m == pytest.approx(500.0)
    assert other_moved.curve.position(0.0) == pytest.approx(track.curve.position(0.0))


def test_a_finish_placed_on_a_track_without_one_is_where_its_line_begins(bare):
    without = replace(bare, gates=())

    track, gate, _ = with_gate(without, "finish", at(200.0))

    assert (gate.id, gate.chainage_m) == ("finish", 0.0)
    begins = bare.plane.to_plane(*track.plane.to_geographic(track.curve.position(0.0)))
    assert begins == pytest.approx(bare.curve.position(200.0), abs=0.02)


def test_a_second_finish_is_refused_with_how_to_move_the_first_there(bare):
    with pytest.raises(PlaceError, match=r"has a finish gate already, at 0\.0 m") as caught:
        with_gate(bare, "finish", at(321.04), width_m=14.0)

    remedy = caught.value.remedy
    assert (remedy.do, remedy.feature, remedy.chainage_m) == ("gate move", "finish", 321.0)
    assert remedy.value == {"width_m": 14.0}
