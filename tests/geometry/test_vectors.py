"""Directions and distances on a plane, against complex numbers and GEOS."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from shapely.geometry import LineString

from trackkit.geometry.vectors import distance_along, gate_axes, left_of

COORDINATES = st.floats(-1e4, 1e4)


@given(arrays(float, st.tuples(st.integers(1, 8), st.just(2)), elements=COORDINATES))
def test_left_is_a_turn_by_the_imaginary_unit(vectors):
    turned = (vectors[:, 0] + 1j * vectors[:, 1]) * 1j

    np.testing.assert_array_equal(left_of(vectors), np.column_stack([turned.real, turned.imag]))
    np.testing.assert_array_equal(left_of(vectors[0]), left_of(vectors)[0])


def test_a_gate_seen_by_a_driver_going_north():
    across, forward, width = gate_axes(np.array([-6.0, 3.0]), np.array([8.0, 3.0]))

    assert across == pytest.approx([1.0, 0.0])
    assert forward == pytest.approx([0.0, 1.0])
    assert width == 14.0


@given(arrays(float, st.tuples(st.integers(2, 12), st.just(2)), elements=COORDINATES))
def test_distances_along_a_line_are_the_lengths_of_its_parts(vertices):
    lengths = [0.0, *(LineString(vertices[: end + 1]).length for end in range(1, len(vertices)))]

    np.testing.assert_allclose(distance_along(vertices), lengths, rtol=1e-12, atol=1e-9)


def test_a_lone_vertex_is_where_the_line_begins():
    np.testing.assert_array_equal(distance_along([[3.0, 4.0]]), [0.0])
