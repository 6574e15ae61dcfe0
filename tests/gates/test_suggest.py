"""Suggested gates: the best of all choices, as brute force finds it, and fit places."""

import re
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import shapely
from checkout import TRACKS
from drives import Road, block_circuit, hairpin_circuit, hill_course, straight, track_of

from trackkit.errors import PlaceError
from trackkit.gates.choose import CLEAR_M
from trackkit.gates.quality import timing_quality
from trackkit.gates.suggest import (
    GRID_M,
    _corners_beside,
    best_places,
    best_split,
    candidate_grid,
    costs,
    windows,
    with_suggested_gates,
)
from trackkit.geometry.bends import find_bends
from trackkit.track.features import PitLane
from trackkit.track.file import read_track


def quality_of(road, **more):
    return timing_quality(track_of(road, gates=[("finish", "finish", 0.0)], spacing_m=2.0, **more))


@pytest.fixture(scope="module")
def block():
    return quality_of(block_circuit())


@pytest.fixture(scope="module")
def hairpin():
    return quality_of(hairpin_circuit())


# The optimum


@pytest.mark.slow
@pytest.mark.parametrize("by", ["time", "length", "corners"])
@pytest.mark.parametrize(("sectors", "grid_m"), [(2, 10.0), (3, 10.0), (4, 25.0)])
def test_it_is_the_best_of_all_combinations_on_a_coarse_grid(hairpin, sectors, grid_m, by):
    grid, _ = candidate_grid(hairpin, by, grid_m)
    cost = costs(hairpin, grid, sectors, by)
    every = []
    for choice in product(*windows(grid, sectors, by)):
        begin = np.array([-1, *choice])
        end = np.array([*choice, len(grid.place_m)])
        if np.all(np.diff(np.array(choice)) > 0):
            every.append((float(cost(begin, end).sum()), list(map(int, choice))))

    assert len(every) > 1
    assert best_places(hairpin, grid, sectors, by) == min(every)[1]


def test_the_fine_grid_is_no_worse_than_a_coarse_one(block):
    def worth(grid_m):
        places = [s.chainage_m for s in best_split(block, 3, "length", grid_m=grid_m)]
        ends = np.array([0.0, *places, block.curve.length_m])
        return float(block.sector_variance(ends[:-1], ends[1:]).sum())

    assert worth(GRID_M) <= worth(20.0) * 1.02


@pytest.mark.slow
@pytest.mark.parametrize("name", ["morrowfen", "pipwick-kart-circuit", "saltpenny-atoll-clockwise"])
def test_predicted_sector_times_are_surer_than_those_of_equal_lengths(name):
    quality = timing_quality(read_track(TRACKS / f"{name}.geojson"))
    length = quality.curve.length_m

    def rms(places):
        ends = np.array([0.0, *places, length])
        return float(np.sqrt(quality.sector_variance(ends[:-1], ends[1:]).mean()))

    suggested = rms([s.chainage_m for s in best_split(quality, 3, "length")])
    assert suggested < 0.9 * rms([length / 3, 2 * length / 3])


# Fit places


@pytest.mark.parametrize("sectors", [2, 3, 4, 5])
def test_gates_keep_out_of_braking_zones_and_away_from_apexes(block, sectors):
    bends, _ = find_bends(block.curve)
    for one in best_split(block, sectors):
        assert one.faults == ()
        assert block.at(block.acceleration_mps2, one.chainage_m) > -2.5
        assert min(block.curve.separation(one.chainage_m, b.apex_m) for b in bends) >= 15.0


def test_gates_keep_clear_of_other_track(hairpin):
    """Measured by shapely against the legs that run beside."""
    for one in best_split(hairpin, 3):
        if one.faults:
            continue
        here = shapely.Point(hairpin.curve.position(one.chainage_m))
        chainage = hairpin.curve.chainages(1.0)
        far = hairpin.curve.separation(chainage, one.chainage_m) > 60.0
        beside = shapely.MultiPoint(hairpin.curve.position(chainage[far]))
        assert here.distance(beside) > CLEAR_M - 1.0


def test_gates_keep_clear_of_the_pit_lane(block):
    before = [s.chainage_m for s in best_split(block, 2)]
    where = np.array([block.curve.position(before[0] + d) for d in (-60.0, 60.0)])
    aside = block.curve.left(before[0]) * 8.0
    position = where + aside
    longitude, latitude = block.track.plane.to_geographic(position)
    lane = PitLane("lane", np.asarray(longitude), np.asarray(latitude))
    (moved,) = best_split(replace(block, track=replace(block.track, pit_lanes=(lane,))), 2)

    assert moved.faults == ()
    line = shapely.LineString(position)
    assert shapely.Point(block.curve.position(moved.chainage_m)).distance(line) > 10.0


def test_where_nothing_is_fit_the_reason_says_so(block):
    crowded = replace(block.track, centreline=replace(block.track.centreline, width_m=600.0))
    position = block.curve.position(block.curve.chainages(5.0))
    longitude, latitude = block.track.plane.to_geographic(position + 1.0)
    lane = PitLane("lane", np.asarray(longitude), np.asarray(latitude))
    (one,) = best_split(replace(block, track=replace(crowded, pit_lanes=(lane,))), 2)

    assert one.faults == ("close to the pit lane",)
    assert "though it is close to the pit lane: nothing within reach is better" in one.reason


