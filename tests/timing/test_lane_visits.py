"""When a vehicle is in a pit lane without gates: by where it drove, straight by straight."""

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing.lane_visits import _visits, with_lane_visits
from trackkit.timing.laps import Lap

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


def lap(number, start_s, time_s=20.0, kind="flying"):
    return Lap(number, kind, True, start_s, time_s, (), ())


def with_visits(laps, *, gates=(), lanes=(LANE,)):
    """The drive of the first test, in the lane from 15 s to 45 s, and its laps."""
    plane = SimpleNamespace(to_plane=lambda east, north: np.column_stack([east, north]))
    track = SimpleNamespace(
        band_m=10.0,
        gates_of_kind=lambda kind: tuple(gate for gate in gates if gate == kind),
        pit_lanes=[SimpleNamespace(longitude_deg=at[:, 0], latitude_deg=at[:, 1]) for at in lanes],
        centreline=SimpleNamespace(longitude_deg=LINE[:, 0], latitude_deg=LINE[:, 1]),
    )
    x = np.arange(-300.0, 300.1, 5.0)
    y = np.where(np.abs(x) <= 150.0, 20.0, 0.0)
    time, position = (x + 300.0) / 10.0, np.column_stack([x, y])
    drive = SimpleNamespace(plane=plane)
    return [made.kind for made in with_lane_visits(track, drive, laps, time, position, np.abs(y))]


def test_laps_that_a_visit_reaches_into_are_pit_laps():
    laps = [lap(1, -10.0), lap(2, 10.0), lap(3, 30.0), lap(4, 50.0)]

    assert with_visits(laps) == ["flying", "pit", "pit", "flying"]
    # To the very moment.
    assert with_visits([lap(1, -5.0), lap(2, 45.0)]) == ["flying", "flying"]
    assert with_visits([lap(1, -4.9), lap(2, 44.9)]) == ["pit", "pit"]


def test_only_flying_laps_with_a_time_become_pit_laps():
    laps = [lap(0, 10.0, kind="out"), lap(1, 10.0, None), lap(2, None), lap(3, 10.0, kind="in")]

    assert with_visits(laps) == ["out", "flying", "flying", "in"]


def test_where_the_lane_has_both_its_gates_they_tell():
    laps = [lap(1, 10.0)]

    assert with_visits(laps, gates=("pit-entry", "pit-exit")) == ["flying"]
    assert with_visits(laps, gates=("pit-entry",)) == ["pit"]
    assert with_visits(laps, lanes=()) == ["flying"]


def test_of_several_lanes_each_is_looked_at():
    far = LANE + np.array([0.0, 500.0])

    assert with_visits([lap(1, 10.0)], lanes=(far, LANE)) == ["pit"]
    assert with_visits([lap(1, 10.0)], lanes=(far,)) == ["flying"]
