"""The figure of the earth, against PROJ's."""

import pytest
from pyproj import Geod

from trackkit.geometry import ellipsoid

WGS84 = Geod(ellps="WGS84")


def test_the_ellipsoid_is_that_of_wgs_84():
    assert WGS84.a == ellipsoid.SEMI_MAJOR_AXIS_M
    assert pytest.approx(WGS84.b, abs=1e-6) == ellipsoid.SEMI_MINOR_AXIS_M
    assert pytest.approx(WGS84.es, rel=1e-12) == ellipsoid.ECCENTRICITY_SQUARED


def test_the_mean_radius_and_the_mean_degree_are_those_of_the_axes():
    assert pytest.approx((2 * WGS84.a + WGS84.b) / 3, abs=0.05) == ellipsoid.MEAN_RADIUS_M
    # Between the least degree of a meridian, at the equator, and the greatest, at a pole.
    least, most = (WGS84.line_length([0, 0], span) for span in ([0, 1], [89, 90]))
    assert least < ellipsoid.DEGREE_M < most
