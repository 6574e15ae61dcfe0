"""Which fixes of a drive are in the pits."""

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, on_earth, track_of

from trackkit.gates.pit_lane import set_pit_lane
from trackkit.gates.pits import in_pits
from trackkit.track.features import Gate


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)


def pit_gate(kind, middle, ahead, half_m=6.0):
    """A gate square to a direction, its left end on the left of whoever goes there."""
    left = middle + half_m * np.array([-ahead[1], ahead[0]])
    ends = on_earth(np.array([left, 2.0 * middle - left]))
    (west, east), (south, north) = (axis.tolist() for axis in ends)
    return Gate(kind, kind, "", (west, south), (east, north))


@pytest.mark.parametrize("bearing_deg", range(0, 360, 30))
def test_from_the_gate_that_leads_in_to_the_one_that_leads_out_all_is_in_the_pits(
    block, bearing_deg
):
    # Straight past both, whichever way that is: fixes 10 m apart, gates at 45 and at 155 m.
    ahead = np.array([np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))])
    fixes = np.outer(np.arange(0.0, 200.0, 10.0), ahead)
    gates = (
        pit_gate("pit-entry", 45.0 * ahead, ahead),
        pit_gate("pit-exit", 155.0 * ahead, ahead),
    )
    track = replace(block, gates=(*block.gates, *gates))
    on_plane = track.plane.to_plane(*on_earth(fixes))

    inside = in_pits(track, on_plane, np.full(len(fixes), 50.0))

    assert np.flatnonzero(inside).tolist() == list(range(4, 16))


@pytest.mark.parametrize(
    ("aside_m", "backwards"),
    [(-8.0, False), (8.0, False), (0.0, True)],
    ids=["past its right end", "past its left end", "against its direction"],
)
def test_a_gate_that_is_not_crossed_leads_nowhere(block, aside_m, backwards):
    north = np.array([0.0, 1.0])
    gates = (
        pit_gate("pit-entry", np.array([aside_m, 45.0]), -north if backwards else north),
        pit_gate("pit-exit", 155.0 * north, north),
    )
    track = replace(block, gates=(*block.gates, *gates))
    on_plane = track.plane.to_plane(*on_earth(np.outer(np.arange(0.0, 200.0, 10.0), north)))

    assert not in_pits(track, on_plane, np.full(len(on_plane), 50.0)).any()


def test_who_is_nearer_to_the_pit_lane_than_to_the_line_is_in_the_pits(block):
    # The straight is at y = -130, the lane at -110.
    lane = on_earth(np.array([[-180.0, -130.0], [-150.0, -110.0], [150.0, -110.0], [180, -130.0]]))
    track, _ = set_pit_lane(block, *lane)
    y = np.array([-131.0, -122.0, -118.0, -108.0])
    fixes = track.plane.to_plane(*on_earth(np.column_stack([np.zeros(4), y])))

    assert in_pits(track, fixes, np.abs(y + 130.0)).tolist() == [False, False, True, True]


@pytest.mark.parametrize(("begin_m", "passed"), [(44.5, True), (45.5, False)])
def test_who_comes_from_just_in_front_of_a_gate_has_not_passed_it(block, begin_m, passed):
    north = np.array([0.0, 1.0])
    gates = (pit_gate("pit-entry", 45.0 * north, north), pit_gate("pit-exit", 155.0 * north, north))
    track = replace(block, gates=(*block.gates, *gates))
    fixes = np.outer(np.arange(begin_m, 200.0, 10.0), north)
    on_plane = track.plane.to_plane(*on_earth(fixes))

    inside = in_pits(track, on_plane, np.full(len(fixes), 50.0))

    assert inside.any() == passed
    assert inside[0] == passed


def test_every_visit_ends_at_the_next_exit(block):
    north = np.array([0.0, 1.0])
    gates = (pit_gate("pit-entry", 45.0 * north, north), pit_gate("pit-exit", 155.0 * north, north))
    track = replace(block, gates=(*block.gates, *gates))
    once = np.outer(np.arange(0.0, 200.0, 10.0), north)
    # Round again far aside, and in once more; the last time it stays.
    fixes = np.concatenate([once, once[::-1] + np.array([300.0, 0.0]), once, once[:12]])
    on_plane = track.plane.to_plane(*on_earth(fixes))

    inside = in_pits(track, on_plane, np.full(len(fixes), 50.0))

    assert np.flatnonzero(inside).tolist() == [*range(4, 16), *range(44, 56)]


def test_close_to_the_line_nobody_is_in_the_pits_though_the_lane_is_closer(block):
    # The lane joins the straight at y = -130 here.
    lane = on_earth(np.array([[-180.0, -130.0], [-150.0, -110.0], [150.0, -110.0], [180, -130.0]]))
    track, _ = set_pit_lane(block, *lane)
    fixes = track.plane.to_plane(*on_earth(np.array([[-177.5, -128.2], [-176.5, -127.6]])))

    assert in_pits(track, fixes, np.array([1.8, 2.4])).tolist() == [False, True]


@pytest.mark.parametrize(
    ("aside_m", "passed"), [(-5.0, True), (-7.0, False), (5.0, True), (7.0, False)]
)
def test_a_gate_that_is_passed_at_a_slant_is_passed_where_its_line_is_met(block, aside_m, passed):
    # 10 m aside over each 10 m ahead: at the gate, at 45 m, it is so far from its middle.
    north = np.array([0.0, 1.0])
    gates = (pit_gate("pit-entry", 45.0 * north, north), pit_gate("pit-exit", 155.0 * north, north))
    track = replace(block, gates=(*block.gates, *gates))
    slanted = np.array([[aside_m - 5.0, 40.0], [aside_m + 5.0, 50.0]])
    fixes = np.concatenate([slanted, [[0.0, 100.0], [0.0, 150.0], [0.0, 160.0]]])
    on_plane = track.plane.to_plane(*on_earth(fixes))

    assert in_pits(track, on_plane, np.full(5, 50.0)).any() == passed
