"""Crossings, directions and lengths of lines, where school geometry tells them."""

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from plane_roads import circuit, course

from trackkit.geometry import shape
from trackkit.geometry.curve import Curve
from trackkit.geometry.shape import (
    _near,
    chords_of,
    direction_of,
    self_crossings,
    surface_length,
)


def test_a_line_crosses_itself_also_where_it_does_so_at_a_sampled_place():
    # A Lissajous curve, x = sin t, y = sin 2t: through the origin at t = 0 and t = pi, along
    # (1, 2) and (-1, 2), which are 2 arctan(1/2) = 53.1 degrees apart.  Of many sizes some are
    # sampled at the very crossing.
    t = np.arange(100) * (np.pi / 100)
    half = np.column_stack([np.sin(t), np.sin(2 * t)])
    for size_m in np.arange(20.0, 120.0):
        curve = Curve.through(size_m * np.concatenate([half, half * [-1, 1]]), closed=True)

        ((first, second, angle),) = self_crossings(curve)

        assert second - first == pytest.approx(curve.length_m / 2, abs=1.0)
        assert np.linalg.norm(curve.position([first, second]), axis=1).max() < 0.01
        assert angle == pytest.approx(np.degrees(2 * np.arctan(0.5)), abs=2.0)


RING = circuit(("l", 50.0, 360))
SLOPE = course(("s", 300.0))


def test_a_level_line_is_longer_by_its_height_over_the_earths_radius():
    chainage = RING.chainages(5.0)

    raised = surface_length(RING, chainage, np.full(len(chainage), 2000.0))

    # Circles about the earth's centre: their lengths are as their radii.
    assert raised == pytest.approx(RING.length_m * (1 + 2000.0 / 6_371_009), rel=1e-9)


def test_a_slope_is_as_long_as_its_hypotenuse():
    chainage = SLOPE.chainages(5.0)

    # 3 to 4 to 5.
    assert surface_length(SLOPE, chainage, 0.75 * chainage) == pytest.approx(375.0, rel=3e-5)


def test_a_closed_line_counts_the_slope_that_leads_back_to_its_beginning():
    # Up evenly all the way round, and down again in the last 5 m.
    chainage = RING.chainages(5.0)
    step = float(chainage[1])
    height = 0.1 * chainage

    level = RING.length_m - step
    expected = level * np.hypot(1.0, 0.1) + np.hypot(step, height[-1])
    assert surface_length(RING, chainage, height) == pytest.approx(expected, rel=1e-5)


def test_without_every_height_there_is_no_length_on_the_ground():
    height = np.zeros(len(RING.chainages(5.0)))
    height[3] = np.nan

    assert surface_length(RING, RING.chainages(5.0), height) is None


@pytest.mark.parametrize(
    ("curve", "direction"),
    [
        (RING, "anticlockwise"),
        (circuit(("r", 50.0, 360)), "clockwise"),
        (circuit(("l", 50.0, 360), ("r", 50.0, 360)), None),
        (course(("l", 50.0, 350)), None),
    ],
    ids=["left", "right", "figure-of-eight", "open"],
)
def test_the_direction_is_the_way_a_closed_line_turns(curve, direction):
    assert direction_of(curve) == direction


def test_an_open_line_may_cross_itself_but_its_ends_do_not_meet():
    # A loop of three quarters: out along the x axis, round, and back across it.
    loop = course(("s", 100.0), ("l", 30.0, 270), ("s", 100.0))

    ((first, second, angle),) = self_crossings(loop)

    # The arc ends 30 m before and 30 m above its beginning, heading down.
    assert first == pytest.approx(70.0, abs=0.1)
    assert second == pytest.approx(100.0 + 1.5 * np.pi * 30.0 + 30.0, abs=0.1)
    assert angle == pytest.approx(90.0, abs=0.5)


def test_of_two_crossings_each_is_told_once_in_order():
    # A Lissajous curve of three lobes, x = cos t, y = sin 3t: at t and -t it is at one place where
    # sin 3t = 0, which is at x = 1/2 and at x = -1/2.
    t = np.linspace(0.0, 2 * np.pi, 200, endpoint=False) + 0.2
    curve = Curve.through(100.0 * np.column_stack([np.cos(t), np.sin(3 * t)]), closed=True)

    crossings = self_crossings(curve)

    x = sorted(curve.position([first for first, _, _ in crossings])[:, 0].tolist())
    assert x == pytest.approx([-50.0, 50.0], abs=0.5)
    assert crossings == sorted(crossings)
    assert all(first < second for first, second, _ in crossings)


@pytest.mark.parametrize(("across", "along"), [(2, 3), (12, 13)])
def test_a_line_that_crosses_itself_hundreds_of_times_tells_each_of_them(across, along):
    # A Lissajous curve has 2ab - a - b double points (from memory).
    t = np.linspace(0.0, 2 * np.pi, 400 * along, endpoint=False)
    place = np.column_stack([np.sin(across * t + np.pi / 4), np.sin(along * t)])
    curve = Curve.through(2000.0 * place, closed=True)

    assert len(self_crossings(curve)) == 2 * across * along - across - along


def test_chords_add_up_to_what_geographiclib_measures_and_turn_once_however_often_a_place_is_told():
    # A square of 0.01 degrees in the open sea, against the sun, one corner given twice.
    west, south = 161.0, 47.0
    longitude = west + np.array([0.0, 0.01, 0.01, 0.01, 0.0, 0.0])
    latitude = south + np.array([0.0, 0.0, 0.0, 0.01, 0.01, 0.0])
    geodesic = Geodesic.WGS84
    expected = sum(
        geodesic.Inverse(latitude[i], longitude[i], latitude[i + 1], longitude[i + 1])["s12"]
        for i in range(5)
    )

    length_m, turning = chords_of(longitude, latitude)

    assert length_m == pytest.approx(expected, rel=1e-6)
    assert turning == pytest.approx(1.0, abs=1e-9)


def pieces_of_rounds(count):
    """Pieces of a circle that is driven so many times, 60 a time."""
    angle = np.arange(60 * count + 1) * (2.0 * np.pi / 60)
    position = 30.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    return shapely.linestrings(np.stack([position[:-1], position[1:]], axis=1))


def test_pieces_near_each_other_are_all_listed_where_they_are_few():
    piece = pieces_of_rounds(3)

    first, second = _near(piece)

    left, low, right, high = shapely.bounds(piece).T
    meets = (left[:, None] <= right) & (left <= right[:, None])
    meets &= (low[:, None] <= high) & (low <= high[:, None])
    assert sorted(zip(first.tolist(), second.tolist(), strict=True)) == [
        tuple(pair) for pair in np.argwhere(meets).tolist()
    ]


def test_of_a_line_driven_over_itself_again_and_again_some_pairs_are_listed(monkeypatch):
    monkeypatch.setattr(shape, "_MOST_NEAR", 10_000)
    piece = pieces_of_rounds(40)

    first, second = _near(piece)

    # All would be 290,000 and more.
    assert 5_000 < len(first) < 20_000
    boxes = shapely.box(*shapely.bounds(piece).T)
    assert shapely.intersects(boxes[first], boxes[second]).all()
    assert np.ptp(first) > 0.9 * len(piece)
