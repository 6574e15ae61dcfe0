"""Speeds of a simple vehicle, by school mechanics."""

import numpy as np
import pytest
from drives import Road, arc, track_of
from plane_roads import circuit, course

from trackkit.motion.vehicle import CAR, KART, SLOWEST_MPS, assumed_speed, vehicle_for


@pytest.mark.parametrize(("radius_m", "vehicle"), [(60.0, KART), (600.0, CAR)])
def test_a_short_track_is_driven_by_a_kart_and_a_long_one_by_a_car(radius_m, vehicle):
    ring = track_of(Road((arc(radius_m, 360),)), spacing_m=10.0)

    assert vehicle_for(ring) is vehicle


def test_a_circle_is_driven_as_fast_as_the_grip_allows():
    curve = circuit(("l", 30.0, 360))

    speed = assumed_speed(curve, curve.chainages(5.0), KART)

    assert speed == pytest.approx(np.sqrt(KART.lateral_mps2 * 30.0), rel=0.01)


def test_on_a_straight_speed_is_gained_and_then_lost_at_even_accelerations():
    curve = circuit(("s", 80.0), ("l", 20.0, 180), ("s", 80.0), ("l", 20.0, 180))
    chainage = curve.chainages(1.0)
    squared = assumed_speed(curve, chainage, KART) ** 2

    # v^2 - u^2 = 2 a s; the bends' curvature is averaged over 8 m, so that they reach out by 4 m.
    at = {place: float(np.interp(place, chainage, squared)) for place in (10.0, 30.0, 65.0, 75.0)}
    assert at[30.0] - at[10.0] == pytest.approx(2.0 * KART.accelerating_mps2 * 20.0, rel=1e-3)
    assert at[65.0] - at[75.0] == pytest.approx(2.0 * KART.braking_mps2 * 10.0, rel=1e-3)


def test_speeds_do_not_depend_on_where_a_lap_begins():
    halves = ("s", 150.0), ("l", 25.0, 180), ("s", 300.0), ("l", 25.0, 180), ("s", 150.0)
    turned = ("l", 25.0, 180), ("s", 300.0), ("l", 25.0, 180), ("s", 300.0)
    one, other = circuit(*halves), circuit(*turned)

    here = assumed_speed(one, one.chainages(1.0), CAR)
    there = assumed_speed(other, other.chainages(1.0), CAR)

    at = np.arange(0.0, 700.0, 20.0)
    np.testing.assert_allclose(
        np.interp(at + 150.0, one.chainages(1.0), here, period=one.length_m),
        np.interp(at, other.chainages(1.0), there, period=other.length_m),
        rtol=0.02,
    )


def test_an_open_course_begins_at_a_walking_pace_and_ends_at_speed():
    straight_on = course(("s", 50.0))
    chainage = straight_on.chainages(1.0)
    speed = assumed_speed(straight_on, chainage, KART)

    gained = SLOWEST_MPS**2 + 2.0 * KART.accelerating_mps2 * chainage
    assert speed == pytest.approx(np.sqrt(gained), rel=1e-6)
