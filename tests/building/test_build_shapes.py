"""Tracks built of roads of many shapes, driven either way, anywhere on Earth."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import built, furthest_from
from drives import (
    corner_speed,
    drive,
    figure_of_eight,
    hairpin_circuit,
    stadium,
)
from pyproj import Geod

from trackkit.building.build import build_track
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.geometry.shape import direction_of, self_crossings

# Direction


def test_a_track_driven_to_the_left_is_anticlockwise():
    assert built(hairpin_circuit(), cruise=10.0).track.direction == "anticlockwise"


def test_a_track_driven_to_the_right_is_clockwise():
    road = hairpin_circuit().mirrored()

    track = built(road, cruise=10.0).track

    assert track.direction == "clockwise"
    assert furthest_from(road, track) < 0.3
    assert {c.turn for c in track.corners} == {"left", "right"}
    assert [c.turn for c in track.corners].count("right") == 3


def test_the_line_runs_the_way_it_was_driven(athletics):
    (recording,) = [drive(stadium(), laps=1.2, cruise=12.0).recording(10, doppler=True)]
    backwards = replace(
        recording,
        longitude_deg=recording.longitude_deg[::-1],
        latitude_deg=recording.latitude_deg[::-1],
        course_deg=(recording.course_deg[::-1] + 180.0) % 360.0,
        speed_mps=recording.speed_mps[::-1],
    )

    assert build_track([backwards], "X").track.direction == "clockwise"


# Shapes


def test_a_figure_of_eight_has_no_direction_and_one_crossover():
    road = figure_of_eight()

    track = built(road, cruise=15.0).track

    assert track.direction is None
    assert track.length_m == pytest.approx(road.length_m, abs=0.1)
    (bridge,) = track.crossovers
    # The road crosses itself at 0 and at half its length, so the passages are half a lap apart.
    assert abs(bridge.over_m - bridge.under_m) == pytest.approx(road.length_m / 2, abs=0.3)
    crossing = track.curve.position([bridge.over_m, bridge.under_m])
    assert np.linalg.norm(crossing[0] - crossing[1]) < 0.1


def test_heights_tell_which_passage_of_a_figure_of_eight_is_the_bridge():
    road = figure_of_eight()
    outing = drive(road, begin_m=100.0, laps=1.15, cruise=15.0)
    recording = outing.recording(10, doppler=True)
    # The tangent that is driven at half the length rises 8 m above the other one.
    way, _ = outing.way(recording.time_s)
    chainage = (100.0 + way) % road.length_m
    hill = 8.0 * np.exp(-0.5 * ((chainage - road.length_m / 2) / 60.0) ** 2)

    result = build_track([replace(recording, elevation_m=hill)], "Eight")

    (bridge,) = result.track.crossovers
    assert result.track.curve.direction(bridge.over_m) == pytest.approx(
        road.at(road.length_m / 2)[1], abs=0.02
    )
    assert not any("do not tell" in remark for remark in result.remarks)


def test_hairpin_legs_eight_metres_apart_stay_two_legs():
    road = hairpin_circuit()
    outing = drive(road, begin_m=300.0, laps=3.2, cruise=corner_speed(road, 25.0))

    result = build_track([outing.recording(10, doppler=True)], "Hairpin")

    assert result.track.length_m == pytest.approx(road.length_m, rel=1e-3)
    assert self_crossings(result.track.curve) == []
    # The smoothing of the line rounds a hairpin of 4 m radius by some decimetres.
    assert furthest_from(road, result.track) < 0.7
    assert direction_of(result.track.curve) == "anticlockwise"


# Places on earth


@pytest.mark.slow
@pytest.mark.parametrize(
    "at",
    [(161.0, 47.0), (104.9, -37.8), (-180.0, 12.0), (179.9995, -27.0), (5.7, 70.0), (-20.0, 0.0)],
    ids=["north", "south", "antimeridian", "just-west-of-it", "70-north", "equator"],
)
def test_the_same_road_gives_the_same_track_anywhere(at):
    road = hairpin_circuit()
    track = built(road, cruise=10.0, at=at, sectors=3).track

    assert track.direction == "anticlockwise"
    assert track.length_m == pytest.approx(road.length_m, rel=1e-3)
    assert furthest_from(road, track, at) < 0.7
    # The length on the ellipsoid, by the polyline's geodesics (Karney 2013, by PROJ).
    line = track.centreline
    geodesic = Geod(ellps="WGS84").line_length(
        wrap_longitude(line.longitude_deg), line.latitude_deg
    )
    assert track.length_m == pytest.approx(geodesic, rel=2e-4)
    assert np.ptp(line.longitude_deg) < 0.02
    assert all(g.width_m == pytest.approx(20.0, abs=6.1) for g in track.gates)
