"""Corners and clearances of lines whose geometry is known from their construction."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.geometry.bends import find_bends
from trackkit.geometry.clearance import clearance, distance_to_other_piece
from trackkit.geometry.curve import Curve


def road(*pieces, step_m=0.5):
    """Points along straights ("s", length) and arcs ("l" or "r", radius, degrees turned)."""
    place, heading = np.zeros(2), 0.0
    points = [place]
    for kind, size, *turn in pieces:
        if kind == "s":
            count = max(1, math.ceil(size / step_m))
            ahead = np.array([math.cos(heading), math.sin(heading)])
            points += [place + ahead * size * k / count for k in range(1, count + 1)]
        else:
            side = 1 if kind == "l" else -1
            angle = math.radians(turn[0])
            count = max(2, math.ceil(size * angle / step_m))
            to_centre = side * size * np.array([-math.sin(heading), math.cos(heading)])
            for k in range(1, count + 1):
                turned = side * angle * k / count
                cosine, sine = math.cos(turned), math.sin(turned)
                spoke = np.array([[cosine, -sine], [sine, cosine]]) @ -to_centre
                points.append(place + to_centre + spoke)
            heading += side * angle
        place = points[-1]
    return np.array(points)


def circuit(*pieces):
    """A closed curve along a road that comes back to where it began."""
    points = road(*pieces)
    assert np.linalg.norm(points[-1] - points[0]) < 1e-6
    return Curve.through(points, closed=True)


def course(*pieces):
    return Curve.through(road(*pieces), closed=False)


def begun_at(curve, chainage_m):
    """The same circuit with its datum somewhere else."""
    return Curve.through(curve.position(chainage_m + curve.chainages(0.5)), closed=True)


# World Athletics facilities manual: two straights of 84.39 m, half circles measured at 36.80 m,
# 400.00 m in all; from memory.
STRAIGHT_M, MEASURED_RADIUS_M = 84.39, 36.80
ATHLETICS = circuit(
    ("s", STRAIGHT_M / 2),
    ("l", MEASURED_RADIUS_M, 180),
    ("s", STRAIGHT_M),
    ("l", MEASURED_RADIUS_M, 180),
    ("s", STRAIGHT_M / 2),
)
SQUARE = circuit(*[("s", 100.0), ("r", 20.0, 90)] * 4)


# Corners


def test_the_400_m_track_is_400_m_long_and_has_two_corners_that_turn_half_round():
    assert ATHLETICS.length_m == pytest.approx(400.0, abs=0.02)
    bends, straights = find_bends(ATHLETICS)
    assert [bend.turn for bend in bends] == ["left", "left"]
    assert [bend.turned_deg for bend in bends] == pytest.approx([180, 180], abs=2)
    assert [bend.min_radius_m for bend in bends] == pytest.approx([36.8, 36.8], rel=0.02)
    assert [straight.length_m for straight in straights] == pytest.approx([84.39] * 2, abs=8)


def test_corners_begin_and_end_where_the_arcs_do():
    bends, _ = find_bends(ATHLETICS)
    arc = math.pi * MEASURED_RADIUS_M
    expected = [STRAIGHT_M / 2, STRAIGHT_M * 1.5 + arc]
    # Curvature is averaged over 8 m, so an edge is known to half of that.
    assert [bend.entry_m for bend in bends] == pytest.approx(expected, abs=4.5)
    assert [bend.exit_m for bend in bends] == pytest.approx([e + arc for e in expected], abs=4.5)


def test_the_apex_of_an_arc_is_in_its_middle():
    bends, _ = find_bends(ATHLETICS)
    quarter = ATHLETICS.length_m / 4
    assert [bend.apex_m for bend in bends] == pytest.approx([quarter, 3 * quarter], abs=2)


@pytest.mark.parametrize("radius_m", [6.0, 12.0, 30.0, 100.0])
@pytest.mark.parametrize("turned_deg", [60.0, 90.0, 180.0])
@pytest.mark.parametrize("hand", ["l", "r"])
def test_a_corner_has_the_radius_and_the_turn_of_its_arc(radius_m, turned_deg, hand):
    curve = course(("s", 120.0), (hand, radius_m, turned_deg), ("s", 120.0))
    (bend,), straights = find_bends(curve)
    assert bend.turn == {"l": "left", "r": "right"}[hand]
    assert bend.turned_deg == pytest.approx(turned_deg, abs=3)
    # A radius is told from the heading turned in 8 m; a shorter arc looks wider than it is.
    widening = max(1.0, 8.0 / (radius_m * math.radians(turned_deg)))
    assert bend.min_radius_m == pytest.approx(radius_m * widening, rel=0.05)
    assert [straight.length_m for straight in straights] == pytest.approx([120, 120], abs=4.5)


def test_the_apex_is_where_the_line_is_tightest():
    curve = course(("s", 100.0), ("l", 60.0, 60), ("l", 15.0, 60), ("l", 40.0, 60), ("s", 100.0))
    (bend,), _ = find_bends(curve)
    tight = 100 + 60 * math.pi / 3
    assert tight < bend.apex_m < tight + 15 * math.pi / 3
    assert bend.min_radius_m == pytest.approx(15.0, rel=0.05)
    assert bend.turned_deg == pytest.approx(180, abs=3)


def test_the_two_hands_of_an_s_bend_are_two_corners():
    bends, _ = find_bends(course(("s", 80.0), ("l", 25.0, 70), ("r", 25.0, 70), ("s", 80.0)))
    assert [bend.turn for bend in bends] == ["left", "right"]
    assert [bend.turned_deg for bend in bends] == pytest.approx([70, 70], abs=8)


def test_bends_of_one_hand_close_together_are_one_corner():
    (bend,), _ = find_bends(
        course(("s", 90.0), ("l", 20.0, 45), ("s", 18.0), ("l", 20.0, 45), ("s", 90.0))
    )
    assert bend.turned_deg == pytest.approx(90, abs=3)


def test_a_long_corner_that_opens_a_little_on_the_way_is_one_corner():
    (bend,), _ = find_bends(
        course(("s", 90.0), ("l", 180.0, 25), ("l", 260.0, 10), ("l", 180.0, 25), ("s", 90.0))
    )
    assert bend.turned_deg == pytest.approx(60, abs=3)


@pytest.mark.parametrize("seed", range(4))
def test_noise_splits_no_corner_whose_radius_is_near_the_limit(seed):
    curve = course(("s", 200.0), ("l", 190.0, 90), ("s", 200.0))
    clean = curve.position(curve.chainages(5.0))
    # Curvature, over 8 m, that varies by a tenth of the corner's own.
    noisy = clean + np.random.default_rng(seed).normal(0, 0.004, clean.shape)
    (bend,), _ = find_bends(Curve.through(noisy, closed=False))
    assert bend.turned_deg == pytest.approx(90, abs=8)


def test_bends_of_one_hand_well_apart_are_two_corners():
    bends, _ = find_bends(
        course(("s", 90.0), ("l", 20.0, 45), ("s", 40.0), ("l", 20.0, 45), ("s", 90.0))
    )
    assert [bend.turned_deg for bend in bends] == pytest.approx([45, 45], abs=3)


def test_a_slight_bend_is_no_corner():
    bends, straights = find_bends(course(("s", 90.0), ("l", 80.0, 15), ("s", 90.0)))
    assert bends == []
    assert [straight.length_m for straight in straights] == pytest.approx(
        [180 + 80 * math.radians(15)], abs=0.1
    )


def test_a_wide_sweep_is_no_corner():
    assert find_bends(course(("l", 400.0, 90)))[0] == []


def test_a_circle_is_one_corner_and_no_straight():
    (bend,), straights = find_bends(circuit(("r", 50.0, 360)))
    assert bend.turn == "right"
    assert bend.turned_deg == pytest.approx(360, abs=2)
    assert bend.min_radius_m == pytest.approx(50.0, rel=0.02)
    assert straights == []


def test_a_circle_too_wide_for_a_corner_is_one_straight():
    bends, straights = find_bends(circuit(("r", 400.0, 360)))
    assert bends == []
    assert [straight.length_m for straight in straights] == pytest.approx([800 * math.pi], rel=1e-4)


def test_corners_come_in_the_order_they_are_driven():
    bends, straights = find_bends(SQUARE)
    assert len(bends) == len(straights) == 4
    assert all(a.apex_m < b.apex_m for a, b in itertools.pairwise(bends))
    assert {bend.turn for bend in bends} == {"right"}


def test_driven_the_other_way_round_a_circuit_has_the_same_corners_of_the_other_hand():
    back = Curve.through(SQUARE.vertex_m[::-1], closed=True)
    there, again = find_bends(SQUARE)[0], find_bends(back)[0]
    assert {bend.turn for bend in again} == {"left"}
    assert [b.turned_deg for b in again] == pytest.approx([b.turned_deg for b in there], abs=0.5)


DOUBLE_APEX = circuit(*[("l", 20.0, 80), ("s", 18.0), ("l", 20.0, 100), ("s", 200.0)] * 2)


TWO_CIRCLES = circuit(("l", 40.0, 360), ("r", 60.0, 360))


def test_two_circles_that_touch_are_two_corners_wherever_the_datum_is():
    for datum in (0.0, 100.0, 251.0, 400.0):
        bends, straights = find_bends(begun_at(TWO_CIRCLES, datum))
        assert sorted(bend.turned_deg for bend in bends) == pytest.approx([360, 360], abs=15)
        assert {bend.turn for bend in bends} == {"left", "right"}
        # Where one hand follows the other, the average over 8 m passes through nought.
        assert sum(straight.length_m for straight in straights) < 8


@settings(max_examples=40)
@given(st.floats(0, 1), st.sampled_from([ATHLETICS, SQUARE, DOUBLE_APEX]))
def test_corners_do_not_depend_on_where_the_datum_is(share, curve):
    datum = share * curve.length_m
    turned = begun_at(curve, datum)
    before, after = find_bends(curve)[0], find_bends(turned)[0]
    assert sorted(b.turned_deg for b in after) == pytest.approx(
        sorted(b.turned_deg for b in before), abs=1.5
    )
    for bend in after:
        away = [float(curve.separation(bend.entry_m + datum, b.entry_m)) for b in before]
        assert min(away) < 1.5


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("curve", [ATHLETICS, SQUARE])
def test_two_centimetres_of_noise_on_its_vertices_split_no_corner(curve, seed):
    clean = curve.position(curve.chainages(2.0))
    noisy = clean + np.random.default_rng(seed).normal(0, 0.02, clean.shape)
    bends, _ = find_bends(Curve.through(noisy, closed=True))
    expected, _ = find_bends(curve)
    assert [bend.turn for bend in bends] == [bend.turn for bend in expected]
    assert [b.turned_deg for b in bends] == pytest.approx([b.turned_deg for b in expected], abs=4)


@pytest.mark.parametrize("curve", [ATHLETICS, SQUARE, DOUBLE_APEX])
def test_corners_and_straights_of_a_circuit_make_up_the_whole_lap(curve):
    bends, straights = find_bends(curve)
    corners = sum(float(curve.along(bend.entry_m, bend.exit_m)) for bend in bends)
    total = corners + sum(straight.length_m for straight in straights)
    assert total == pytest.approx(curve.length_m, abs=1e-6)


def test_corners_and_straights_of_a_course_make_up_the_whole_course():
    curve = course(("s", 60.0), ("l", 20.0, 90), ("s", 40.0), ("r", 30.0, 120), ("s", 10.0))
    bends, straights = find_bends(curve)
    corners = sum(bend.exit_m - bend.entry_m for bend in bends)
    assert corners + sum(s.length_m for s in straights) == pytest.approx(curve.length_m, abs=1e-6)
    assert straights[0].start_m == 0.0


def test_a_course_may_begin_and_end_in_a_corner():
    bends, straights = find_bends(course(("l", 30.0, 90), ("s", 50.0), ("r", 30.0, 90)))
    assert [bend.turn for bend in bends] == ["left", "right"]
    assert bends[0].entry_m == 0.0
    assert len(straights) == 1


# Clearance


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


@settings(max_examples=25)
@given(st.floats(5, 80), st.floats(4, 60))
def test_the_clearance_of_parallel_legs_is_their_distance(where, apart_m):
    curve = course(("s", 150.0), ("r", apart_m / 2, 180), ("s", 150.0))
    assert clearance(curve, [where]) == pytest.approx([apart_m], abs=0.05)
