"""Lengths and turns of lines laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from trackkit.geometry.curve import Curve
from trackkit.geometry.ellipsoid import MEAN_RADIUS_M
from trackkit.geometry.shape import (
    chords_of,
    direction_by_turns,
    direction_of,
    metres_a_degree,
    self_crossings,
    surface_length,
)

GEOD = Geod(ellps="WGS84")


def circle(radius_m=100.0, turns=1, *, clockwise=False):
    angle = np.linspace(0.0, 2 * np.pi * turns, 180 * turns, endpoint=False)
    angle = -angle if clockwise else angle
    return Curve.through(radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


def square(latitude_deg=47.0, *, clockwise=False, repeated=False):
    """Sides of about 110 m; its first corner repeated as the last, perhaps each one twice."""
    east = np.array([0.0, 1e-3, 1e-3, 0.0, 0.0]) + 161.0
    north = np.array([0.0, 0.0, 1e-3, 1e-3, 0.0]) + latitude_deg
    if clockwise:
        east, north = east[::-1], north[::-1]
    if repeated:
        east, north = np.repeat(east, 2), np.repeat(north, 2)
    return east, north


@pytest.mark.parametrize("repeated", [False, True])
@pytest.mark.parametrize(("clockwise", "turns"), [(False, 1.0), (True, -1.0)])
def test_a_square_turns_once_and_is_as_long_as_its_sides(repeated, clockwise, turns):
    line = square(clockwise=clockwise, repeated=repeated)

    length_m, turning = chords_of(*line)

    # PROJ's geodesics are the independent word.
    assert length_m == pytest.approx(GEOD.line_length(*line), rel=1e-6)
    assert turning == pytest.approx(turns)


@pytest.mark.parametrize("latitude_deg", [0.0, 47.0, -65.0, 86.0])
def test_a_degree_is_as_long_as_projs_geodesics_say(latitude_deg):
    across, along = metres_a_degree(latitude_deg)

    small = 1e-5
    _, _, east = GEOD.inv(0.0, latitude_deg, small, latitude_deg)
    _, _, north = GEOD.inv(0.0, latitude_deg - small, 0.0, latitude_deg + small)
    assert across == pytest.approx(east / small, rel=1e-6)
    assert along == pytest.approx(north / (2 * small), rel=1e-6)
    assert metres_a_degree(np.zeros((2, 3))).shape == (2, 3, 2)


@pytest.mark.parametrize(
    ("turning", "direction"),
    [
        (0.0, None),
        (0.4, None),
        (-0.4, None),
        (0.6, "anticlockwise"),
        (-0.6, "clockwise"),
        (2.0, "anticlockwise"),
        (-2.0, "clockwise"),
    ],
)
def test_the_direction_is_the_sign_of_the_whole_turns(turning, direction):
    assert direction_by_turns(turning) == direction


def test_only_a_closed_line_has_a_direction():
    arc = np.linspace(0.0, 1.5 * np.pi, 50)
    line = np.stack([np.cos(arc), np.sin(arc)], axis=1) * 100.0

    assert direction_of(Curve.through(line, closed=False)) is None
    assert direction_of(circle()) == "anticlockwise"
    assert direction_of(circle(clockwise=True)) == "clockwise"


def test_a_line_that_rises_is_longer_by_its_slope_and_by_its_height():
    course = Curve.through(np.array([[0.0, 0.0], [300.0, 0.0], [600.0, 0.0]]), closed=False)
    at = np.array([0.0, 300.0, 600.0])

    # 300 m level and 400 m up make 500 m; the level part lies 200 m and then 400 m high.
    length_m = surface_length(course, at, np.array([0.0, 400.0, 400.0]))

    first = np.hypot(300.0 * (1.0 + 200.0 / MEAN_RADIUS_M), 400.0)
    assert length_m == pytest.approx(first + 300.0 * (1.0 + 400.0 / MEAN_RADIUS_M))
    assert surface_length(course, at, np.array([0.0, np.nan, 0.0])) is None


def test_a_lap_comes_back_down_to_where_it_began():
    lap = circle()
    at = np.array([0.0, 0.5 * lap.length_m])
    half = 0.5 * lap.length_m

    length_m = surface_length(lap, at, np.array([0.0, 30.0]))

    expected = 2.0 * np.hypot(half * (1.0 + 15.0 / MEAN_RADIUS_M), 30.0)
    assert length_m == pytest.approx(expected)


def lemniscate(count=200):
    """Gerono's figure of eight: it crosses itself in its middle at right angles times 2."""
    angle = np.linspace(0.0, 2 * np.pi, count, endpoint=False) + 0.3
    return 100.0 * np.stack([np.cos(angle), np.sin(angle) * np.cos(angle)], axis=1)


def test_a_figure_of_eight_crosses_itself_once_in_its_middle_and_has_no_direction():
    curve = Curve.through(lemniscate(), closed=True)

    ((first, second, angle_deg),) = self_crossings(curve)

    assert curve.position([first, second]) == pytest.approx(np.zeros((2, 2)), abs=0.05)
    # Its branches leave the middle at 45 degrees to either side.
    assert angle_deg == pytest.approx(90.0, abs=1.0)
    assert second - first == pytest.approx(0.5 * curve.length_m, abs=0.5)
    assert direction_of(curve) is None


def test_lines_that_do_not_cross_have_no_crossings():
    assert self_crossings(circle()) == []
    spiral = np.linspace(0.0, 6 * np.pi, 300)
    open_line = (10.0 + 5.0 * spiral[:, None]) * np.stack([np.cos(spiral), np.sin(spiral)], axis=1)
    assert self_crossings(Curve.through(open_line, closed=False)) == []


def test_an_open_loop_crosses_itself_at_the_angle_it_was_laid_out_with():
    # There along the x-axis, round, and back across it at 60 degrees at x = 100.
    steps = np.array([[0.0, 0], [50, 0], [100, 0], [150, 0], [200, 0]])
    back = np.array([100.0, 0.0]) + np.outer(
        [60.0, 30.0, 0.0, -30.0, -60.0], [np.cos(np.pi / 3), np.sin(np.pi / 3)]
    )
    bend = np.array([[230.0, 20.0], [220.0, 60.0], [170.0, 80.0]])
    curve = Curve.through(np.vstack([steps, bend, back]), closed=False)

    ((first, second, angle_deg),) = self_crossings(curve)

    assert first == pytest.approx(100.0, abs=1.0)
    assert curve.position(second) == pytest.approx([100.0, 0.0], abs=1.0)
    assert angle_deg == pytest.approx(60.0, abs=5.0)
