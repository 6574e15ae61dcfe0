"""The nearest lines to a position, against geographiclib and PROJ."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lines_on_earth import PLACES, WORLD, crude, least_distances, loop, moved, true_distance

from trackkit.library.lines import pack
from trackkit.library.nearest import nearest_few
from trackkit.library.nearest_many import nearest

LINES = pack(WORLD)
FINE = pack(WORLD, fine=True)


@pytest.mark.slow
@pytest.mark.parametrize("name", PLACES)
@pytest.mark.parametrize("distance", [0.0, 700.0, 60_000.0, 490_000.0])
def test_the_nearest_is_right_to_a_decimetre_everywhere(name, distance):
    place = moved(PLACES[name], 77.0 + distance / 1e4, distance)
    near = sorted(WORLD, key=lambda line: crude(*place, line))[:6]
    every = least_distances(place, near, 3)

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


def test_a_tree_finds_what_measuring_everything_finds(monkeypatch):
    generator = np.random.default_rng(6)
    lines = [
        loop(
            (float(generator.normal(161, 0.4)), float(generator.normal(47, 0.3))),
            float(generator.uniform(200, 3000)),
            turn_deg=float(generator.uniform(0, 180)),
        )
        for _ in range(150)
    ]
    longitude, latitude = generator.normal(161, 0.6, 300), generator.normal(47, 0.4, 300)
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


def test_between_vertices_far_apart_a_line_is_the_geodesic():
    # Two sides of 60 km each; at 55 degrees north the rhumb line is 40 m off the geodesic.
    north = (np.array([161.0, 161.9, 161.9]), np.array([55.0, 55.0, 55.5]))
    place = (161.45, 55.1)

    _, found = nearest_few(pack([north]), *place, 1)
    _, alone = nearest(pack([north], fine=True), [place[0]], [place[1]])

    assert found == pytest.approx([true_distance(*place, north)], abs=0.1)
    assert alone == pytest.approx([true_distance(*place, north)], abs=0.1)


def test_no_line_is_nearest_to_nothing():
    line, distance = nearest_few(pack([]), 161.0, 47.0, 3)
    assert (list(line), list(distance)) == ([], [])
    assert len(nearest(LINES, [], [])[0]) == 0
