"""The nearest of many lines, against measuring every one with geographiclib."""

from itertools import pairwise

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from trackkit.library.lines import FAR_M, arc_m, earth_centred, on_ellipsoid, pack
from trackkit.library.nearest import nearest_few
from trackkit.library.nearest_many import nearest

EARTH = Geodesic.WGS84
"""Karney, Algorithms for geodesics, 2013; geographiclib is his own implementation."""
GEOD = Geod(ellps="WGS84")


def loop(at, size_m, *, vertices=40, squash=0.6, turn_deg=0.0):
    """A closed line around a place, longitudes and latitudes, drawn by geodesics from there."""
    angle = np.linspace(0.0, 2 * np.pi, vertices)
    x, y = np.cos(angle), squash * np.sin(angle)
    azimuth = np.degrees(np.arctan2(x, y)) + turn_deg
    distance = size_m * np.hypot(x, y)
    longitude, latitude, _ = GEOD.fwd(
        np.full(vertices, at[0]), np.full(vertices, at[1]), azimuth, distance
    )
    longitude, latitude = np.unwrap(longitude, period=360.0), np.asarray(latitude)
    longitude[-1], latitude[-1] = longitude[0], latitude[0]
    return longitude, latitude


def true_distance(longitude, latitude, line, limit=np.inf):
    """Distance to a polyline of geodesics by geographiclib alone; above `limit`, no less than it.

    Along each segment that can be nearest the distance is searched in thirds, to about 1 mm.
    """
    vertex = list(zip(line[0].tolist(), line[1].tolist(), strict=True))
    away = [EARTH.Inverse(latitude, longitude, lat, lon)["s12"] for lon, lat in vertex]
    best = min(away)
    segments = []
    for number, ((lon1, lat1), (lon2, lat2)) in enumerate(pairwise(vertex)):
        segment = EARTH.InverseLine(lat1, lon1, lat2, lon2)
        # No point of it is nearer than this, by the triangle's sides.
        segments.append((0.5 * (away[number] + away[number + 1] - segment.s13), number, segment))
    for least, _, segment in sorted(segments, key=lambda one: one[:2]):
        if least > min(best, limit):
            break

        def at(along, segment=segment):
            place = segment.Position(along)
            return EARTH.Inverse(latitude, longitude, place["lat2"], place["lon2"])["s12"]

        low, high = 0.0, segment.s13
        while high - low > 0.1:
            third = (high - low) / 3
            if at(low + third) < at(high - third):
                high -= third
            else:
                low += third
        best = min(best, at(low), at(0.5 * (low + high)), at(high))
    return best


def moved(at, azimuth, distance):
    place = EARTH.Direct(at[1], at[0], azimuth, distance)
    return place["lon2"], place["lat2"]


PLACES = {
    "home": (11.0, 47.0), "antimeridian": (180.0, -17.0), "east-of-it": (-179.99, 52.0),
    "north-pole": (30.0, 89.999), "at-the-pole": (0.0, 90.0), "south-pole": (0.0, -89.99),
    "equator": (0.0, 0.0),
}  # fmt: skip
WORLD = [
    *(loop(at, 900.0) for at in PLACES.values()),
    *(loop(at, 3_300.0, vertices=24) for at in PLACES.values()),  # 20 km round, 700 m segments
    *(loop((11.0, 47.0), size) for size in (250.0, 400.0, 410.0, 7_000.0)),  # nested
    loop((11.3, 47.2), 500.0, turn_deg=40.0),
]
LINES = pack(WORLD)
FINE = pack(WORLD, fine=True)


@pytest.mark.parametrize("name", PLACES)
@pytest.mark.parametrize("distance", [0.0, 700.0, 60_000.0, 490_000.0])
def test_the_nearest_is_right_to_a_decimetre_everywhere(name, distance):
    place = moved(PLACES[name], 77.0 + distance / 1e4, distance)
    near = sorted(WORLD, key=lambda line: crude(*place, line))[:6]
    every = sorted(true_distance(*place, line) for line in near)

    line, found = nearest_few(LINES, *place, 3)
    one, alone = nearest(FINE, [place[0]], [place[1]])

    assert found[:3] == pytest.approx(every[:3], abs=0.1)
    assert alone[0] == pytest.approx(every[0], abs=0.1)
    for named in {line[0], int(one[0])}:
        assert true_distance(*place, WORLD[named]) == pytest.approx(every[0], abs=0.1)


@pytest.mark.parametrize("name", PLACES)
def test_it_is_right_at_the_antipodes_too(name):
    longitude, latitude = PLACES[name]
    place = (longitude + 179.9, -latitude + (0.05 if latitude > 0 else -0.05))
    only = [loop(PLACES[name], 900.0), loop(PLACES[name], 3_300.0)]

    line, found = nearest_few(pack(only), *place, 2)

    expected = [true_distance(*place, only[one]) for one in line]
    assert found == pytest.approx(expected, abs=0.1)
    assert expected == sorted(expected)


@settings(max_examples=30, deadline=None)
@given(st.floats(-180, 180), st.floats(-90, 90))
def test_from_anywhere_on_earth_the_nearest_three_are_those_of_measuring_every_one(lon, lat):
    every = sorted(float(d) for d in (crude(lon, lat, line) for line in WORLD))

    line, found = nearest_few(LINES, lon, lat, 3)

    # Every vertex by PROJ bounds the truth from above to half a segment.
    assert len(set(line[:3])) == 3
    for mine, theirs in zip(found[:3], every[:3], strict=True):
        assert theirs - 500.0 <= mine <= theirs + 0.1


def crude(lon, lat, line):
    return np.min(GEOD.inv(np.full(len(line[0]), lon), np.full(len(line[0]), lat), *line)[2])


