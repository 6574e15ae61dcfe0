"""Places for gates: how near, how far apart, how clear, and what is done where none is fit."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from drives import Road, arc, straight

from trackkit.gates.choose import (
    CLEAR_M,
    _nearest_fit,
    _pace,
    choose_finish,
    choose_sectors,
    near_pits,
    nearest_clear,
)
from trackkit.geometry.clearance import clearance
from trackkit.geometry.curve import Curve

LINE = Curve.through(np.stack([np.arange(0.0, 1001.0, 5.0), np.zeros(201)], axis=1), closed=False)
GRID = np.arange(0.0, 1001.0)


def nearest(place_m, *, fit=None, taken=(0.0, 1000.0)):
    fits = np.ones(len(GRID), bool) if fit is None else np.isin(GRID, fit)
    return _nearest_fit(LINE, place_m, GRID, fits, list(taken))


def test_a_place_that_is_fit_is_taken_as_it_is():
    assert nearest(500.0) == 500.0
    assert nearest(500.0, fit=[480, 530]) == 480.0
    assert nearest(500.0, fit=[460, 530]) == 530.0


def test_gates_are_25_m_apart():
    # Between gates at 490 and 0: 25 m from the first is 515 ahead, and 465 behind.
    assert nearest(500.0, taken=[490.0, 0.0]) == 515.0
    assert nearest(485.0, taken=[490.0, 0.0]) == 465.0
    assert nearest(500.0, taken=[475.0, 525.0]) == 500.0


@pytest.mark.parametrize(
    ("taken", "reach_m"),
    [((0.0, 1000.0), 250.0), ((0.0,), 250.0), ((0.0, 1000.0, 10.0, 20.0), 125.0)],
)
def test_a_gate_is_moved_by_half_of_its_share_of_the_lap_at_most(taken, reach_m):
    assert nearest(500.0, fit=[500 + reach_m], taken=taken) == 500.0 + reach_m
    assert nearest(500.0, fit=[500 + reach_m + 1], taken=taken) is None


# A long straight of 300 m, one of 200 m, and bends between: 80 m apart.
ROAD = Road((straight(300.0), arc(60, 180), straight(200.0), arc(60, 120), straight(100.0)))


def closed(road, spacing_m=3.0):
    count = int(road.length_m / spacing_m)
    return Curve.through(road.at(np.arange(count) * road.length_m / count)[0], closed=True)


def stadium_curve(straight_m, radius_m):
    half = arc(radius_m, 180)
    return closed(Road((straight(straight_m), half, straight(straight_m), half)))


def test_the_finish_lies_where_it_may_as_long_as_there_is_a_place():
    curve = stadium_curve(300.0, 80.0)
    plain, _ = choose_finish(curve, None)
    beyond = plain + (20.0 if plain < 0.5 * curve.length_m else -20.0)

    def near_it(places):
        return np.abs(places - plain) < 15.0

    moved, _ = choose_finish(curve, None, near_it)
    nowhere, why = choose_finish(curve, None, lambda places: np.ones(len(places), bool))

    assert abs(moved - plain) >= 15.0
    assert clearance(curve, np.array([moved]))[0] > CLEAR_M
    # Where no place is fit, it lies where it would otherwise.
    assert nowhere == pytest.approx(plain)
    assert beyond != plain
    assert "straight (" in why


def test_the_finish_leaves_a_straight_on_which_it_may_not_be():
    curve = stadium_curve(300.0, 80.0)
    plain, _ = choose_finish(curve, None)
    half = 0.5 * curve.length_m

    def same_half(places):
        return np.abs((places - plain + 0.5 * half) % curve.length_m - 0.5 * half) < 0.45 * half

    elsewhere, _ = choose_finish(curve, None, same_half)

    assert not same_half(np.array([elsewhere]))[0]


def test_the_finish_lies_where_cars_are_fast_in_the_middle_of_the_straight():
    curve = stadium_curve(300.0, 80.0)
    plain, _ = choose_finish(curve, None)
    at = np.linspace(0.0, curve.length_m, 400)
    fast = 20.0 + 20.0 * np.exp(-(((at - plain - 60.0) / 30.0) ** 2))

    place, why = choose_finish(curve, (at, fast))

    assert place == pytest.approx(plain + 60.0, abs=5.0) or place > plain
    # 40 m/s are 144 km/h.
    assert "(fastest anywhere: 144 km/h)" in why


def test_speeds_run_on_over_the_seam_of_a_lap():
    curve = stadium_curve(300.0, 80.0)
    half = 0.5 * curve.length_m

    pace = _pace(curve, (np.array([10.0, half]), np.array([10.0, 30.0])), np.array([0.0, half]))

    # From 30 m/s half way round down to 10 m/s at 10 m: nearly all of the way at the seam.
    assert pace[1] == pytest.approx(30.0)
    assert pace[0] == pytest.approx(10.0 + 20.0 * 10.0 / (half + 10.0))
    assert _pace(curve, None, np.zeros(3)).tolist() == [1.0] * 3


def course_track(begin_m=100.0, finish_m=900.0):
    return SimpleNamespace(
        curve=LINE,
        closed=False,
        timed_from=SimpleNamespace(chainage_m=begin_m),
        finish=SimpleNamespace(chainage_m=finish_m),
    )


@pytest.mark.parametrize(("sectors", "expected"), [(2, [500.0]), (4, [300.0, 500.0, 700.0])])
def test_sectors_of_a_course_are_of_equal_length_from_start_to_finish(sectors, expected):
    chainages, remarks = choose_sectors(course_track(), sectors, None)

    assert chainages == pytest.approx(expected, abs=1.0)
    assert remarks[0].startswith(f"{sectors} sectors equal in length")
    assert len(remarks) == 1


def test_sectors_of_a_course_are_of_equal_time():
    # Half as fast from 500 m on: of 40 and 80 s the half is 60 s, 20 s and 200 m after 500 m.
    at = np.array([0.0, 499.9, 500.1, 1000.0])

    (chainage,), remarks = choose_sectors(course_track(), 2, (at, np.array([20.0, 20, 10, 10])))

    # From 100 m: 20 s to 500 m, then 40 s to 900 m; 30 s are 100 m beyond 500 m.
    assert chainage == pytest.approx(600.0, abs=2.0)
    assert remarks[0].startswith("2 sectors equal in time")
    assert "600 m (from 600)" in remarks[0] or "(from 60" in remarks[0]


def test_where_cars_are_slow_no_sector_gate_is():
    at = np.array([0.0, 440.0, 450.0, 560.0, 570.0, 1000.0])
    speed = np.array([20.0, 20.0, 9.0, 9.0, 20.0, 20.0])

    (chainage,), _ = choose_sectors(course_track(), 2, (at, speed))

    # Half of the top speed is reached beside it, on either side.
    pace = np.interp(chainage, at, speed)
    assert 10.0 <= pace < 11.5


def test_where_no_place_is_fit_the_gate_is_put_there_all_the_same():
    # An arc of 120 m radius from end to end bends too much anywhere.
    angle = np.linspace(0.0, 500.0 / 120.0, 200)
    track = course_track(50.0, 450.0)
    track.curve = Curve.through(
        120.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=False
    )

    (chainage,), remarks = choose_sectors(track, 2, None)

    assert chainage == pytest.approx(250.0, abs=1.0)
    assert any(remark.startswith("no place near 250 m") for remark in remarks)


@pytest.mark.parametrize(("away_m", "near"), [(12.9, True), (13.1, False), (-12.9, True)])
def test_a_gate_reaches_the_pit_lane_within_half_the_band_and_seven_metres(away_m, near):
    lane = SimpleNamespace(longitude_deg=np.array([200.0, 400.0]), latitude_deg=np.full(2, away_m))
    track = SimpleNamespace(
        curve=LINE,
        band_m=12.0,
        pit_lanes=(lane,),
        plane=SimpleNamespace(to_plane=lambda x, y: np.stack([x, y], axis=1)),
    )

    assert near_pits(track, np.array([300.0, 600.0])).tolist() == [near, False]


@pytest.mark.parametrize(
    ("now_m", "fit", "place"), [(500.0, [440, 560.0 - 6], 554.0), (500.0, [], None)]
)
def test_the_nearest_place_that_is_clear_is_where_a_gate_may_go(now_m, fit, place):
    track = SimpleNamespace(curve=LINE, band_m=12.0, pit_lanes=())
    places = np.arange(2.0, 1000.0, 6.0)
    fits = np.isin(places, fit)

    assert nearest_clear(track, now_m, places, fits) == place
