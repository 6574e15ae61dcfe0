"""The band of a track as an area."""

from __future__ import annotations

import numpy as np
import pytest
from oval_page import oval

from trackkit.track.band import band_area


def test_band_has_the_area_of_length_times_width() -> None:
    # Pappus: a band of width w around a closed line of length L, free of overlap, covers w L.
    assert band_area(oval()).area == pytest.approx(9.0 * (400 + 80 * np.pi), rel=0.005)
