"""Turns, misses and reaches that gaps of a line are judged by, on shapes known by heart."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.building.sparse import (
    _PRIOR_SPANS,
    _SENSIBLE_MISS,
    _USUAL_MISS,
    _aside,
    _ends,
    _miss,
    _reach,
    _turn,
    _turned,
    bridged_sigma,
)
from trackkit.geometry.curve import Curve


def ring(count, radius_m=100.0):
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    return radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def test_round_a_polygon_each_side_turns_by_as_much():
    # A regular polygon of 12 sides turns by 30 degrees at each corner, whichever way.
    for place in (ring(12), ring(12)[::-1]):
        assert np.degrees(_turn(place)) == pytest.approx(np.full(11, 30.0))


def test_a_turn_at_one_corner_is_shared_by_the_sides_beside_it():
    place = np.array([[0, 0], [10, 0], [20, 0], [20, 10], [20, 20], [20, 30]], dtype=float)

    assert np.degrees(_turn(place)) == pytest.approx([0.0, 45.0, 45.0, 0.0, 0.0])
    assert _turn(place[:2]).tolist() == [0.0]


def test_how_far_a_direction_has_turned_is_told_without_its_side():
    east, north = np.array([1.0, 0.0]), np.array([0.0, 1.0])

    assert _turned(np.array([east, north])) == pytest.approx(0.5 * np.pi)
    assert _turned(np.array([north, east])) == pytest.approx(0.5 * np.pi)
    assert _turned(np.array([east, -east])) == pytest.approx(np.pi)
    assert _turned(np.array([east, east * (1.0 + 1e-12)])) == 0.0


def test_places_are_as_far_aside_of_a_curve_as_square_to_it():
    laid = np.column_stack([np.arange(0.0, 50.0), np.zeros(50)])
    tangent = np.tile([3.0, 0.0], (50, 1))

    away = _aside(np.array([[10.3, 4.0], [20.0, -2.5], [30.49, 0.0]]), laid, tangent)

    assert away == pytest.approx([4.0, 2.5, 0.0])


def reading(time_s, speed_mps):
    return SimpleNamespace(time_s=np.array(time_s), speed_mps=np.array(speed_mps))


def test_how_far_tangents_reach_is_the_mean_of_the_laps_that_pass_without_a_seam():
    laps = [
        reading([0.0, 2.0, 5.0], [10.0, 0.0, 20.0]),
        reading([0.0, 2.0, 3.0], [20.0, 0.0, 40.0]),
        reading([50.0, 2.0, 3.0], [99.0, 0.0, 99.0]),
    ]

    assert _reach(laps, np.array([0, 2])) == pytest.approx([(50.0 + 60.0) / 2, (100.0 + 120.0) / 2])
    assert _reach(laps[2:], np.array([0, 2])) is None


@pytest.mark.parametrize("closed", [True, False])
def test_a_stretch_ends_round_a_lap_or_at_the_end_of_a_course(closed):
    curve = Curve.through(ring(60), closed=closed)
    chainage = np.linspace(0.0, curve.length_m, 40, endpoint=not closed)

    place, ahead = _ends(curve, chainage, 35, 8)

    last = 3 if closed else 39
    assert place == pytest.approx(curve.position(chainage[[35, last]]))
    assert ahead == pytest.approx(curve.direction(chainage[[35, last]]))


def logged(count=41, aside_m=0.0):
    """A fix a second at 20 m/s, now to the left and now to the right of a straight."""
    when = np.arange(float(count))
    place = np.column_stack([20.0 * when, aside_m * (-1.0) ** np.arange(count)])
    return when, place, np.ones(count - 1, dtype=bool)


def test_of_few_fixes_the_usual_miss_is_taken():
    when, place, wide = logged(7)

    assert _miss(when, place, None, wide) == pytest.approx(_USUAL_MISS)
    assert _miss(*logged(41)[:2], None, np.zeros(40, dtype=bool)) == pytest.approx(_USUAL_MISS)


def test_where_every_other_fix_tells_the_next_nothing_is_missed_but_for_what_was_believed():
    when, place, wide = logged()

    # Twenty of one half and nineteen of the other: none misses.
    expected = _USUAL_MISS * np.sqrt(_PRIOR_SPANS / (39 + _PRIOR_SPANS))
    assert _miss(when, place, None, wide) == pytest.approx(max(expected, _SENSIBLE_MISS[0]))


def test_a_drive_that_swings_from_fix_to_fix_is_missed_by_more():
    straight, swinging = (_miss(*logged(41, aside)[:2], None, logged()[2]) for aside in (0.0, 3.0))

    assert swinging > 3.0 * straight
    assert _miss(*logged(41, 1e6)[:2], None, logged()[2]) == _SENSIBLE_MISS[1]


def test_where_nowhere_else_is_known_a_bridge_is_as_unsure_as_is_usual():
    curve = Curve.through(np.column_stack([np.arange(0.0, 101.0, 5.0), np.zeros(21)]), closed=False)
    chainage = np.arange(0.0, 100.5, 1.0)
    carried = np.zeros(101, dtype=bool)
    carried[10:91] = True

    sigma = bridged_sigma(curve, chainage, carried, [reading(chainage / 20.0, 20.0 + 0 * chainage)])

    # Nothing outside, most in the middle, as a parabola is.
    assert not sigma[~carried].any()
    assert np.argmax(sigma) == 50
    assert sigma[30] == pytest.approx(sigma[70])
    share = (20.0 + 0.5) / 81.0
    assert sigma[30] / sigma[50] == pytest.approx(4.0 * share * (1.0 - share), rel=1e-3)
