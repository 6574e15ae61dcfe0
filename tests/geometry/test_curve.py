"""Curves keep what circles, Euler spirals and the format's own promises say of them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import CubicHermiteSpline
from scipy.special import fresnel

from trackkit.errors import TrackkitError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane

PLACES_ON_A_LAP = st.floats(0, 1, exclude_max=True)


def circle(radius_m, count=None, *, clockwise=False):
    count = count or max(16, int(2 * np.pi * radius_m / 1.0))
    angle = np.arange(count) * (2 * np.pi / count) * (-1 if clockwise else 1)
    return radius_m * np.column_stack([np.cos(angle), np.sin(angle)])


def euler_spiral(length_m, end_radius_m, chainage_m):
    """Places on the spiral whose curvature grows evenly from 0 to 1 / end_radius_m."""
    scale = np.sqrt(np.pi * end_radius_m * length_m)
    sine, cosine = fresnel(chainage_m / scale)
    return scale * np.column_stack([cosine, sine])


def heading_between(a, b):
    return np.degrees(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.sum(a * b, axis=1)))


def ellipse(count=400, *, half_long_m=150.0, half_short_m=60.0):
    angle = np.arange(count) * 2 * np.pi / count
    return np.column_stack([half_long_m * np.cos(angle), half_short_m * np.sin(angle)])


OVAL = Curve.through(ellipse(), closed=True)
SPIRAL_M = np.linspace(0.0, 120.0, 61)
SPIRAL = Curve.through(euler_spiral(120.0, 15.0, SPIRAL_M), closed=False)


# Heading, curvature and length


@pytest.mark.parametrize("radius_m", [6.0, 36.8, 500.0])
def test_a_circle_has_its_circumference_and_its_curvature(radius_m):
    curve = Curve.through(circle(radius_m), closed=True)
    where = curve.chainages(0.7)
    assert curve.length_m == pytest.approx(2 * np.pi * radius_m, rel=1e-5)
    assert curve.curvature(where) == pytest.approx(1 / radius_m, rel=0.02)
    assert curve.direction(where) == pytest.approx(
        np.column_stack([-np.sin(where / radius_m), np.cos(where / radius_m)]), abs=1e-3
    )


def test_curvature_is_positive_to_the_left_and_negative_to_the_right():
    assert Curve.through(circle(40.0), closed=True).curvature(10.0) == pytest.approx(
        0.025, rel=0.01
    )
    clockwise = Curve.through(circle(40.0, clockwise=True), closed=True)
    assert clockwise.curvature(10.0) == pytest.approx(-0.025, rel=0.01)


def test_left_is_square_to_the_direction_and_points_into_a_circle_driven_anticlockwise():
    curve = Curve.through(circle(40.0), closed=True)
    where = curve.chainages(5.0)
    inward = -curve.position(where) / 40.0
    assert curve.left(where) == pytest.approx(inward, abs=1e-3)


def test_an_euler_spiral_has_its_length_heading_and_curvature():
    # Heading s^2 / (2 R L) and curvature s / (R L), the definition of the clothoid.
    where = np.linspace(2.0, 118.0, 300)
    assert SPIRAL.length_m == pytest.approx(120.0, rel=1e-6)
    heading = where**2 / (2 * 15.0 * 120.0)
    expected = np.column_stack([np.cos(heading), np.sin(heading)])
    assert np.abs(heading_between(SPIRAL.direction(where), expected)).max() < 0.05
    assert SPIRAL.curvature(where) == pytest.approx(where / (15.0 * 120.0), abs=4e-4)
    assert SPIRAL.position(where) == pytest.approx(euler_spiral(120.0, 15.0, where), abs=1e-3)


def test_an_ellipse_has_the_length_that_its_elliptic_integral_gives():
    expected, _ = quad(lambda t: np.hypot(150 * np.sin(t), 60 * np.cos(t)), 0, 2 * np.pi)
    assert OVAL.length_m == pytest.approx(expected, rel=1e-6)


def test_chainage_is_arc_length_everywhere():
    where = np.linspace(0.0, OVAL.length_m, 200_001)
    travelled = np.cumsum(np.linalg.norm(np.diff(OVAL.position(where), axis=0), axis=1))
    assert np.abs(travelled - where[1:]).max() < 1e-3


def test_a_curve_passes_through_its_vertices_at_their_chainages():
    assert OVAL.position(OVAL.vertex_chainage_m) == pytest.approx(ellipse(), abs=1e-9)
    assert SPIRAL.position(SPIRAL.vertex_chainage_m) == pytest.approx(SPIRAL.vertex_m, abs=1e-9)


def test_a_closed_curve_is_smooth_where_it_closes():
    before, after = OVAL.length_m - 1e-4, 1e-4
    assert OVAL.position(before) == pytest.approx(OVAL.position(after), abs=1e-3)
    assert OVAL.direction(before) == pytest.approx(OVAL.direction(after), abs=1e-4)
    assert OVAL.curvature(before) == pytest.approx(OVAL.curvature(after), abs=1e-4)


def test_repeating_the_first_point_at_the_end_changes_nothing_on_a_closed_curve():
    repeated = Curve.through(np.vstack([ellipse(), ellipse()[:1]]), closed=True)
    assert repeated.length_m == OVAL.length_m
    assert len(repeated.vertex_m) == 400


def test_points_given_twice_count_once():
    assert Curve.through(np.repeat(ellipse(), 2, axis=0), closed=True).length_m == OVAL.length_m


def test_two_points_make_a_straight():
    curve = Curve.through([[0.0, 0.0], [30.0, 40.0]], closed=False)
    assert curve.length_m == pytest.approx(50.0)
    assert curve.position(25.0) == pytest.approx([15.0, 20.0])


@pytest.mark.parametrize(
    ("vertices", "closed"),
    [
        (np.empty((0, 2)), False),
        ([[1.0, 2.0]], False),
        ([[1.0, 2.0], [1.0, 2.0]], False),
        ([[0.0, 0.0], [1.0, 0.0]], True),
        ([[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]], True),
    ],
)
def test_too_few_distinct_points_are_refused_in_words(vertices, closed):
    with pytest.raises(TrackkitError, match=r"distinct points is too short to be a track"):
        Curve.through(vertices, closed=closed)


@pytest.mark.parametrize(
    ("curve", "turns"),
    [
        (OVAL, 1.0),
        (Curve.through(circle(6.0, clockwise=True), closed=True), -1.0),
        (SPIRAL, 120.0 / (2 * 15.0) / (2 * np.pi)),
    ],
)
def test_turning_counts_whole_turns_to_the_left(curve, turns):
    # Whitney's turning number for a simple loop is one; a clothoid turns L / (2 R) radians.
    assert curve.turning() == pytest.approx(turns, abs=2e-3)


def test_a_figure_of_eight_turns_not_at_all():
    angle = np.arange(300) * 2 * np.pi / 300
    eight = np.column_stack([200 * np.sin(angle), 80 * np.sin(2 * angle)])
    assert Curve.through(eight, closed=True).turning() == pytest.approx(0.0, abs=1e-6)


# Chainages


@given(st.floats(-5000, 5000))
def test_chainages_wrap_around_a_closed_curve(chainage_m):
    wrapped = float(OVAL.wrap(chainage_m))
    assert 0 <= wrapped <= OVAL.length_m
    laps = (chainage_m - wrapped) / OVAL.length_m
    assert laps == pytest.approx(round(laps), abs=1e-9)


@given(st.floats(-5000, 5000))
def test_chainages_are_held_within_the_ends_of_an_open_curve(chainage_m):
    assert float(SPIRAL.wrap(chainage_m)) == min(max(chainage_m, 0.0), SPIRAL.length_m)


@given(PLACES_ON_A_LAP, PLACES_ON_A_LAP)
def test_separation_is_the_shorter_way_round_and_the_same_from_both(a, b):
    a_m, b_m = a * OVAL.length_m, b * OVAL.length_m
    there, back = float(OVAL.along(a_m, b_m)), float(OVAL.along(b_m, a_m))
    apart = float(OVAL.separation(a_m, b_m))
    assert apart == pytest.approx(min(there, back), abs=1e-9)
    assert apart == float(OVAL.separation(b_m, a_m))
    assert apart <= OVAL.length_m / 2 + 1e-9


@given(st.floats(0.05, 200))
def test_even_chainages_are_never_further_apart_than_asked(spacing_m):
    for curve in (OVAL, SPIRAL):
        where = curve.chainages(spacing_m)
        ends = np.append(where, curve.length_m) if curve.closed else where
        assert np.diff(ends).max() <= max(spacing_m, curve.length_m / 2) * (1 + 1e-12)
        assert ends[0] == 0
        assert ends[-1] == pytest.approx(curve.length_m)


# Projecting onto the curve


@given(PLACES_ON_A_LAP, st.floats(-11.0, 11.0))
def test_a_place_beside_a_closed_curve_projects_to_its_chainage_and_offset(share, aside_m):
    # The tightest radius of this ellipse is 60^2 / 150 = 24 m, so 11 m aside has one foot only.
    where = share * OVAL.length_m
    found, offset = OVAL.project(OVAL.position(where) + aside_m * OVAL.left(where))
    assert float(OVAL.separation(found, where)) < 1e-4
    assert float(offset) == pytest.approx(aside_m, abs=1e-4)


@given(st.floats(0, 1), st.floats(-6.0, 6.0))
def test_a_place_beside_an_open_curve_projects_to_its_chainage_and_offset(share, aside_m):
    where = share * SPIRAL.length_m
    found, offset = SPIRAL.project(SPIRAL.position(where) + aside_m * SPIRAL.left(where))
    assert float(found) == pytest.approx(where, abs=1e-4)
    assert float(offset) == pytest.approx(aside_m, abs=1e-4)


def test_a_place_before_an_open_curve_projects_to_its_beginning():
    found, offset = SPIRAL.project([-30.0, 0.0])
    assert float(found) == 0.0
    assert abs(float(offset)) == pytest.approx(30.0)


def test_many_places_project_as_one_by_one():
    where = OVAL.chainages(7.0)
    places = OVAL.position(where) + 3.0 * OVAL.left(where)
    together = OVAL.project(places)
    single = [OVAL.project(place) for place in places]
    assert together[0] == pytest.approx([float(s[0]) for s in single])
    assert together[1] == pytest.approx([float(s[1]) for s in single])


@pytest.mark.parametrize("curve", [OVAL, SPIRAL], ids=["oval", "spiral"])
def test_a_frame_is_position_direction_and_curvature_at_once(curve):
    where = np.linspace(-10.0, curve.length_m + 10.0, 57)
    position, direction, curvature = curve.frame(where)
    assert position == pytest.approx(curve.position(where), abs=1e-12)
    assert direction == pytest.approx(curve.direction(where), abs=1e-12)
    assert curvature == pytest.approx(curve.curvature(where), abs=1e-12)


def test_beyond_its_ends_an_open_curve_goes_straight_on():
    beyond = np.array([-7.0, SPIRAL.length_m + 30.0])
    ends = np.array([0.0, SPIRAL.length_m])
    expected = SPIRAL.position(ends) + (beyond - ends)[:, None] * SPIRAL.direction(ends)
    assert SPIRAL.extended_position(beyond) == pytest.approx(expected, abs=1e-9)
    inside = np.array([0.0, 60.0])
    assert SPIRAL.extended_position(inside) == pytest.approx(SPIRAL.position(inside), abs=1e-12)


def test_beyond_its_length_a_closed_curve_goes_round_again():
    where = np.array([-5.0, 3.0, OVAL.length_m + 40.0])
    assert OVAL.extended_position(where) == pytest.approx(OVAL.position(where), abs=1e-9)


@pytest.mark.parametrize("curve", [OVAL, SPIRAL], ids=["oval", "spiral"])
def test_points_and_tangents_are_the_whole_curve_by_hermite_polynomials(curve):
    # scipy's polynomial in place of ours; the parameter is the length of the chords.
    vertex, tangent = curve.vertex_m, curve.vertex_tangents()
    if curve.closed:
        vertex, tangent = (np.vstack([rows, rows[:1]]) for rows in (vertex, tangent))
    parameter = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(vertex, axis=0).T))])
    hermite = CubicHermiteSpline(parameter, vertex, tangent)
    fine = np.linspace(0.0, parameter[-1], 301)
    chainage, aside = curve.project(hermite(fine))
    assert aside == pytest.approx(0.0, abs=1e-6)
    pace = np.hypot(*hermite(fine, 1).T)
    length = np.concatenate([[0.0], np.cumsum(0.5 * (pace[1:] + pace[:-1]) * np.diff(fine))])
    assert curve.separation(chainage, length) == pytest.approx(0.0, abs=2e-3)


def test_how_far_positions_are_from_a_curve_is_right_to_half_its_spacing():
    ring = Curve.through(circle(100.0), closed=True)
    radius = np.array([0.0, 60.0, 99.0, 140.0, 400.0])
    angle = np.array([0.0, 0.3, 2.0, 4.0, 5.5])
    place = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    off = ring.distance(place) - np.abs(radius - 100.0)
    assert np.all((off > -1e-3) & (off < 0.5))
    # By the cosine law: half a metre along a bend of 100 m, seen from 300 m away.
    assert 300.0 <= ring.distance(place[-1]) < 300.0 + 0.125 * (1 / 300.0 + 1 / 100.0)


def test_what_is_no_segment_cuts_nothing():
    on_it = OVAL.position(10.0)
    assert OVAL.crossed_by(on_it, on_it).tolist() == []


def test_at_a_bridge_the_direction_of_travel_tells_which_passage_is_meant():
    angle = np.arange(300) * 2 * np.pi / 300
    eight = Curve.through(
        np.column_stack([200 * np.sin(angle), 80 * np.sin(2 * angle)]), closed=True
    )
    for passage in (0.0, eight.length_m / 2):
        along, across = eight.direction(passage), eight.left(passage)
        place = eight.position(passage) + 0.5 * along + 0.5 * across
        found, _ = eight.project(place, along)
        assert float(eight.separation(found, passage)) == pytest.approx(0.5, abs=0.05)


def test_where_two_pieces_run_side_by_side_the_one_of_the_same_direction_is_preferred():
    # Two legs 8 m apart; a fix lies 5 m from the leg it drove and 3 m from the other one.
    out = np.column_stack([np.arange(0.0, 201.0, 5.0), np.zeros(41)])
    angle = np.linspace(-np.pi / 2, np.pi / 2, 13)[1:-1]
    turn = np.column_stack([200 + 4 * np.cos(angle), 4 + 4 * np.sin(angle)])
    back = np.column_stack([np.arange(200.0, -1.0, -5.0), np.full(41, 8.0)])
    curve = Curve.through(np.vstack([out, turn, back]), closed=False)
    outward, _ = curve.project([100.0, 5.0], [1.0, 0.0])
    nearest, _ = curve.project([100.0, 5.0])
    assert float(outward) == pytest.approx(100.0, abs=0.2)
    assert float(nearest) > 300


# Crossings with a straight segment


def test_a_segment_across_a_circle_cuts_it_at_both_sides():
    curve = Curve.through(circle(50.0), closed=True)
    found = curve.crossed_by([-60.0, 30.0], [60.0, 30.0])
    expected = 50.0 * np.array([np.arcsin(0.6), np.pi - np.arcsin(0.6)])
    assert found == pytest.approx(expected, abs=0.01)


def test_a_segment_across_the_datum_of_a_closed_curve_cuts_it_once():
    curve = Curve.through(circle(50.0), closed=True)
    (found,) = curve.crossed_by([45.0, -1e-4], [55.0, -1e-4])
    assert float(curve.separation(found, 0.0)) < 1e-3


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ([60.0, -9.0], [60.0, 9.0]),
        ([-10.0, 0.0], [10.0, 0.0]),
        ([51.0, 0.0], [90.0, 0.0]),
        ([50.0, 0.0], [50.0, 0.0]),
    ],
)
def test_a_segment_that_does_not_reach_the_curve_cuts_nothing(start, end):
    assert len(Curve.through(circle(50.0), closed=True).crossed_by(start, end)) == 0


coordinates = st.tuples(st.floats(-170, 170), st.floats(-80, 80))


@settings(max_examples=60)
@given(coordinates, coordinates)
def test_a_segment_cuts_the_curve_at_the_same_places_from_either_end(start, end):
    there, back = OVAL.crossed_by(start, end), OVAL.crossed_by(end, start)
    assert len(there) == len(back)
    for where in there:
        assert OVAL.separation(where, back).min() < 1e-6


@settings(max_examples=60)
@given(coordinates, coordinates)
def test_every_crossing_lies_on_the_curve_and_on_the_segment(start, end):
    start, end = np.array(start), np.array(end)
    for where in OVAL.crossed_by(start, end):
        place = OVAL.position(where)
        to_ends = np.linalg.norm(place - start) + np.linalg.norm(place - end)
        assert to_ends == pytest.approx(np.linalg.norm(end - start), abs=1e-6)


@settings(max_examples=60)
@given(coordinates, coordinates)
def test_a_segment_from_inside_a_loop_to_outside_crosses_an_odd_number_of_times(start, end):
    # Jordan curve theorem; an ellipse's inside is told by its equation.
    def inside(place):
        return (place[0] / 150.0) ** 2 + (place[1] / 60.0) ** 2

    levels = inside(start), inside(end)
    if min(abs(level - 1) for level in levels) < 1e-3:
        return
    crossings = len(OVAL.crossed_by(start, end))
    assert crossings % 2 == int((levels[0] < 1) != (levels[1] < 1))


# The stored polyline (docs/track-file.md)


def stadium(straight_m, radius_m, step_m=0.5):
    along = np.arange(0.0, straight_m, step_m)
    angle = np.arange(0.0, np.pi, step_m / radius_m)
    lower = np.column_stack([along, np.full(len(along), -radius_m)])
    bend = np.column_stack([straight_m + radius_m * np.sin(angle), -radius_m * np.cos(angle)])
    half = np.vstack([lower, bend])
    return np.vstack([half, np.array([straight_m, 0.0]) - half])


SHAPES = {
    "circle of 6 m": Curve.through(circle(6.0, 400), closed=True),
    "circle of 15 m": Curve.through(circle(15.0, 400), closed=True),
    "circle of 80 m": Curve.through(circle(80.0, 800), closed=True),
    "circle of 500 m": Curve.through(circle(500.0, 2000), closed=True),
    "ellipse": OVAL,
    "clothoid": SPIRAL,
    "tight clothoid": Curve.through(
        euler_spiral(60.0, 6.0, np.linspace(0, 60.0, 200)), closed=False
    ),
    "straights and half circles of 10 m": Curve.through(stadium(300.0, 10.0), closed=True),
    "straight": Curve.through([[0.0, 0.0], [400.0, 300.0]], closed=False),
    "short line": Curve.through([[0.0, 0.0], [1.5, 0.0], [2.5, 1.0]], closed=False),
}


def polyline(curve):
    vertex = curve.position(curve.sampled())
    return np.vstack([vertex, vertex[:1]]) if curve.closed else vertex


@pytest.mark.parametrize("name", SHAPES)
def test_a_stored_polyline_stays_within_five_millimetres_of_the_line(name):
    curve = SHAPES[name]
    line = polyline(curve)
    edges = curve.sampled()
    edges = np.append(edges, curve.length_m) if curve.closed else edges
    worst = 0.0
    for begin, end, tail, head in zip(edges[:-1], edges[1:], line[:-1], line[1:], strict=True):
        chord = (head - tail) / np.linalg.norm(head - tail)
        away = curve.position(np.linspace(begin, end, 21)) - tail
        worst = max(worst, np.abs(chord[0] * away[:, 1] - chord[1] * away[:, 0]).max())
    assert worst <= 0.005


@pytest.mark.parametrize("name", SHAPES)
def test_a_stored_polyline_has_a_vertex_at_least_every_25_metres(name):
    assert np.linalg.norm(np.diff(polyline(SHAPES[name]), axis=0), axis=1).max() <= 25.0


@pytest.mark.parametrize("place", [(161.0, 47.0), (-98.3, -54.8), (180.0, 0.0), (0.0, 78.0)])
@pytest.mark.parametrize("name", [name for name in SHAPES if name != "short line"])
def test_a_stored_polyline_read_back_recovers_heading_and_length(name, place):
    # 0.5 degrees and 1 in 10,000 with positions of 8 decimals (of a line of
    # 3 m, one millimetre is already more).
    curve = SHAPES[name]
    plane = LocalPlane(*place)
    longitude, latitude = plane.to_geographic(polyline(curve))
    read = Curve.through(
        plane.to_plane(np.round(longitude, 8), np.round(latitude, 8)), closed=curve.closed
    )
    assert read.length_m == pytest.approx(curve.length_m, rel=1e-4)
    where = curve.chainages(0.25)
    error = heading_between(
        curve.direction(where), read.direction(where * (read.length_m / curve.length_m))
    )
    assert np.abs(error).max() < 0.5


@settings(max_examples=25)
@given(st.floats(6.0, 500.0), st.floats(0, 1))
def test_any_arc_of_6_to_500_m_radius_is_recovered_from_its_polyline(radius_m, share):
    angle = (1 - share) * 30.0 / radius_m + share * 2 * np.pi
    turned = np.linspace(0.0, angle, max(8, int(angle * radius_m / 0.5)))
    arc = Curve.through(
        radius_m * np.column_stack([np.sin(turned), 1 - np.cos(turned)]), closed=False
    )
    read = Curve.through(np.round(polyline(arc), 3), closed=False)
    assert read.length_m == pytest.approx(radius_m * angle, rel=1e-4)
    where = np.linspace(0.0, radius_m * angle, 200)
    truth = np.column_stack([np.cos(where / radius_m), np.sin(where / radius_m)])
    assert np.abs(heading_between(truth, read.direction(where))).max() < 0.5
