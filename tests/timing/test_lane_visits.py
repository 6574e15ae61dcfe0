"""When a vehicle is in a pit lane without gates: by where it drove, straight by straight."""

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing.lane_visits import _visits

LINE = np.array([[-400.0, 0.0], [400.0, 0.0]])
# It leaves the line, runs 300 m beside it at 20 m, and comes back.
LANE = np.array([[-200.0, 0.0], [-150.0, 20.0], [150.0, 20.0], [200.0, 0.0]])
TRACK = SimpleNamespace(band_m=10.0)


def driven(aside_m, begin_m, end_m):
    """Along the line at 10 m/s, so far aside from begin to end, and visits of the lane there."""
    x = np.arange(-300.0, 300.1, 5.0)
    y = np.where((x >= begin_m) & (x <= end_m), aside_m, 0.0)
    return _visits(TRACK, LANE, LINE, (x + 300.0) / 10.0, np.column_stack([x, y]), np.abs(y))


@pytest.mark.parametrize("end_m", [150.0, 100.0])
def test_a_visit_lasts_from_the_first_to_the_last_sample_in_the_lane(end_m):
    # At 10 m/s from 300 m before the middle.
    assert driven(20.0, -150.0, end_m) == [pytest.approx((15.0, 30.0 + end_m / 10.0))]


@pytest.mark.parametrize(
    ("aside_m", "begin_m", "end_m"), [(20.0, -60.0, 60.0), (60.0, -150.0, 150.0), (0.0, 0.0, 0.0)]
)
def test_a_slide_towards_it_and_a_way_far_beside_it_are_no_visits(aside_m, begin_m, end_m):
    assert driven(aside_m, begin_m, end_m) == []
