"""A finish gate that is chosen: across the pit lane where it can be, elsewhere where it cannot."""

from __future__ import annotations

import numpy as np
import pytest
from drives import stadium

from trackkit.building.assemble import _passes_beside, _reach_m, _too_wide_over, assembled
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane

ROAD = stadium(300.0, 60.0)
PLANE = LocalPlane(161.0, 47.0)
CURVE = Curve.through(ROAD.at(np.arange(0.0, ROAD.length_m, 5.0))[0], closed=True)


def lane(aside_m, *, begin_m=60.0, end_m=240.0):
    """Beside the first straight, which runs from 0 to 300 m."""
    chainage = np.arange(begin_m, end_m + 1.0, 5.0)
    position, ahead = ROAD.at(chainage)
    left = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    return Curve.through(position + aside_m * left, closed=False)


def built(pit_lane=None, **more):
    arguments = {"finish": None, "sectors": 1, "sources": (), "width_m": 10.0} | more
    return assembled(CURVE, PLANE, "Invented", "", None, pit_lane=pit_lane, **arguments)


def width_of(track):
    return float(np.linalg.norm(np.diff(track.gate_ends(track.finish), axis=0)))


TRACK, _ = built()


def on_track(road_m):
    """Chainages of the track, which begins at its finish, of chainages of the road."""
    return TRACK.curve.project(ROAD.at(np.asarray(road_m))[0])[0]


def test_a_lane_passes_by_chainage_and_side():
    where, aside = _passes_beside(CURVE, lane(-14.0))

    assert aside == pytest.approx(-14.0, abs=0.05)
    assert (where[0], where[-1]) == pytest.approx((60.0, 240.0), abs=0.5)
    assert np.diff(where) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(
    ("aside_m", "left_m", "right_m"), [(14.0, 14.0, 0.0), (-14.0, 0.0, 14.0), (2.0, 0.0, 0.0)]
)
def test_a_gate_reaches_over_the_lane_on_its_side_and_over_the_band_on_the_other(
    aside_m, left_m, right_m
):
    left, right = _reach_m(TRACK, np.array([aside_m]))

    # Half of the band of 10 m, and over either the same margin again.
    plain = _reach_m(TRACK, np.array([0.0]))[0][0]
    margin = plain - 5.0
    assert margin > 0.0
    assert left == pytest.approx([left_m + margin if left_m else plain])
    assert right == pytest.approx([right_m + margin if right_m else plain])


def test_where_a_gate_would_be_too_wide_is_told_place_by_place():
    places = on_track([20.0, 150.0, 300.0])

    assert _too_wide_over(TRACK, None)(places).tolist() == [False] * 3
    assert _too_wide_over(TRACK, lane(-14.0))(places).tolist() == [False] * 3
    # Over a lane 70 m away no gate is meant to reach; where the lane does not pass, it need not.
    assert _too_wide_over(TRACK, lane(-70.0))(places).tolist() == [False, True, False]


def test_a_lane_passes_a_place_three_metres_before_it_and_behind():
    too_wide = _too_wide_over(TRACK, lane(-70.0))

    assert too_wide(on_track([56.0, 58.0, 242.0, 244.0])).tolist() == [False, True, True, False]


@pytest.mark.slow
@pytest.mark.parametrize("aside_m", [14.0, -14.0])
def test_a_finish_chosen_beside_the_lane_spans_it(aside_m):
    # It lies on the second straight, which runs from 488.5 to 788.5 m.
    pit_lane = lane(aside_m, begin_m=500.0, end_m=780.0)

    track, remarks = built(pit_lane)

    gate = track.finish
    assert gate.surveyed is False
    crossed = pit_lane.crossed_by(*track.gate_ends(gate))
    spans = any("reaches across the pit lane" in remark for remark in remarks)
    assert spans == (len(crossed) == 1)
    assert spans
    left, right = _reach_m(track, np.array([aside_m]))
    assert width_of(track) == pytest.approx(float(left[0] + right[0]), abs=0.1)


def test_a_finish_away_from_the_lane_is_as_it_is_without():
    track, remarks = built(lane(14.0))

    assert width_of(track) == pytest.approx(width_of(TRACK), abs=0.1)
    assert not any("pit lane" in remark for remark in remarks)


def test_the_finish_is_told_by_its_own_place():
    _, remarks = built()

    (sentence,) = [remark for remark in remarks if remark.startswith("finish gate at ")]
    assert "(0.0 m)" in sentence
    assert not any("sector" in remark for remark in remarks)


@pytest.mark.parametrize(("sectors", "gates"), [(1, 0), (2, 1), (3, 2)])
def test_sectors_are_parted_by_one_gate_fewer(sectors, gates):
    track, _ = built(sectors=sectors)

    assert len(track.gates_of_kind("sector")) == gates