def test_a_tree_finds_what_measuring_everything_finds(monkeypatch):
    generator = np.random.default_rng(6)
    lines = [
        loop((float(generator.normal(11, 0.4)), float(generator.normal(47, 0.3))),
             float(generator.uniform(200, 3000)), turn_deg=float(generator.uniform(0, 180)))
        for _ in range(150)
    ]  # fmt: skip
    longitude, latitude = generator.normal(11, 0.6, 300), generator.normal(47, 0.4, 300)
    by_all = pack(lines)
    expected = [
        nearest_few(by_all, *place, 4, 500.0) for place in zip(longitude, latitude, strict=True)
    ]
    monkeypatch.setattr("trackkit.library.lines._TREE_FROM_PIECES", 1)
    monkeypatch.setattr("trackkit.library.nearest._FIRST_LOOK", 3)
    by_tree = pack(lines, fine=True)

    few = [
        nearest_few(by_tree, *place, 4, 500.0) for place in zip(longitude, latitude, strict=True)
    ]
    line, distance = nearest(by_tree, longitude, latitude)

    for (ours, away), (theirs, true) in zip(few, expected, strict=True):
        assert away[:4] == pytest.approx(true[:4], abs=1e-3)
        assert ours[:4] == theirs[:4]
        assert {one for one, d in zip(ours, away, strict=True) if d <= 500} == {
            one for one, d in zip(theirs, true, strict=True) if d <= 500
        }
    assert distance == pytest.approx([true[0] for _, true in expected], abs=1e-2)
    assert line.tolist() == [theirs[0] for theirs, _ in expected]


def test_fixes_that_share_a_cell_get_what_each_would_get_alone():
    # Several circuits close together, and many fixes on and between them.
    generator = np.random.default_rng(7)
    lines = [loop((11.0 + 0.002 * n, 47.0), 150.0 + 20 * n, turn_deg=15.0 * n) for n in range(8)]
    packed = pack(lines)
    east, north = generator.uniform(-300, 1500, 6000), generator.uniform(-300, 300, 6000)
    longitude = 11.0 + east / 76_000.0
    latitude = 47.0 + north / 111_200.0

    line, distance = nearest(packed, longitude, latitude)

    for index in range(0, 6000, 40):
        alone, away = nearest(packed, longitude[index : index + 1], latitude[index : index + 1])
        assert distance[index] == pytest.approx(away[0], abs=1e-3)
        assert line[index] == alone[0] or abs(distance[index] - away[0]) < 1e-3


def test_very_many_are_measured_exactly_at_any_distance():
    generator = np.random.default_rng(8)
    at = generator.uniform(0, 360, 25)
    away = 10 ** generator.uniform(0, 6.5, 25)
    places = [moved((180.0, -17.0), a, d) for a, d in zip(at, away, strict=True)]

    _, distance = nearest(FINE, [p[0] for p in places], [p[1] for p in places])

    for place, found in zip(places, distance.tolist(), strict=True):
        near = sorted(WORLD, key=lambda line, place=place: crude(*place, line))[:4]
        assert found == pytest.approx(min(true_distance(*place, one) for one in near), abs=0.1)


def test_lines_may_be_of_very_different_lengths():
    # One long road of few positions among small circuits: cut finely, it hides nothing.
    road = (np.array([10.0, 13.0]), np.array([46.0, 48.0]))
    lines = [road, *(loop((11.0 + 0.1 * n, 47.0 + 0.05 * n), 300.0) for n in range(8))]
    packed = pack(lines)
    for place in [(11.5, 47.0), (11.61, 47.3), (10.0, 46.0), (13.1, 48.0), (11.0, 47.0)]:
        expected = [true_distance(*place, line) for line in lines]
        line, found = nearest_few(packed, *place, 2)
        assert found[:2] == pytest.approx(sorted(expected)[:2], abs=0.1)
        assert line[0] == int(np.argmin(expected))


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-180, 180), st.floats(-90, 90), st.floats(-180, 180), st.floats(0.0, FAR_M * 0.999)
)
def test_an_arc_over_its_chord_is_the_geodesic(longitude, latitude, azimuth, distance):
    there = EARTH.Direct(latitude, longitude, azimuth, distance)
    start = earth_centred(longitude, latitude)
    end = earth_centred(there["lon2"], there["lat2"])

    found = arc_m(float(np.linalg.norm(end - start)), start.tolist(), end.tolist())

    assert float(found) == pytest.approx(distance, abs=1.5e-3)


@given(st.floats(-180, 180), st.floats(-90, 90))
def test_earth_centred_positions_are_projs(longitude, latitude):
    # EPSG:4978 is the Earth-centred frame of WGS 84.
    from pyproj import Transformer

    transformer = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    expected = transformer.transform(longitude, latitude, 0.0)

    place = earth_centred(longitude, latitude)

    assert place == pytest.approx(expected, abs=1e-6)
    back = on_ellipsoid(place)
    assert EARTH.Inverse(float(back[1]), float(back[0]), latitude, longitude)["s12"] < 1e-6


def test_no_line_is_nearest_to_nothing():
    line, distance = nearest_few(pack([]), 11.0, 47.0, 3)
    assert (list(line), list(distance)) == ([], [])
    assert len(nearest(LINES, [], [])[0]) == 0


def test_positions_that_repeat_do_no_harm():
    longitude, latitude = loop((11.0, 47.0), 500.0)
    repeated = (np.repeat(longitude, 2), np.repeat(latitude, 2))

    plain = nearest_few(pack([(longitude, latitude)]), 11.01, 47.001, 1)

    assert nearest_few(pack([repeated]), 11.01, 47.001, 1)[1] == pytest.approx(plain[1], abs=1e-4)
