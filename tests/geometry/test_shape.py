"""Crossings of a line with itself, where a formula tells them."""

import numpy as np
import pytest

from trackkit.geometry.curve import Curve
from trackkit.geometry.shape import self_crossings


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
