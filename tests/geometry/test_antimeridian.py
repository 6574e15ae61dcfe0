"""Lines cut at the antimeridian as RFC 7946 section 3.1.9 asks, joined again, and boxed (5.2)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from trackkit.geometry.antimeridian import bounding_box, cut_line, join_line


@st.composite
def lines_astride_the_antimeridian(draw):
    """Continuous lines within a degree of the antimeridian, as files hold them: 8 decimals."""
    count = draw(st.integers(2, 12))
    columns = [
        st.just(0) | st.integers(-100_000_000, 100_000_000),
        st.integers(-8_000_000_000, 8_000_000_000),
        st.integers(-10_000, 500_000),
    ]
    dimensions = draw(st.sampled_from([2, 3]))
    rows = [[draw(column) for column in columns[:dimensions]] for _ in range(count)]
    line = np.array(rows, dtype=float)
    line[:, 0] = draw(st.sampled_from([180.0, -180.0])) + line[:, 0] / 1e8
    line[:, 1] /= 1e8
    if dimensions == 3:
        line[:, 2] /= 100
    return line


def without_repeats(line):
    keep = np.ones(len(line), dtype=bool)
    keep[1:] = np.abs(np.diff(line[:, :2], axis=0)).max(axis=1) > 1e-8
    return line[keep]


def test_the_line_of_rfc_7946_section_3_1_9_is_cut_as_the_standard_prints_it():
    # RFC 7946 section 3.1.9: 45 N 170 E to 45 N 170 W is two lines that meet at 180.
    parts = cut_line(np.array([[170.0, 45.0], [190.0, 45.0]]))
    assert [part.tolist() for part in parts] == [
        [[170.0, 45.0], [180.0, 45.0]],
        [[-180.0, 45.0], [-170.0, 45.0]],
    ]


def test_a_line_driven_westward_is_cut_the_other_way_round():
    parts = cut_line(np.array([[-170.0, 45.0], [-190.0, 45.0]]))
    assert [part.tolist() for part in parts] == [
        [[-170.0, 45.0], [-180.0, 45.0]],
        [[180.0, 45.0], [170.0, 45.0]],
    ]


def test_a_line_that_crosses_nothing_stays_one_line():
    line = np.array([[162.0, 45.0], [162.1, 45.1], [162.2, 45.0]])
    (part,) = cut_line(line)
    assert part.tolist() == line.tolist()


def test_a_line_that_only_touches_the_antimeridian_stays_one_line():
    line = np.array([[179.9, 1.0], [180.0, 1.1], [179.9, 1.2]])
    (part,) = cut_line(line)
    assert part.tolist() == line.tolist()


def test_the_cut_point_lies_on_the_chord_with_its_height():
    parts = cut_line(np.array([[179.0, 10.0, 100.0], [183.0, 14.0, 500.0]]))
    assert parts[0][-1].tolist() == [180.0, 11.0, 200.0]
    assert parts[1][0].tolist() == [-180.0, 11.0, 200.0]


@given(lines_astride_the_antimeridian())
def test_every_part_lies_on_one_side(line):
    for part in cut_line(line):
        assert np.all(part[:, 0] >= -180)
        assert np.all(part[:, 0] <= 180)
        assert np.ptp(part[:, 0]) <= 180
        assert len(part) >= 2


@given(lines_astride_the_antimeridian())
def test_every_vertex_is_kept_by_a_cut(line):
    parts = cut_line(line)
    kept = np.vstack(parts)
    for vertex in line:
        away = np.abs((kept[:, 0] - vertex[0] + 180) % 360 - 180) + np.abs(kept[:, 1] - vertex[1])
        assert away.min() < 1e-9


@given(lines_astride_the_antimeridian())
def test_a_line_cut_and_stored_is_joined_to_the_same_line(line):
    # Vertices may drop out only where they stand on the antimeridian and on their own chord,
    # so the joined line has the shape of the line that was cut; shapely measures.
    line = without_repeats(line)
    if len(line) < 2:
        return
    stored = [np.round(part, 8) for part in cut_line(line)]
    joined = join_line(stored)
    joined[:, 0] += 360 * np.round((line[0, 0] - joined[0, 0]) / 360)
    for vertex in line[[0, -1]]:
        assert np.abs(joined[:, :2] - vertex[:2]).max(axis=1).min() < 1e-7
    before, after = LineString(line[:, :2]), LineString(joined[:, :2])
    assert all(before.distance(Point(p)) < 1e-7 for p in joined[:, :2])
    assert all(after.distance(Point(p)) < 1e-7 for p in line[:, :2])


@given(lines_astride_the_antimeridian())
def test_a_line_without_a_vertex_on_the_antimeridian_comes_back_vertex_for_vertex(line):
    if np.any(np.abs(np.abs(line[:, 0]) - 180) < 1e-7):
        return
    joined = join_line([np.round(part, 8) for part in cut_line(line)])
    joined[:, 0] += 360 * np.round((line[0, 0] - joined[0, 0]) / 360)
    assert joined == pytest.approx(line, abs=1e-9)


def test_a_bend_on_the_antimeridian_is_kept_when_parts_are_joined():
    parts = [np.array([[179.9, 1.0], [180.0, 1.1]]), np.array([[-180.0, 1.1], [-179.9, 1.0]])]
    assert join_line(parts) == pytest.approx(np.array([[179.9, 1.0], [180.0, 1.1], [180.1, 1.0]]))


@pytest.mark.parametrize("off_deg", [1e-7, 1e-5])
def test_a_vertex_on_the_antimeridian_a_centimetre_off_the_chord_is_kept(off_deg):
    line = np.array([[179.9998, 1.0], [180.0, 1.0 + off_deg], [180.0002, 1.0]])
    other_side = line[1:] - [360.0, 0.0]
    assert join_line([line[:2], other_side]) == pytest.approx(line, abs=1e-9)
    assert join_line([np.round(part, 8) for part in cut_line(line)]) == pytest.approx(line)


def test_parts_that_do_not_meet_are_joined_across_their_gap():
    parts = [np.array([[179.8, 1.0], [179.9, 1.0]]), np.array([[-179.9, 1.0], [-179.8, 1.0]])]
    assert join_line(parts) == pytest.approx(
        np.array([[179.8, 1.0], [179.9, 1.0], [180.1, 1.0], [180.2, 1.0]])
    )


def test_a_box_lists_the_south_west_corner_before_the_north_east_one():
    # RFC 7946 section 5: all axes of the most southwesterly point, then the most northeasterly.
    line = np.array([[162.0, 45.0], [162.2, 44.9], [162.1, 45.3]])
    assert bounding_box([line]) == [162.0, 44.9, 162.2, 45.3]


def test_a_box_of_positions_with_heights_has_six_numbers():
    line = np.array([[162.0, 45.0, 7.0], [162.2, 44.9, 3.0]])
    assert bounding_box([line]) == [162.0, 44.9, 3.0, 162.2, 45.0, 7.0]


def test_a_box_across_the_antimeridian_has_west_larger_than_east():
    # RFC 7946 section 5.2's own example: 177 E to 178 W, 20 S to 16 S.
    line = np.array([[177.0, -20.0], [182.0, -16.0]])
    assert bounding_box([line]) == [177.0, -20.0, -178.0, -16.0]


@pytest.mark.parametrize("turns", [-360.0, 0.0, 360.0])
def test_a_box_does_not_depend_on_how_its_lines_are_unwrapped(turns):
    line = np.array([[179.9, 0.0], [180.2, 1.0]])
    gate = np.array([[-179.7 + turns, 0.5], [-179.6 + turns, 0.5]])
    west, south, east, north = bounding_box([line, gate])
    assert (west, south, north) == (179.9, 0.0, 1.0)
    assert east == pytest.approx(-179.6)
