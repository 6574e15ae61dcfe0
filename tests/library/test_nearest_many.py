"""The nearest line to each of many positions."""

import numpy as np
import pytest
from lines_on_earth import WORLD, crude, least_distances, loop, moved, true_distance

from trackkit.library.lines import pack
from trackkit.library.nearest import nearest_few
from trackkit.library.nearest_many import nearest

FINE = pack(WORLD, fine=True)


def test_fixes_that_share_a_cell_get_what_each_would_get_alone():
    # Several circuits close together, and many fixes on and between them.
    generator = np.random.default_rng(7)
    lines = [loop((161.0 + 0.002 * n, 47.0), 150.0 + 20 * n, turn_deg=15.0 * n) for n in range(8)]
    packed = pack(lines)
    east, north = generator.uniform(-300, 1500, 6000), generator.uniform(-300, 300, 6000)
    longitude = 161.0 + east / 76_000.0
    latitude = 47.0 + north / 111_200.0

    line, distance = nearest(packed, longitude, latitude)

    for index in range(0, 6000, 40):
        alone, away = nearest(packed, longitude[index : index + 1], latitude[index : index + 1])
        assert distance[index] == pytest.approx(away[0], abs=1e-3)
        assert line[index] == alone[0] or abs(distance[index] - away[0]) < 1e-3


@pytest.mark.slow
def test_very_many_are_measured_exactly_at_any_distance():
    generator = np.random.default_rng(8)
    at = generator.uniform(0, 360, 25)
    away = 10 ** generator.uniform(0, 6.5, 25)
    places = [moved((180.0, -27.0), a, d) for a, d in zip(at, away, strict=True)]

    _, distance = nearest(FINE, [p[0] for p in places], [p[1] for p in places])

    for place, found in zip(places, distance.tolist(), strict=True):
        near = sorted(WORLD, key=lambda line, place=place: crude(*place, line))[:4]
        assert found == pytest.approx(least_distances(place, near, 1)[0], abs=0.1)


@pytest.mark.slow
def test_lines_may_be_of_very_different_lengths():
    # One long road of few positions among small circuits: cut finely, it hides nothing.
    road = (np.array([160.0, 163.0]), np.array([46.0, 48.0]))
    lines = [road, *(loop((161.0 + 0.1 * n, 47.0 + 0.05 * n), 300.0) for n in range(8))]
    packed = pack(lines)
    for place in [(161.5, 47.0), (161.61, 47.3), (160.0, 46.0), (163.1, 48.0), (161.0, 47.0)]:
        expected = [true_distance(*place, line) for line in lines]
        line, found = nearest_few(packed, *place, 2)
        assert found[:2] == pytest.approx(sorted(expected)[:2], abs=0.1)
        assert line[0] == int(np.argmin(expected))


def test_positions_that_repeat_do_no_harm():
    longitude, latitude = loop((161.0, 47.0), 500.0)
    repeated = (np.repeat(longitude, 2), np.repeat(latitude, 2))

    plain = nearest_few(pack([(longitude, latitude)]), 161.01, 47.001, 1)

    assert nearest_few(pack([repeated]), 161.01, 47.001, 1)[1] == pytest.approx(plain[1], abs=1e-4)


def test_few_lines_and_many_positions_are_searched_as_many_lines_are(monkeypatch):
    generator = np.random.default_rng(9)
    lines = [loop((161.0 + 0.01 * n, 47.0), 150.0 + 20 * n) for n in range(12)]
    packed = pack(lines, fine=True)
    longitude = 161.0 + generator.uniform(-0.05, 0.2, 3000)
    latitude = 47.0 + generator.uniform(-0.05, 0.05, 3000)

    # Every piece measured from every position, and a tree over the pieces, must say the same.
    monkeypatch.setattr("trackkit.library.lines._TREE_FROM_DISTANCES", 10**12)
    by_all = nearest(packed, longitude, latitude)
    assert "tree" not in vars(packed)
    monkeypatch.setattr("trackkit.library.lines._TREE_FROM_DISTANCES", 1)
    by_tree = nearest(packed, longitude, latitude)

    assert "tree" in vars(packed)
    assert by_tree[1] == pytest.approx(by_all[1], abs=1e-3)
    assert np.array_equal(by_tree[0], by_all[0])
