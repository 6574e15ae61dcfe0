"""The pit lane of a track: given, changed and taken out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, on_earth, track_of

from trackkit.errors import PlaceError
from trackkit.gates.pit_lane import FARTHEST_LANE_M, SHORTEST_LANE_M, remove_pit_lane, set_pit_lane
from trackkit.track.features import Gate, PitLane


@pytest.fixture(scope="module")
def block():
    """Its first straight goes east at y = -130."""
    return track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)


def lane(*points):
    return on_earth(np.array(points, dtype=float))


LANE = lane((-180, -130), (-150, -110), (150, -110), (180, -130))


def pit_gate(kind, x_m, y_m=-110.0):
    ends = on_earth(np.array([[x_m, y_m + 6.0], [x_m, y_m - 6.0]]))
    (west, east), (south, north) = (axis.tolist() for axis in ends)
    return Gate(kind, kind, kind.title(), (west, south), (east, north))


def test_a_lane_that_is_given_is_of_the_track_with_who_gave_it_and_its_length(block):
    track, remarks = set_pit_lane(block, *LANE, by="Ada", source="a walk")

    assert remarks == ()
    (given,) = track.pit_lanes
    np.testing.assert_allclose(given.longitude_deg, LANE[0])
    np.testing.assert_allclose(given.latitude_deg, LANE[1])
    last = track.history[-1]
    # Two ways of 36.06 m beside the straight of 300 m.
    assert last["what"] == "added a pit lane of 372 m, from a walk"
    assert last["by"] == "Ada"


def test_without_a_source_none_is_told(block):
    track, _ = set_pit_lane(block, *LANE)

    assert track.history[-1]["what"] == "added a pit lane of 372 m"
    assert track.history[-1].get("by") is None


def test_the_first_of_two_lanes_is_changed_and_the_other_stays(block):
    second = PitLane("other", *lane((-100, 150), (100, 150)))
    track, _ = set_pit_lane(block, *LANE)
    first = replace(track.pit_lanes[0], height_m=np.full(4, 9.0))
    track = replace(track, pit_lanes=(first, second))

    changed, _ = set_pit_lane(track, *lane((-50, -110), (50, -110)))

    assert [each.id for each in changed.pit_lanes] == [first.id, "other"]
    assert changed.pit_lanes[1] is second
    assert len(changed.pit_lanes[0].longitude_deg) == 2
    # Heights were those of another line.
    assert changed.pit_lanes[0].height_m is None
    assert changed.history[-1]["what"] == "changed the pit lane to a pit lane of 100 m"


def test_two_lanes_at_two_places_have_two_ids(block):
    here, _ = set_pit_lane(block, *LANE)
    there, _ = set_pit_lane(block, *lane((-50, -110), (50, -110)))

    assert here.pit_lanes[0].id != there.pit_lanes[0].id
    assert set_pit_lane(block, *LANE)[0].pit_lanes[0].id == here.pit_lanes[0].id


@pytest.mark.parametrize(("beyond_m", "turned"), [(-60.0, False), (90.0, True)])
def test_most_of_a_line_says_which_way_it_goes(block, beyond_m, turned):
    # Out to a turning place and back: along the track for longer, or against it.
    line = lane((-100, -110), (20, -110), (20, -106), (-40 - beyond_m, -106))

    track, remarks = set_pit_lane(block, *line)

    assert (remarks != ()) == turned
    first = track.pit_lanes[0].longitude_deg[0]
    assert first == pytest.approx(line[0][-1 if turned else 0])


@pytest.mark.parametrize(("beyond_m", "refused"), [(-0.5, True), (0.5, False)])
def test_a_lane_has_some_length(block, beyond_m, refused):
    half = 0.5 * (SHORTEST_LANE_M + beyond_m)
    line = lane((-half, -110), (half, -110))

    if refused:
        with pytest.raises(PlaceError, match=r"a pit lane of 19\.5 m is too short"):
            set_pit_lane(block, *line)
    else:
        set_pit_lane(block, *line)


@pytest.mark.parametrize(("beyond_m", "refused"), [(-1.0, False), (1.0, True)])
def test_a_lane_is_somewhere_near_the_line(block, beyond_m, refused):
    y = -130.0 - FARTHEST_LANE_M - beyond_m
    line = lane((-40, y), (0, y - 50.0))

    if refused:
        with pytest.raises(PlaceError, match=r"passes 301 m from the line of 'Invented'"):
            set_pit_lane(block, *line)
    else:
        set_pit_lane(block, *line)


def test_gates_that_do_not_lie_across_a_lane_are_told_by_name(block):
    gates = (*block.gates, pit_gate("pit-entry", -100.0), pit_gate("pit-exit", 120.0, -80.0))
    track = replace(block, gates=gates)

    _, remarks = set_pit_lane(track, *LANE)

    assert remarks == ("gate Pit-Exit does not lie across this pit lane: move it there",)


def test_a_lane_is_taken_out_and_gates_that_stay_are_told(block):
    track, _ = set_pit_lane(block, *LANE)
    track = replace(track, gates=(*track.gates, pit_gate("pit-entry", -100.0)))

    without, remarks = remove_pit_lane(track, by="Ada")

    assert without.pit_lanes == ()
    assert remarks == ("gate Pit-Entry stays where the pit lane was",)
    assert without.gates == track.gates
    assert (without.history[-1]["what"], without.history[-1]["by"]) == (
        "removed the pit lane",
        "Ada",
    )


def test_of_two_lanes_the_first_is_taken_out(block):
    lanes = [PitLane(name, *LANE) for name in ("one", "two", "three")]

    without, remarks = remove_pit_lane(replace(block, pit_lanes=tuple(lanes)))

    assert [each.id for each in without.pit_lanes] == ["two", "three"]
    assert remarks == ()


def test_where_there_is_no_lane_none_is_taken_out(block):
    with pytest.raises(PlaceError, match="'Invented' has no pit lane"):
        remove_pit_lane(block)
