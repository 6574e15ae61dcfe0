"""Where a line turns as no vehicle can: arcs whose turn is their length over their radius."""

import numpy as np
import pytest
from plane_roads import circuit, course

from trackkit.geometry.curve import Curve
from trackkit.geometry.kinks import KINK_M, find_kinks


def hairpin(radius_m):
    return course(("s", 60.0), ("l", radius_m, 180), ("s", 60.0))


@pytest.mark.parametrize("radius_m", [2.0, 2.5, 3.0])
def test_the_tightest_hairpins_of_kart_circuits_are_no_kinks(radius_m):
    chainage_m, turned_deg = find_kinks(hairpin(radius_m))

    assert len(chainage_m) == len(turned_deg) == 0


@pytest.mark.parametrize("radius_m", [1.2, 1.4])
def test_an_arc_tighter_than_any_vehicle_turns_is_one_along_its_length(radius_m):
    chainage_m, turned_deg = find_kinks(hairpin(radius_m))

    # Within two metres an arc turns by two metres over its radius.
    assert np.max(turned_deg) == pytest.approx(np.degrees(KINK_M / radius_m), rel=0.04)
    assert np.mean(chainage_m) == pytest.approx(60.0 + 0.5 * np.pi * radius_m, abs=0.5)
    assert np.all((chainage_m > 60.0) & (chainage_m < 60.0 + np.pi * radius_m))


def test_a_line_that_turns_back_on_itself_turns_by_half_a_turn():
    there = np.column_stack([np.arange(0.0, 50.0, 1.0), np.zeros(50)])
    curve = Curve.through(np.vstack([there, there[-2::-1] - np.array([0.0, 0.05])]), closed=False)

    chainage_m, turned_deg = find_kinks(curve)

    assert np.max(turned_deg) == pytest.approx(180.0, abs=8.0)
    assert np.all(np.abs(chainage_m - 49.0) < 1.5)


@pytest.mark.parametrize("turn_deg", [37.0, 90.0, 143.0])
def test_a_straight_turns_nowhere_in_whatever_direction_it_lies(turn_deg):
    along = np.linspace(0.0, 400.0, 41)
    heading = np.radians(turn_deg)
    curve = Curve.through(along[:, None] * [np.cos(heading), np.sin(heading)], closed=False)

    assert len(find_kinks(curve)[0]) == 0


def test_the_ends_of_an_open_line_do_not_follow_each_other():
    # Its end points back to where its beginning points away from.
    assert len(find_kinks(course(("s", 80.0), ("l", 30.0, 180), ("s", 80.0)))[0]) == 0


def test_a_hairpin_over_the_datum_of_a_closed_line_is_seen_as_the_other_is():
    half, straight = ("l", 1.2, 90), ("s", 40.0)
    loop = circuit(half, straight, ("l", 1.2, 180), straight, half)

    chainage_m, _ = find_kinks(loop)
    at_datum = loop.separation(chainage_m, 0.0) < 0.25 * loop.length_m

    assert np.sum(at_datum) == pytest.approx(np.sum(~at_datum), abs=1)
    assert np.any(at_datum)
    assert np.all(loop.separation(chainage_m[at_datum], 0.0) < 0.5 * np.pi * 1.2)
