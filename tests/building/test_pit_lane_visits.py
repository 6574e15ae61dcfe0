"""What makes a stretch of a drive a visit of the pit lane, and several visits one lane."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from drives import stadium
from laid_paths import path_along

from trackkit.building.pit_lane import (
    Along,
    Visit,
    _extended,
    _same_lane,
    along_line,
    find_pit_lane,
    how_it_was_found,
    lane_of,
    visit_between,
    visits_of,
)
from trackkit.geometry.curve import Curve

LINE = Curve.through(np.stack([np.arange(0.0, 1001.0, 5.0), np.zeros(201)], axis=1), closed=False)


def eastward(chainage_m):
    chainage = np.asarray(chainage_m, dtype=float)
    return np.stack([chainage, 0 * chainage], axis=-1), np.tile([1.0, 0.0], (len(chainage), 1))


def visit_of(begin_m, end_m, **more):
    path = path_along(eastward, begin_m, end_m, **more)
    return visit_between(LINE, path, along_line(LINE, path), 0, len(path.position_m) - 1)


@pytest.mark.parametrize(
    ("length_m", "aside_m", "is_visit"),
    [
        (81.0, 10.0, True),
        (78.0, 10.0, False),
        (99.0, 3.9, False),
        (99.0, 4.1, True),
        (99.0, -79.0, True),
        (99.0, -81.0, False),
        # Half of the line is no lane beside it.
        (489.0, 10.0, True),
        (510.0, 10.0, False),
    ],
)
def test_a_visit_is_80_m_or_longer_and_4_to_80_m_beside_the_line(length_m, aside_m, is_visit):
    visit = visit_of(100.0, 100.0 + length_m, aside_m=aside_m)

    assert (visit is not None) is is_visit
    if visit is not None:
        assert visit.aside_m == pytest.approx(aside_m)
        assert (visit.leaves_m, visit.joins_m) == pytest.approx((100.0, 100.0 + length_m), abs=0.1)


@pytest.mark.parametrize(
    ("share", "is_visit"), [(0.58, False), (0.62, True), (1.58, True), (1.62, False)]
)
def test_a_visit_is_about_as_long_as_the_line_beside_it(share, is_visit):
    path = path_along(eastward, 100.0, 250.0, aside_m=10.0)
    stretched = replace(path, step_m=share * path.step_m)

    visit = visit_between(LINE, stretched, along_line(LINE, path), 0, len(path.position_m) - 1)

    assert (visit is not None) is is_visit


@pytest.mark.parametrize(("facing", "is_visit"), [(0.79, False), (0.81, True)])
def test_a_visit_runs_the_way_of_the_line(facing, is_visit):
    path = path_along(eastward, 100.0, 250.0, aside_m=10.0)
    along = along_line(LINE, path)._replace(facing=np.full(len(path.time_s), facing))

    assert (visit_between(LINE, path, along, 0, len(path.time_s) - 1) is not None) is is_visit


def test_a_visit_stops_where_the_car_stands_within_it():
    lasting = 150.0 / 15.0

    assert visit_of(100.0, 250.0, aside_m=10.0, stops=((0.5 * lasting, 9.0),)).stopped
    assert not visit_of(100.0, 250.0, aside_m=10.0, stops=((2.0 * lasting, 9.0),)).stopped
    assert not visit_of(100.0, 250.0, aside_m=10.0, stops=((0.0, 9.0),)).stopped
    assert not visit_of(100.0, 250.0, aside_m=10.0).stopped


@pytest.mark.parametrize(
    ("length_m", "range_share", "steady"),
    [
        (240.0, 0.0, True),
        (159.0, 0.0, False),
        (162.0, 0.0, True),
        (240.0, 0.45, True),
        (240.0, 0.55, False),
    ],
)
def test_a_visit_is_steady_where_its_middle_half_keeps_its_speed_for_long(
    length_m, range_share, steady
):
    def speed(chainage):
        # Rising evenly over the middle half by a share of 10 m/s, wild outside of it.
        along = (chainage - 100.0) / length_m
        inner = 10.0 * (1.0 + range_share * (np.clip(along, 0.25, 0.75) - 0.5) * 2.0)
        return np.where((along > 0.2) & (along < 0.8), inner, 30.0)

    visit = visit_of(100.0, 100.0 + length_m, aside_m=10.0, speed_mps=speed)

    assert visit.steady is steady


def test_a_stretch_is_followed_outward_to_where_it_is_on_the_line():
    # Off from 10 to 20; beside the line it comes within a metre at 6 and at 24.
    offset = np.full(60, 0.2)
    offset[7:24] = 3.0
    offset[10:21] = 10.0
    facing = np.ones(60)

    assert _extended(offset, facing, 3.0, 10, 20) == (6, 24)
    # Where it is near but faces another way it is not on the line.
    facing[5:7] = facing[24:26] = 0.5
    assert _extended(offset, facing, 3.0, 10, 20) == (4, 26)


def test_a_stretch_that_never_comes_back_ends_beside_where_it_was_clear():
    offset = np.full(100, 3.0)
    offset[45:56] = 10.0

    # 80 m are 26 samples of 3 m: at 45 - 26 and 55 + 26 it is looked no further.
    assert _extended(offset, np.ones(100), 3.0, 45, 55) == (44, 56)
    offset[[45 - 26, 55 + 26]] = 0.0
    assert _extended(offset, np.ones(100), 3.0, 45, 55) == (19, 81)
    offset[[45 - 26, 55 + 26]] = 3.0
    offset[[45 - 27, 55 + 27]] = 0.0
    assert _extended(offset, np.ones(100), 3.0, 45, 55) == (44, 56)


def test_at_the_ends_of_a_drive_a_stretch_stays_as_it_is():
    offset = np.full(20, 3.0)

    assert _extended(offset, np.ones(20), 3.0, 5, 15) == (5, 15)
    offset[[0, 19]] = 0.0
    assert _extended(offset, np.ones(20), 3.0, 5, 15) == (0, 19)


def visit(
    leaves_m=100.0, joins_m=300.0, aside_m=10.0, *, stopped=False, steady=False, lateral_m=None
):
    chainage = np.arange(leaves_m, joins_m + 1.0, 2.0)
    lateral = aside_m if lateral_m is None else lateral_m
    position = np.stack([chainage, np.full(len(chainage), lateral)], axis=1)
    return Visit(position, leaves_m, joins_m, aside_m, stopped, steady)


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (visit(255.0), True),
        (visit(265.0), False),
        (visit(joins_m=455.0), True),
        (visit(joins_m=465.0), False),
        (visit(aside_m=15.9), True),
        (visit(aside_m=16.1), False),
        (visit(aside_m=4.1), True),
        (visit(aside_m=3.9), False),
    ],
)
def test_visits_are_of_one_lane_by_where_they_leave_join_and_run(other, same):
    assert _same_lane(LINE, visit(), other) is same


@pytest.mark.parametrize(
    ("visits", "count"),
    [
        ([], None),
        ([visit()], None),
        ([visit(stopped=True)], 1),
        ([visit(steady=True)], 1),
        ([visit(), visit(aside_m=40.0)], None),
        ([visit(), visit(aside_m=12.0)], 2),
        ([visit(600.0, 900.0, stopped=True), visit(), visit()], 2),
    ],
)
def test_what_one_car_did_once_without_a_stop_may_be_an_off(visits, count):
    lane = lane_of(LINE, visits)

    assert (None if lane is None else lane.visits) == count


def test_of_two_lanes_driven_as_often_the_longer_is_taken():
    lane = lane_of(LINE, [visit(stopped=True), visit(600.0, 900.0, stopped=True)])

    assert lane.curve.length_m == pytest.approx(300.0, abs=0.5)


def test_a_lane_is_the_median_of_its_visits():
    lane = lane_of(LINE, [visit(lateral_m=side) for side in (9.0, 10.0, 14.0)])

    assert lane.visits == 3
    assert lane.curve.position(100.0)[1] == pytest.approx(10.0, abs=1e-3)
    assert lane.curve.length_m == pytest.approx(200.0, abs=0.5)


@pytest.mark.parametrize(("aside_m", "side", "visits"), [(10.0, "left", 1), (-10.0, "right", 2)])
def test_how_a_lane_was_found_says_side_ends_and_visits(aside_m, side, visits):
    lane = Curve.through(
        np.array([[100.0, aside_m], [200.0, aside_m], [300.0, aside_m]]), closed=False
    )

    words = how_it_was_found(SimpleNamespace(curve=LINE), lane, visits)

    assert words == (
        f"pit lane of 200 m found from {visits} visit{'s' * (visits > 1)}: on the {side}, it "
        "leaves the line at 100 m and joins it at 300 m"
    )


@pytest.mark.parametrize(("speed_mps", "count"), [(14.9, 1), (15.1, 0)])
def test_a_visit_is_slower_than_three_quarters_of_what_cars_do_there(speed_mps, count):
    def aside(chainage):
        return np.where((chainage > 300.0) & (chainage < 500.0), 12.0, 0.0)

    path = path_along(eastward, 0.0, 900.0, aside_m=aside, speed_mps=speed_mps)
    along = along_line(LINE, path)
    off = np.abs(along.offset_m) > 4.0

    found = visits_of(LINE, path, along, off=off, usual_mps=np.full(len(off), 20.0))

    assert len(found) == count
    if count:
        assert found[0].leaves_m == pytest.approx(300.0, abs=3.1)
        assert found[0].joins_m == pytest.approx(500.0, abs=3.1)


def test_what_is_off_the_line_at_either_end_of_a_drive_is_no_visit():
    for ends in ((0.0, 200.0), (700.0, 900.0)):

        def aside(chainage, ends=ends):
            return np.where((chainage >= ends[0]) & (chainage <= ends[1]), 12.0, 0.0)

        path = path_along(eastward, 0.0, 900.0, aside_m=aside, speed_mps=5.0)
        along = along_line(LINE, path)
        off = np.abs(along.offset_m) > 4.0
        assert visits_of(LINE, path, along, off=off, usual_mps=np.full(len(off), 20.0)) == []


def test_a_drive_is_seen_from_the_line_by_place_side_and_way():
    path = path_along(eastward, 100.0, 130.0, aside_m=-7.0)

    along = along_line(LINE, path)

    assert isinstance(along, Along)
    assert along.where_m == pytest.approx(np.linspace(100.0, 130.0, 11), abs=1e-3)
    assert along.offset_m == pytest.approx(-7.0, abs=1e-3)
    assert along.facing == pytest.approx(1.0, abs=1e-6)


def test_a_lane_is_found_where_a_drive_leaves_the_line_slowly_and_joins_it_again():
    road = stadium(400.0, 60.0)
    curve = Curve.through(road.at(np.arange(0.0, road.length_m, 4.0))[0], closed=True)
    chainage = curve.chainages(4.0)

    def in_lane(way):
        # On the second lap, from 60 m to 330 m of its first straight.
        return (way > road.length_m + 60.0) & (way < road.length_m + 330.0)

    path = path_along(
        road.at,
        0.0,
        3.0 * road.length_m,
        aside_m=lambda way: np.where(in_lane(way), 14.0, 0.0),
        speed_mps=lambda way: np.where(in_lane(way), 10.0, 20.0),
    )
    fitted = SimpleNamespace(
        curve=curve, chainage_m=chainage, speed_mps=np.full(len(chainage), 20.0)
    )

    lane = find_pit_lane(fitted, [path])

    assert lane.visits == 1
    position = lane.curve.position(lane.curve.chainages(5.0))
    where, aside = curve.project(position)
    assert aside.max() == pytest.approx(14.0, abs=0.5)
    assert where.min() == pytest.approx(60.0, abs=6.0)
    assert where.max() == pytest.approx(330.0, abs=6.0)
    # A course has no lane beside it.
    fitted.curve = Curve.through(curve.vertex_m, closed=False)
    assert find_pit_lane(fitted, [path]) is None
