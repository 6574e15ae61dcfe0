"""Clearances of lines whose geometry is known from their construction."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plane_roads import ATHLETICS, MEASURED_RADIUS_M, circuit, course, road

from trackkit.geometry.clearance import clearance, distance_to_other_piece
from trackkit.geometry.curve import Curve

HAIRPIN = course(("s", 150.0), ("l", 6.0, 180), ("s", 150.0))


@pytest.mark.parametrize("where", [20.0, 75.0, 130.0])
def test_the_legs_of_a_hairpin_are_as_far_apart_as_they_were_laid(where):
    assert clearance(HAIRPIN, [where]) == pytest.approx([12.0], abs=0.02)
    other_leg = HAIRPIN.length_m - where
    assert clearance(HAIRPIN, [other_leg]) == pytest.approx([12.0], abs=0.02)


def test_a_straight_has_no_other_piece():
    assert clearance(course(("s", 300.0)), [0.0, 150.0, 300.0]).tolist() == [math.inf] * 3


def test_a_bend_that_turns_less_than_sixty_degrees_has_no_other_piece():
    assert clearance(course(("s", 50.0), ("l", 40.0, 55), ("s", 50.0)), [60.0]).tolist() == [
        math.inf
    ]


def test_the_straights_of_the_400_m_track_are_two_radii_apart():
    middle = [0.0, ATHLETICS.length_m / 2]
    assert clearance(ATHLETICS, middle) == pytest.approx([2 * MEASURED_RADIUS_M] * 2, abs=0.05)


def test_on_a_circle_another_piece_begins_a_sixth_of_it_away():
    # Sixty degrees on, the chord is the radius (Euclid, Elements, IV.15).
    ring = circuit(("l", 40.0, 360))
    assert clearance(ring, [0.0, 70.0, 200.0]) == pytest.approx([40.0] * 3, abs=0.6)


def test_from_beside_the_line_the_distance_is_counted_from_there():
    # Worked by hand: 5 m to the left of the first leg, towards the other, leaves 7 m of 12.
    assert distance_to_other_piece(HAIRPIN, 75.0, [75.0, 5.0]) == pytest.approx(7.0, abs=0.02)
    assert distance_to_other_piece(HAIRPIN, 75.0, [75.0, -5.0]) == pytest.approx(17.0, abs=0.02)


def test_across_the_datum_the_line_is_still_its_own_piece():
    # The datum of this track is in the middle of a straight.
    near_datum = [1.0, ATHLETICS.length_m - 1.0]
    assert clearance(ATHLETICS, near_datum) == pytest.approx([2 * MEASURED_RADIUS_M] * 2, abs=0.05)


def test_at_a_bridge_the_other_passage_is_at_no_distance():
    angle = np.arange(400) * 2 * np.pi / 400
    eight = Curve.through(
        np.column_stack([200 * np.sin(angle), 80 * np.sin(2 * angle)]), closed=True
    )
    assert clearance(eight, [0.0, eight.length_m / 2]) == pytest.approx([0.0, 0.0], abs=0.3)


@pytest.mark.parametrize("leg_m", [150.0, 3000.0, 12_000.0])
def test_clearance_is_as_exact_on_a_long_course_as_on_a_short_one(leg_m):
    # Two legs 6 m apart; places that fall between whatever samples are taken.
    curve = Curve.through(
        road(("s", leg_m), ("l", 3.0, 180), ("s", leg_m), step_m=2.0), closed=False
    )
    places = leg_m * np.array([0.2117, 0.5003, 0.7391])
    assert clearance(curve, places) == pytest.approx([6.0] * 3, abs=0.05)


@pytest.mark.parametrize("closed", [False, True])
def test_places_judged_together_are_as_clear_as_each_by_itself(closed):
    # So long that its samples are metres apart, and several of the places share one.
    angle = np.linspace(0.0, 2 * np.pi, 800, endpoint=False)
    loops = np.column_stack([np.sin(3 * angle), np.sin(4 * angle)])
    curve = Curve.through(600.0 * loops, closed=closed)
    places = np.append(np.linspace(0.0, 0.05 * curve.length_m, 400), curve.length_m)
    by_itself = [
        distance_to_other_piece(curve, where, curve.position(where)) for where in places.tolist()
    ]
    assert clearance(curve, places) == pytest.approx(by_itself, abs=1e-9)


@settings(max_examples=25)
@given(st.floats(5, 80), st.floats(4, 60))
def test_the_clearance_of_parallel_legs_is_their_distance(where, apart_m):
    curve = course(("s", 150.0), ("r", apart_m / 2, 180), ("s", 150.0))
    assert clearance(curve, [where]) == pytest.approx([apart_m], abs=0.05)


def test_a_course_does_not_go_on_from_its_end_to_its_start():
    # Three legs of a square: between its ends lies nothing but the middle leg 100 m away.
    open_square = course(("s", 100.0), ("l", 1.0, 90), ("s", 98.0), ("l", 1.0, 90), ("s", 100.0))
    _, sample, _ = open_square.samples
    between = 0.5 * (sample[0] + sample[-1])
    to_start = np.linalg.norm(sample[0] - between)
    assert to_start == pytest.approx(50.0, abs=0.01)
    assert distance_to_other_piece(open_square, open_square.length_m / 2, between) == pytest.approx(
        to_start, abs=0.01
    )


def test_a_circuit_goes_on_from_its_end_to_its_start():
    beside_datum = ATHLETICS.position(0.0) + 1.5 * ATHLETICS.left(0.0)
    opposite = ATHLETICS.length_m / 2
    assert distance_to_other_piece(ATHLETICS, opposite, beside_datum) == pytest.approx(
        1.5, abs=0.001
    )
