"""How well what is drawn over a picture is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trackkit.underlay.accuracy import POINTING_PIXELS, UNMEASURED_M, drawn_sigma_m


def test_it_is_the_spread_of_places_that_a_hand_points_at_on_a_picture_that_lies_off() -> None:
    rng = np.random.default_rng(20)
    pixel_m, residual_m = 0.3, 0.4
    pointed = rng.normal(0.0, POINTING_PIXELS * pixel_m, 200_000)
    off = rng.normal(0.0, residual_m, 200_000)
    assert drawn_sigma_m(pixel_m, residual_m) == pytest.approx(np.std(pointed + off), rel=0.01)


def test_a_picture_that_nobody_measured_makes_no_line_better_than_is_assumed_of_any() -> None:
    assert drawn_sigma_m(0.05, UNMEASURED_M) >= UNMEASURED_M


@pytest.mark.parametrize(
    ("pixel_m", "residual_m"), [(0.0, 0.4), (math.nan, 0.4), (0.3, -0.1), (0.3, math.inf)]
)
def test_sizes_that_are_none_are_refused(pixel_m: float, residual_m: float) -> None:
    with pytest.raises(ValueError, match="is none"):
        drawn_sigma_m(pixel_m, residual_m)
