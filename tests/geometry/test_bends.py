"""Corners of lines whose geometry is known from their construction."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plane_roads import ATHLETICS, MEASURED_RADIUS_M, STRAIGHT_M, circuit, course

from trackkit.geometry.bends import find_bends
from trackkit.geometry.curve import Curve


def begun_at(curve, chainage_m):
    """The same circuit with its datum somewhere else."""
    return Curve.through(curve.position(chainage_m + curve.chainages(0.5)), closed=True)


SQUARE = circuit(*[("s", 100.0), ("r", 20.0, 90)] * 4)


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


def test_a_wide_sweep_is_a_corner_and_no_straight():
    (bend,), straights = find_bends(course(("l", 400.0, 90)))

    assert (bend.turn, bend.turned_deg) == ("left", pytest.approx(90.0, abs=0.5))
    assert bend.min_radius_m == pytest.approx(400.0, rel=1e-3)
    assert straights == []


def test_a_circle_is_one_corner_and_no_straight():
    (bend,), straights = find_bends(circuit(("r", 50.0, 360)))
    assert bend.turn == "right"
    assert bend.turned_deg == pytest.approx(360, abs=2)
    assert bend.min_radius_m == pytest.approx(50.0, rel=0.02)
    assert straights == []


def test_a_circle_however_wide_is_one_corner_and_no_straight():
    (bend,), straights = find_bends(circuit(("r", 1400.0, 360)))

    assert bend.turned_deg == pytest.approx(360.0, abs=0.5)
    assert bend.min_radius_m == pytest.approx(1400.0, rel=1e-3)
    assert straights == []


def long_oval(datum=0.0):
    """Straights of 300 m and half circles of 450 m."""
    whole = circuit(("s", 300.0), ("l", 450.0, 180), ("s", 300.0), ("l", 450.0, 180))
    return begun_at(whole, datum) if datum else whole


@pytest.mark.parametrize("datum", [0.0, 0.2, 0.5, 0.8])
def test_long_bends_are_bends_wherever_the_line_begins(datum):
    bends, straights = find_bends(long_oval(datum))

    assert [bend.turned_deg for bend in bends] == pytest.approx([180.0] * 2, abs=1.5)
    assert [bend.min_radius_m for bend in bends] == pytest.approx([450.0] * 2, rel=0.02)
    # Half a degree of either end of a bend, 3.9 m, counts as straight.
    assert [s.length_m for s in straights] == pytest.approx([300.0 + 7.9] * 2, abs=3.0)


@pytest.mark.parametrize("degrees", [19.0, 21.0])
def test_what_turns_by_more_than_20_degrees_is_no_straight(degrees):
    bends, straights = find_bends(course(("s", 300.0), ("r", 2000.0, degrees), ("s", 300.0)))

    assert len(bends) == (degrees > 20.0)
    assert max(s.length_m for s in straights) == pytest.approx(
        600.0 + 2000.0 * math.radians(degrees) if degrees < 20.0 else 300.0 + 17.5, abs=3.0
    )


def test_two_wide_sweeps_either_way_are_two_corners():
    bends, _ = find_bends(course(("s", 200.0), ("l", 500.0, 40), ("r", 500.0, 40), ("s", 200.0)))

    assert [bend.turn for bend in bends] == ["left", "right"]
    assert [bend.turned_deg for bend in bends] == pytest.approx([40.0] * 2, abs=2.5)


def test_a_wide_sweep_into_a_corner_of_the_same_hand_is_a_corner_of_its_own():
    bends, _ = find_bends(course(("s", 200.0), ("l", 450.0, 40), ("l", 60.0, 80), ("s", 200.0)))

    assert [bend.min_radius_m for bend in bends] == pytest.approx([450.0, 60.0], rel=0.05)
    assert sum(bend.turned_deg for bend in bends) == pytest.approx(120.0, abs=2.0)


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


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5])
def test_a_circuit_without_a_straight_is_cut_open_between_two_corners(share):
    # A ring of six left-handers of 240 degrees and six right-handers of 180 between them: 1 m from
    # sample to sample hides where one hand follows the other.
    left, right = ("l", 15.0, 240.0), ("r", 15.0, 180.0)
    first = ("l", 15.0, 240.0 * (1.0 - share)), *(right, left) * 5, right
    ring = circuit(*first, *((("l", 15.0, 240.0 * share),) if share else ()))

    bends, _ = find_bends(ring)

    assert sorted(bend.turn for bend in bends) == ["left"] * 6 + ["right"] * 6
    turned = [bend.turned_deg for bend in sorted(bends, key=lambda bend: bend.turn)]
    # At each end of an arc the average over 8 m takes some 8 degrees off.
    assert turned == pytest.approx([240.0] * 6 + [180.0] * 6, abs=18.0)
