"""What of a drive counts along a track, and how it is taken together, by small cases."""

from __future__ import annotations

import numpy as np
import pytest
from stand_in import StandIn

from trackkit.errors import NoLapError
from trackkit.gates.driven import (
    _along_the_line,
    _bin_count,
    _close_places,
    _paces_of_passes,
    _require_driven,
    _spreads,
)
from trackkit.geometry.curve import Curve

LINE = Curve.through(np.stack([np.arange(0.0, 1001.0, 5.0), np.zeros(201)], axis=1), closed=False)
TRACK = StandIn(curve=LINE, band_m=12.0, pit_lanes=(), gates_of_kind=lambda *_: ())


def drive_of(position, velocity):
    position = np.asarray(position, float)
    velocity_mps = np.asarray(velocity, float) + np.zeros_like(position)
    return StandIn(
        position_m=position,
        velocity_mps=velocity_mps,
        speed_mps=np.hypot(*velocity_mps.T),
        piece=np.zeros(len(position), dtype=int),
    )


def along(begin_m, end_m, *, aside_m=0.0, velocity=(10.0, 0.0)):
    x = np.arange(begin_m, end_m, 2.0)
    return drive_of(np.stack([x, np.full(len(x), aside_m)], axis=1), velocity)


def test_a_bin_is_five_metres_and_there_are_eight_at_least():
    assert _bin_count(StandIn(length_m=1000.0)) == 200
    assert _bin_count(StandIn(length_m=1003.0)) == 201
    assert _bin_count(StandIn(length_m=20.0)) == 8


def test_six_tenths_of_a_line_must_be_driven():
    _require_driven(60, 100)
    with pytest.raises(NoLapError, match="the recordings cover 59 % of the track"):
        _require_driven(59, 100)


def test_each_place_has_its_bin_its_side_and_its_speed():
    index, offset, speed, passing = _along_the_line(TRACK, [along(100.0, 120.0, aside_m=3.0)])

    # 100, 102, ..., 118 m in bins of 5 m.
    assert index.tolist() == [20, 20, 20, 21, 21, 22, 22, 22, 23, 23]
    assert offset == pytest.approx(3.0)
    assert speed == pytest.approx(10.0)
    # Each bin is passed once.
    assert len(set(passing.tolist())) == 4
    assert np.all(np.diff(passing) >= 0)


def test_the_end_of_the_line_is_in_its_last_bin():
    index, *_ = _along_the_line(TRACK, [drive_of([[996.0, 0], [1000.0, 0]], [10.0, 0])])

    assert index.tolist() == [199, 199]


@pytest.mark.parametrize(("aside_m", "counts"), [(15.9, 10), (16.1, 0), (-15.9, 10), (-16.1, 0)])
def test_what_is_within_the_band_and_ten_metres_counts(aside_m, counts):
    index, *_ = _along_the_line(TRACK, [along(100.0, 120.0, aside_m=aside_m)])

    assert len(index) == counts


@pytest.mark.parametrize(("angle_deg", "counts"), [(0.0, 10), (59.0, 10), (61.0, 0), (180.0, 0)])
def test_what_goes_along_the_line_within_sixty_degrees_counts(angle_deg, counts):
    angle = np.radians(angle_deg)
    velocity = (10.0 * np.cos(angle), 10.0 * np.sin(angle))

    index, *_ = _along_the_line(TRACK, [along(100.0, 120.0, velocity=velocity)])

    assert len(index) == counts


def test_a_slow_pass_counts_as_well_and_what_stands_does_not():
    slow, standing = along(100.0, 120.0, velocity=(3.0, 0)), along(100.0, 120.0, velocity=(1e-3, 0))

    assert len(_along_the_line(TRACK, [slow])[0]) == 10
    assert len(_along_the_line(TRACK, [standing])[0]) == 0


def test_passes_of_several_drives_are_several():
    two = [along(100.0, 110.0), along(100.0, 110.0)]

    index, _, _, passing = _along_the_line(TRACK, two)

    assert index.tolist() == [20] * 6 + [21] * 4
    assert [len(set(passing[index == bin_].tolist())) for bin_ in (20, 21)] == [2, 2]
    # Over and over the same place in one drive, too.
    x = np.array([100.0, 104.0, 108.0, 104.0, 108.0])
    again = drive_of(np.stack([x, 0 * x], axis=1), (10.0, 0.0))
    index, _, _, passing = _along_the_line(TRACK, [again, along(100.0, 104.0)])
    assert len(set(passing[index == 20].tolist())) == 3


def test_a_slow_pass_of_many_fixes_counts_once():
    # 10 m/s in two fixes, 20 in one, 2 in three: the median of 10, 20 and 2.
    speed = np.array([9.0, 11.0, 20.0, 2.0, 2.0, 2.0])

    assert _paces_of_passes(
        speed, np.array([4, 4, 7, 9, 9, 9]), np.zeros(6, dtype=int)
    ) == pytest.approx([10.0])


def test_fixes_far_apart_get_places_between_no_farther_apart_than_a_bin():
    asked = {}

    def between(index, share):
        asked.update(index=index.tolist(), share=share.tolist())
        return "position", "velocity"

    # 12 m are three parts; 4 m are one; over a gap between pieces there is nothing.
    drive = StandIn(
        position_m=np.array([[0.0, 0], [12.0, 0], [16.0, 0], [90.0, 0], [95.0, 0]]),
        velocity_mps=np.zeros((5, 2)),
        piece=np.array([0, 0, 0, 1, 1]),
        between=between,
    )

    assert _close_places(drive) == ("position", "velocity")
    assert asked["index"] == [0, 0, 0, 1, 2, 3, 4]
    assert asked["share"] == pytest.approx([0, 1 / 3, 2 / 3, 0, 0, 0, 0])


def test_fixes_close_together_are_as_they_are():
    drive = along(100.0, 120.0)

    position, velocity = _close_places(drive)

    assert position is drive.position_m
    assert velocity is drive.velocity_mps


def test_of_fewer_than_three_passes_the_scatter_is_assumed():
    # Of three the median is 1 and the deviations 1, 0 and 2, of normal ones 1.4826 times.
    offset, place = np.array([0.0, 9.0, 0.0, 1.0, 3.0]), np.array([0, 0, 1, 1, 1])
    assert _spreads(offset, place) == pytest.approx([0.5, 1.4826], rel=1e-4)
