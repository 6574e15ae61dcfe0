"""One line through laps that lie beside each other."""

from dataclasses import replace

import numpy as np
import pytest
from drives import drive, stadium
from laid_paths import lap_along

from trackkit.building.average import Reading
from trackkit.building.fit import _heights, _most_typical, first_guess, fit_line
from trackkit.building.layouts import all_laps
from trackkit.building.path import path_driven
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth


def test_laps_shifted_as_a_whole_meet_half_way_and_show_no_spread():
    # The same lap recorded twice, once 2 m farther north: a receiver's wander between two days.
    recording = drive(stadium(), begin_m=20.0, laps=1.2, cruise=12.0).recording(10, doppler=True)
    north = replace(recording, latitude_deg=recording.latitude_deg + 2.0 / 111_195.0)
    plane = LocalPlane(161.0, 47.0)
    laps = [
        lap
        for each in (recording, north)
        for lap in all_laps(path_driven(smooth(each, plane)), "x")
    ]

    line = fit_line(laps, closed=True)

    assert len(line.laps) == 2
    assert line.spread_m.max() < 0.1
    _, offset = line.curve.project(stadium().at(np.arange(0.0, 400.0, 4.0))[0] + [0.0, 1.0])
    assert np.abs(offset).max() < 0.1


def wandering_lap(north_m):
    """A lap of the oval, begun towards east, on which the receiver wanders evenly to the north."""
    road = stadium()

    def road_at(chainage):
        position, ahead = road.at(chainage)
        share = (chainage / road.length_m)[:, None]
        return position + share * np.array([0.0, north_m]), ahead

    return road, lap_along(road_at, road.length_m)


@pytest.mark.parametrize("north_m", [2.0, -2.0])
def test_a_first_guess_takes_an_even_wander_out_of_a_lap_that_ends_beside_its_beginning(north_m):
    road, lap = wandering_lap(north_m)

    curve = first_guess(lap, closed=True)

    assert curve.length_m == pytest.approx(road.length_m, abs=0.5)
    _, offset = curve.project(road.at(np.arange(0.0, 400.0, 5.0))[0])
    assert np.abs(offset).max() < 0.2


def test_a_first_guess_is_the_same_where_the_recording_ends_with_the_lap():
    road, lap = wandering_lap(2.0)
    last = replace(lap, end=len(lap.path.position_m))

    curve = first_guess(last, closed=True)

    assert curve.length_m == pytest.approx(road.length_m, abs=0.5)
    _, offset = curve.project(road.at(np.arange(0.0, 400.0, 5.0))[0])
    assert np.abs(offset).max() < 0.2


def test_more_than_a_receivers_wander_is_not_taken_out_of_a_lap():
    _, lap = wandering_lap(10.0)

    curve = first_guess(lap, closed=True)

    # Of 10 m only 3 m are; half way round, half as much.
    _, offset = curve.project(lap.path.position_m[len(lap.path.position_m) // 2])
    assert abs(float(offset)) == pytest.approx(1.5, abs=0.3)


def test_the_most_typical_lap_is_the_one_of_median_length():
    laps = [lap_along(stadium().at, length) for length in (420.0, 390.0, 401.0, 900.0, 399.0)]

    assert _most_typical(laps) == 2
    assert _most_typical(laps[:2]) == 1
    assert _most_typical(laps[:1]) == 0


def test_heights_are_the_mean_of_the_laps_that_have_most_of_them():
    curve = first_guess(lap_along(stadium().at, stadium().length_m), closed=True)
    count = len(curve.chainages(1.0))

    def reading(height, missing=0.0):
        heights = np.full(count, height)
        heights[: int(missing * count)] = np.nan
        return Reading(np.zeros(count), np.ones(count), heights, np.arange(float(count)))

    assert _heights(curve, [reading(100.0), reading(104.0)]) == pytest.approx(102.0)
    assert _heights(curve, [reading(100.0, 0.1), reading(500.0, 0.3)]) == pytest.approx(100.0)
    assert np.isnan(_heights(curve, [reading(100.0, 0.5)])).all()