@pytest.mark.parametrize("sectors", [2, 3, 4])
def test_by_corners_no_corner_is_cut_in_two(block, sectors):
    bends, _ = find_bends(block.curve)
    for one in best_split(block, sectors, "corners"):
        for bend in bends:
            within = block.curve.along(bend.entry_m, one.chainage_m)
            assert within > block.curve.along(bend.entry_m, bend.exit_m)
        assert "on the straight between corner" in one.reason


def test_more_sectors_by_corners_than_straights_are_refused(block):
    with pytest.raises(PlaceError, match="4 straights"):
        best_split(block, 5, "corners")


def test_one_sector_needs_no_gate_and_too_many_are_refused(block):
    assert best_split(block, 1) == []
    with pytest.raises(PlaceError, match="too short"):
        best_split(block, 40)


def test_an_open_course_is_split_between_start_and_finish():
    gates = [("start", "start", 20.0), ("finish", "finish", 1200.0)]
    quality = timing_quality(track_of(hill_course(), gates=gates, spacing_m=2.0))
    places = [s.chainage_m for s in best_split(quality, 3)]

    assert 20.0 < places[0] < places[1] < 1200.0


# Put in place


def test_suggestions_replace_the_sector_gates_and_a_second_time_change_nothing(block):
    found = best_split(block, 3)
    once, _ = with_suggested_gates(block.track, found)
    twice, _ = with_suggested_gates(once, found)

    assert [g.kind for g in once.gates] == ["finish", "sector", "sector"]
    assert [g.chainage_m for g in once.gates[1:]] == pytest.approx(
        [s.chainage_m for s in found], abs=0.01
    )
    assert [g.id for g in twice.gates] == [g.id for g in once.gates]


@pytest.mark.slow
@pytest.mark.parametrize("by", ["time", "length"])
@pytest.mark.parametrize("name", ["twistlemoor", "morrowfen", "ruddlebeck-short"])
def test_no_sector_is_shorter_than_half_an_even_one(name, by):
    track = read_track(TRACKS / f"{name}.geojson")
    quality = timing_quality(track)

    places = [0.0, *(one.chainage_m for one in best_split(quality, 3, by)), track.length_m]

    share = np.array(places) if by == "length" else np.array(quality.passed_s(np.array(places)))
    share = np.diff(share) / (share[-1] - share[0])
    assert share.min() > 0.5 / 3 - 0.01


def test_a_gate_may_lie_less_than_half_a_sector_from_its_even_place(block):
    grid, _ = candidate_grid(block, "time", 10.0)

    for number, inside in enumerate(windows(grid, 4, "time"), start=1):
        # No place is within reach of two gates.
        assert np.abs(grid.share[inside] - number / 4).max() < 0.5 / 4
        outside = np.setdiff1d(np.arange(len(grid.share)), inside)
        assert np.abs(grid.share[outside] - number / 4).min() > 0.4 / 4


def test_by_corners_a_gate_may_go_on_the_straights_beside_its_even_place(block):
    grid, _ = candidate_grid(block, "corners", 10.0)

    (inside,) = windows(grid, 2, "corners")

    assert np.abs(grid.share[inside] - 0.5).max() > 0.4


def test_a_suggestion_says_the_speed_and_the_sigma_that_it_rests_on(block):
    for suggestion in best_split(block, 3, "length"):
        (speed,) = re.findall(r"pass at (\d+) km/h", suggestion.reason)
        sigma, there = re.findall(r"([\d.]+) ms", suggestion.reason)
        (even,) = re.findall(r"at (\d+) m, where the split", suggestion.reason)
        at = suggestion.chainage_m
        assert float(speed) == pytest.approx(3.6 * block.at(block.speed_mps, at), abs=0.5)
        assert float(sigma) == pytest.approx(1e3 * block.at(block.sigma_s, at), abs=0.05)
        even_sigma = 1e3 * block.at(block.sigma_s, suggestion.even_m)
        assert float(there) == pytest.approx(even_sigma, abs=0.05)
        assert float(even) == pytest.approx(suggestion.even_m, abs=0.5)
    thirds = [suggestion.even_m for suggestion in best_split(block, 3, "length")]
    assert thirds == pytest.approx(
        [block.curve.length_m / 3, 2 * block.curve.length_m / 3], abs=1.5
    )


@pytest.mark.parametrize(
    ("chainage_m", "corners"),
    [(100.0, (4, 1)), (300.0, (1, 2)), (700.0, (2, 3)), (1300.0, (4, 1)), (10.0, (4, 1))],
)
def test_a_place_on_a_lap_is_between_two_corners(block, chainage_m, corners):
    # Apexes at 223.6, 470.7, 917.8 and 1,164.9 m.
    assert _corners_beside(block.track, chainage_m) == corners


def test_a_place_on_a_course_may_have_no_corner_before_or_after_it():
    course = track_of(hill_course(), spacing_m=2.0)

    # Bends from 300 to 394 m, 594 to 762 m and 1,012 m to the end.
    assert _corners_beside(course, 100.0) == (None, 1)
    assert _corners_beside(course, 500.0) == (1, 2)
    assert _corners_beside(course, 1250.0) == (3, None)
    straight_on = track_of(Road((straight(300.0),), closed=False), spacing_m=5.0)
    assert _corners_beside(straight_on, 100.0) == (None, None)
