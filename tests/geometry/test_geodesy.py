"""Metres on a plane, bearings and distances agree with GeographicLib and PROJ."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod, Proj

from trackkit.geometry.geodesy import (
    LocalPlane,
    bearing_deg,
    distance_to_polyline,
    distance_to_segments,
    geodesic_distance,
    polyline_length,
    unwrap_longitude,
    wrap_longitude,
)

GEOD = Geod(ellps="WGS84")
PLACES = [
    (-21.02, 52.08),
    (104.96, -37.85),
    (5.7, 80.0),
    (-70.0, -80.0),
    (15.0, 89.99),
    (0.0, -90.0),
    (180.0, -26.5),
    (-179.99, 59.0),
    (66.8, 0.0),
]

longitudes = st.floats(-180, 180)
latitudes = st.floats(-89.99, 89.99)


def around(place, reach_m, count=200, seed=5):
    """Positions scattered over a disc, as (longitude, latitude) columns."""
    random = np.random.default_rng(seed)
    longitude, latitude, _ = GEOD.fwd(
        np.full(count, place[0]),
        np.full(count, place[1]),
        random.uniform(0, 360, count),
        reach_m * np.sqrt(random.uniform(0, 1, count)),
    )
    return np.array(longitude), np.array(latitude)


@pytest.mark.parametrize("place", PLACES)
def test_scale_errs_by_less_than_one_part_per_million_within_five_kilometres(place):
    # The true distances are GeographicLib's (Karney 2013).
    longitude, latitude = around(place, 5000.0)
    plane = LocalPlane(*place)
    for bearing in (0.0, 45.0, 90.0, 200.0):
        ahead = [
            Geodesic.WGS84.Direct(lat, lon, bearing, 25.0)
            for lon, lat in zip(longitude, latitude, strict=True)
        ]
        end = plane.to_plane([a["lon2"] for a in ahead], [a["lat2"] for a in ahead])
        length = np.linalg.norm(end - plane.to_plane(longitude, latitude), axis=1)
        assert np.abs(length / 25.0 - 1).max() < 1e-6


@pytest.mark.parametrize("place", PLACES)
def test_the_way_to_the_plane_and_back_ends_where_it_began(place):
    longitude, latitude = around(place, 5000.0)
    plane = LocalPlane(*place)
    back_longitude, back_latitude = plane.to_geographic(plane.to_plane(longitude, latitude))
    _, _, apart = GEOD.inv(longitude, latitude, back_longitude, back_latitude)
    assert np.max(apart) < 1e-6


@pytest.mark.parametrize("place", PLACES)
def test_convergence_is_the_meridian_convergence_of_proj(place):
    longitude, latitude = around(place, 5000.0)
    factors = Proj(proj="tmerc", lat_0=place[1], lon_0=place[0], k=1, ellps="WGS84").get_factors(
        longitude, latitude
    )
    difference = LocalPlane(*place).convergence_deg(longitude, latitude)
    difference = (difference - np.array(factors.meridian_convergence) + 180) % 360 - 180
    # The docstring allows a thousandth of a degree.
    assert np.abs(difference).max() < 1e-3


@pytest.mark.parametrize("place", PLACES)
def test_a_true_bearing_less_convergence_is_the_bearing_on_the_plane(place):
    longitude, latitude = around(place, 4000.0)
    true_bearing = np.linspace(0.0, 359.0, len(longitude))
    end_longitude, end_latitude, _ = GEOD.fwd(
        longitude, latitude, true_bearing, np.full(len(longitude), 1.0)
    )
    plane = LocalPlane(*place)
    step = plane.to_plane(end_longitude, end_latitude) - plane.to_plane(longitude, latitude)
    expected = true_bearing - plane.convergence_deg(longitude, latitude)
    assert np.abs((bearing_deg(step) - expected + 180) % 360 - 180).max() < 0.01


def test_bearings_run_clockwise_from_north():
    directions = [[0, 1], [1, 0], [0, -1], [-1, 0], [1, 1]]
    assert bearing_deg(directions) == pytest.approx([0, 90, 180, 270, 45])


def test_positions_astride_the_antimeridian_lie_side_by_side_on_the_plane():
    plane = LocalPlane.around([179.999, -179.999], [10.0, 10.0])
    wrapped = plane.to_plane([179.999, -179.999], [10.0, 10.0])
    continuous = plane.to_plane([179.999, 180.001], [10.0, 10.0])
    assert wrapped == pytest.approx(continuous, abs=1e-6)
    _, _, apart = GEOD.inv(179.999, 10.0, -179.999, 10.0)
    assert np.linalg.norm(wrapped[1] - wrapped[0]) == pytest.approx(apart, rel=1e-6)


def test_longitudes_come_back_continuous_around_the_origin():
    plane = LocalPlane(179.999, -26.0)
    longitude, _ = plane.to_geographic([[-1000.0, 0.0], [1000.0, 0.0]])
    assert longitude[0] < 180 < longitude[1]


@pytest.mark.parametrize("away_deg", [88.0, 89.99, 90.0, 91.0, 179.0])
def test_positions_a_quarter_of_the_earth_away_are_as_far_and_in_the_same_direction(away_deg):
    plane = LocalPlane(66.8, 0.0)
    longitude, latitude = np.array([66.8 + away_deg, 67.3]), np.array([0.0, 0.25])
    position = plane.to_plane(longitude, latitude)
    azimuth, _, distance = GEOD.inv(66.8, 0.0, longitude[0], latitude[0])
    if away_deg >= 90.0:
        assert np.hypot(*position[0]) == pytest.approx(distance, rel=1e-9)
    assert np.degrees(np.arctan2(*position[0])) == pytest.approx(azimuth, abs=1e-6)
    # What is near stays where the projection has it.
    assert position[1] == pytest.approx(plane.to_plane(67.3, 0.25), abs=1e-9)


def test_a_plane_is_centred_on_the_box_of_its_positions():
    plane = LocalPlane.around([179.98, -179.98, -179.96], [1.0, 3.0, 2.0])
    assert float(wrap_longitude(plane.longitude_deg)) == pytest.approx(-179.99)
    assert plane.latitude_deg == pytest.approx(2.0)


@given(longitudes, latitudes, longitudes, latitudes)
def test_distance_agrees_with_geographiclib(lon_a, lat_a, lon_b, lat_b):
    expected = Geodesic.WGS84.Inverse(lat_a, lon_a, lat_b, lon_b)["s12"]
    assert geodesic_distance(lon_a, lat_a, lon_b, lat_b) == pytest.approx(expected, abs=1e-6)


@given(longitudes, latitudes, longitudes, latitudes)
def test_distance_is_the_same_both_ways(lon_a, lat_a, lon_b, lat_b):
    there = geodesic_distance(lon_a, lat_a, lon_b, lat_b)
    assert there == pytest.approx(geodesic_distance(lon_b, lat_b, lon_a, lat_a), abs=1e-6)


def test_a_line_of_a_degree_of_latitude_has_its_handbook_length():
    # A degree of latitude centred on the equator is 110.574 km, at 45 degrees 111.132 km, on
    # WGS 84 (table of lengths of a degree in geodesy texts; from memory).
    assert polyline_length([0, 0], [-0.5, 0.5]) == pytest.approx(110_574, abs=1)
    assert polyline_length([0, 0, 0], [44.5, 45, 45.5]) == pytest.approx(111_132, abs=1)


def test_the_length_of_a_line_does_not_depend_on_where_its_longitudes_wrap():
    latitude = [-26.0, -26.001, -26.002]
    continuous = polyline_length([179.999, 180.0005, 180.002], latitude)
    assert polyline_length([179.999, -179.9995, -179.998], latitude) == pytest.approx(continuous)
    expected = sum(
        Geodesic.WGS84.Inverse(*pair)["s12"]
        for pair in [(-26, 179.999, -26.001, -179.9995), (-26.001, -179.9995, -26.002, -179.998)]
    )
    assert continuous == pytest.approx(expected, abs=1e-6)


@given(st.floats(-3000, 3000))
def test_wrapping_keeps_the_meridian_and_stays_within_half_a_turn(longitude):
    wrapped = float(wrap_longitude(longitude))
    assert -180 <= wrapped <= 180
    turns = (longitude - wrapped) / 360
    assert turns == pytest.approx(round(turns), abs=1e-9)


@given(longitudes)
def test_a_longitude_already_within_half_a_turn_is_not_touched(longitude):
    assert float(wrap_longitude(longitude)) == longitude


@given(st.floats(-180, 180), st.lists(st.floats(-1, 1), min_size=1, max_size=50))
def test_unwrapping_undoes_wrapping_of_a_continuous_line(start, steps):
    line = start + np.concatenate([[0], np.cumsum(steps)])
    assert unwrap_longitude(wrap_longitude(line)) == pytest.approx(
        line - line[0] + float(wrap_longitude(line[0])), abs=1e-9
    )


def test_distance_to_a_line_is_the_geodesic_distance_to_its_nearest_place():
    # The foot of the perpendicular is made 40 m along a segment of 100 m; the position is set
    # 730 m square to it, so it is 730 m from the line (GeographicLib).
    begin = (161.0, 46.0)
    end = Geodesic.WGS84.Direct(begin[1], begin[0], 30.0, 100.0)
    foot = Geodesic.WGS84.Direct(begin[1], begin[0], 30.0, 40.0)
    aside = Geodesic.WGS84.Direct(foot["lat2"], foot["lon2"], foot["azi2"] + 90, 730.0)
    line = ([begin[0], end["lon2"]], [begin[1], end["lat2"]])
    found = distance_to_polyline(aside["lon2"], aside["lat2"], *line)
    assert found == pytest.approx(730.0, abs=1e-3)


def test_distance_to_a_line_beyond_its_end_is_the_distance_to_the_end():
    found = distance_to_polyline(161.01, 46.0, [161.0, 161.001], [46.0, 46.0])
    expected = Geodesic.WGS84.Inverse(46.0, 161.01, 46.0, 161.001)["s12"]
    assert found == pytest.approx(expected, abs=1e-3)


def test_distance_to_a_line_is_measured_across_the_antimeridian():
    found = distance_to_polyline(-179.999, 0.0, [179.998, 179.999], [0.0, 0.0])
    expected = Geodesic.WGS84.Inverse(0.0, -179.999, 0.0, 179.999)["s12"]
    assert found == pytest.approx(expected, abs=1e-3)


def test_a_repeated_vertex_does_not_spoil_the_distance_to_a_line():
    found = distance_to_polyline(161.0, 46.001, [161.0, 161.0, 161.001], [46.0, 46.0, 46.0])
    expected = Geodesic.WGS84.Inverse(46.001, 161.0, 46.0, 161.0)["s12"]
    assert found == pytest.approx(expected, abs=1e-3)


def test_of_several_segments_the_nearest_counts():
    # East along the equator, then north along a meridian, then east again.
    line = [0.0, 0.01, 0.01, 0.02], [0.0, 0.0, 0.01, 0.01]
    for longitude, latitude, foot in (
        (0.005, 0.001, (0.005, 0.0)),
        (0.0105, 0.005, (0.01, 0.005)),
        (0.015, 0.012, (0.015, 0.01)),
    ):
        expected = Geodesic.WGS84.Inverse(latitude, longitude, foot[1], foot[0])["s12"]
        assert distance_to_polyline(longitude, latitude, *line) == pytest.approx(expected, abs=0.01)


plane_m = st.floats(-100, 100).map(lambda metres: round(metres, 3))
points = st.lists(st.tuples(plane_m, plane_m), min_size=2, max_size=6)


@given(points, st.tuples(plane_m, plane_m))
def test_the_nearest_segment_is_as_far_as_shapely_says(vertices, place):
    vertex = np.array(vertices)
    away = distance_to_segments(place, vertex[:-1], vertex[1:])
    by_shapely = [
        shapely.Point(place).distance(
            shapely.Point(begin) if begin == end else shapely.LineString([begin, end])
        )
        for begin, end in pairwise(vertices)
    ]
    assert away == pytest.approx(by_shapely, abs=1e-6)
