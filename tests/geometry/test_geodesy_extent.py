"""The size of a box around positions, by geodesics of geographiclib."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from trackkit.geometry.geodesy import extent_m


@pytest.mark.parametrize(
    ("south", "north", "widest"),
    [(-1.0, 2.0, 0.0), (1.0, 3.0, 1.0), (-3.0, -1.0, 1.0), (0.0, 2.0, 0.0), (-2.0, 0.0, 0.0)],
)
def test_a_box_is_as_wide_as_where_it_comes_nearest_to_the_equator(south, north, widest):
    across = Geodesic.WGS84.Inverse(widest, 0.0, widest, 1.0)["s12"]
    along = Geodesic.WGS84.Inverse(south, 0.0, north, 0.0)["s12"]

    found = extent_m([0.0, 1.0, 0.5], [south, north, south])

    assert found == pytest.approx(np.hypot(across, along), rel=1e-9)


@pytest.mark.parametrize("across_deg", [180.0, 180.6, 250.0, 359.0])
def test_a_box_of_more_than_half_the_earth_counts_as_half_of_it(across_deg):
    # On the equator more than 179.4 degrees are shorter over a pole: twice a meridian's quarter.
    over_a_pole = 2.0 * Geodesic.WGS84.Inverse(0.0, 0.0, 90.0, 0.0)["s12"]

    assert extent_m([-90.0, across_deg - 90.0], [0.0, 0.0]) == pytest.approx(over_a_pole, rel=1e-9)
