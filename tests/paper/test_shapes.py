"""Shapes on a sheet are as large as they are on the ground."""

import pytest


def test_the_band_is_drawn_at_its_true_width(pictures):
    picture = pictures("200 m")
    expected = 200.0 * 12.0 * picture.sheet.mm_per_m**2

    assert picture.shapes.band.area == pytest.approx(expected, rel=0.01)
