"""Gates square to the track, as wide as they should be."""

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, hairpin_circuit, track_of
from named_block import at
from pyproj import Geod

from trackkit.errors import PlaceError
from trackkit.gates.placement import with_gate
from trackkit.gates.square import square_ends, widest_clear_m


@pytest.mark.parametrize("chainage_m", [50.0, 223.0, 480.0, 800.0, 1160.0])
def test_a_gate_is_square_to_the_track_with_its_left_end_on_the_drivers_left(bare, chainage_m):
    changed, gate, _ = with_gate(bare, "sector", at(chainage_m))

    left, right = changed.gate_ends(gate)
    _, ahead = block_circuit().at(chainage_m)
    across = (left - right) / np.linalg.norm(left - right)
    assert across == pytest.approx([-ahead[1], ahead[0]], abs=np.sin(np.radians(0.5)))
    assert gate.chainage_m == pytest.approx(chainage_m, abs=0.01)
    assert not gate.surveyed


def test_a_gate_reaches_4_m_beyond_the_band_on_either_side(bare):
    # Half a band of 10 m and 4 m, on both sides: 18 m.
    banded = replace(bare, centreline=replace(bare.centreline, width_m=10.0))

    _, gate, _ = with_gate(banded, "sector", at(350.0))

    assert gate.width_m == pytest.approx(18.0, abs=0.001)


def test_a_band_nobody_knows_is_taken_as_12_m(bare):
    assert with_gate(bare, "sector", at(350.0))[1].width_m == pytest.approx(20.0, abs=0.001)


def test_a_width_may_be_given(bare):
    _, gate, _ = with_gate(bare, "sector", at(350.0), width_m=31.0)

    # Karney's geodesic, by PROJ.
    _, _, width = Geod(ellps="WGS84").inv(*gate.left, *gate.right)
    assert width == pytest.approx(31.0, abs=0.001)


@pytest.mark.parametrize("width_m", [0.0, 0.4, -3.0, 501.0, float("nan")])
def test_a_width_that_makes_no_sense_is_refused(bare, width_m):
    with pytest.raises(PlaceError, match="m wide is not sensible"):
        with_gate(bare, "sector", at(350.0), width_m=width_m)


def test_a_gate_is_shortened_beside_other_track_and_says_so():
    # At 60 m of the hairpin circuit another leg runs 8 m to the left; a receiver's accuracy is
    # taken as 3 m, so the left end may be 5 m from the centreline. To the right there is nothing.
    track = track_of(hairpin_circuit(), gates=[("finish", "finish", 700.0)], spacing_m=2.0)

    left, right, (remark,) = square_ends(track, 100.0, None)

    ends = track.plane.to_plane([left[0], right[0]], [left[1], right[1]])
    reach = np.linalg.norm(ends - track.curve.position(100.0), axis=1)
    assert reach == pytest.approx([5.0, 10.0], abs=0.05)
    assert "left end is 5.0 m from the centreline instead of 10.0 m" in remark


@pytest.mark.parametrize(("accuracy_m", "half_m"), [(None, 5.0), (1.0, 5.0), (4.5, 3.5)])
def test_a_gate_has_room_on_both_sides_for_what_the_nearer_leg_leaves(accuracy_m, half_m):
    # The other leg is 8 m away; a receiver's accuracy, 3 m or the track's own, is kept from it.
    track = track_of(hairpin_circuit(), spacing_m=2.0, accuracy_m=accuracy_m)

    assert widest_clear_m(track, 140.0) == pytest.approx(2.0 * half_m, abs=0.02)


def test_where_other_track_is_nearer_than_the_accuracy_there_is_no_room():
    track = track_of(hairpin_circuit(), spacing_m=2.0, accuracy_m=8.0)

    assert widest_clear_m(track, 140.0) is None


def test_with_no_other_track_near_there_is_room_for_the_band_and_4_m_on_either_side(bare):
    assert widest_clear_m(bare, 694.0) == pytest.approx(12.0 + 8.0)
