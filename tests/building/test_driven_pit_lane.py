"""The pit lane of a track that has none, taken from recordings of visits of it."""

from dataclasses import replace

import numpy as np
import pytest
from drives import drive, on_earth
from pit_sessions import furthest_from_lane, pit_offset, rectangle, session

from trackkit.building.build import build_track
from trackkit.building.driven_pit_lane import set_driven_pit_lane
from trackkit.errors import PlaceError
from trackkit.gates.edit import place_gate
from trackkit.recordings.recording import Recording
from trackkit.track.model import Track
from trackkit.track.places import Place


@pytest.fixture(scope="module")
def track() -> Track:
    """The circuit as laps that stay out of the pits show it."""
    laps = drive(rectangle(), laps=3.2, cruise=25.0, paddock=True).recording(10, doppler=True)
    return build_track([laps], "Skerry").track


def between(recording, begin, end):
    """Some fixes of a recording, by number."""
    part = slice(begin, end)
    return Recording(
        recording.name,
        recording.time_s[part] - recording.time_s[begin],
        recording.longitude_deg[part],
        recording.latitude_deg[part],
    )


def through_the_lane(speed_mps, begin_m=-300.0, end_m=300.0):
    """The straight with its pit lane from one place to another, at one speed."""
    along = np.arange(begin_m, end_m, speed_mps * 0.1)
    position, ahead = rectangle().at(along % rectangle().length_m)
    aside = pit_offset(along)[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    return Recording("visit", np.arange(len(along)) * 0.1, *on_earth(position + aside))


@pytest.mark.parametrize("visits", [(2,), (1, 3, 4)])
@pytest.mark.parametrize("stop_s", [0.0, 25.0], ids=["through", "with-a-stop"])
def test_the_pit_lane_is_where_the_visits_drove(track, visits, stop_s):
    changed, remarks = set_driven_pit_lane(track, [session(visits=visits, stop_s=stop_s)], by="Ada")

    (lane,) = changed.pit_lanes
    assert furthest_from_lane(changed, lane) < 0.8
    many = f"{len(visits)} visit{'s' if len(visits) > 1 else ''}"
    assert f"found from {many}: on the left" in remarks[0]
    entry = changed.history[-1]
    assert (entry["by"], entry["what"].startswith("added a pit lane of")) == ("Ada", True)
    assert entry["what"].endswith(f", from {many} in session")


def test_several_visits_are_averaged(track):
    # One visit 3 m nearer to the track than two others: the median is theirs.
    near, far = session(visits=(2,), aside_m=15.0), session(visits=(1, 3))

    changed, remarks = set_driven_pit_lane(track, [near, far])

    assert "found from 3 visits" in remarks[0]
    assert furthest_from_lane(changed, changed.pit_lanes[0]) < 0.8


@pytest.mark.parametrize("speed_mps", [3.0, 12.0])
def test_one_slow_passage_of_the_straight_is_enough(track, speed_mps):
    changed, _ = set_driven_pit_lane(track, [through_the_lane(speed_mps)])

    assert furthest_from_lane(changed, changed.pit_lanes[0]) < 0.8


def test_a_recording_of_the_pit_lane_alone_is_one_visit(track):
    changed, _ = set_driven_pit_lane(track, [through_the_lane(3.0, -150.0, 150.0)])

    assert furthest_from_lane(changed, changed.pit_lanes[0]) < 0.8


def test_a_visit_takes_the_place_of_the_lane_that_was_there(track):
    once, _ = set_driven_pit_lane(track, [session(aside_m=30.0)])
    again, _ = set_driven_pit_lane(once, [session()])

    assert [lane.id for lane in again.pit_lanes] == [lane.id for lane in once.pit_lanes]
    assert furthest_from_lane(again, again.pit_lanes[0]) < 0.8
    assert again.history[-1]["what"].startswith("changed the pit lane to")


def test_pit_gates_go_to_the_lane_and_are_told_when_it_leaves_them(track):
    once, _ = set_driven_pit_lane(track, [session()])
    (lane,) = once.pit_lanes
    third = len(lane.longitude_deg) // 3
    where = float(lane.longitude_deg[third]), float(lane.latitude_deg[third])
    entry = place_gate(once, "pit-entry", Place(position=where))

    _, remarks = set_driven_pit_lane(entry.track, [session(aside_m=40.0)])

    assert "gate Pit entry does not lie across this pit lane: move it there" in remarks


def test_cars_within_a_wide_band_are_not_in_the_pits(track):
    # 60 m of road, and cars that crawl 18 m off the line are on it.
    wide = replace(track, centreline=replace(track.centreline, width_m=60.0))

    with pytest.raises(PlaceError, match="holds no visit of the pit lane"):
        set_driven_pit_lane(wide, [session()])


@pytest.mark.parametrize(
    "recording",
    [
        drive(rectangle(), laps=2.2, cruise=25.0).recording(10, doppler=True),
        session(pit_mps=24.0),
        between(session(visits=(2,)), 0, 1100),
    ],
    ids=["laps alone", "as fast as on the track", "driven in and not out again"],
)
def test_without_a_visit_the_sentence_says_what_was_looked_for(track, recording):
    with pytest.raises(PlaceError) as refused:
        set_driven_pit_lane(track, [recording])

    assert "no visit of the pit lane of 'Skerry'" in str(refused.value)
    assert "80 m or more clear of the track and at most 80 m beside it, at 75 %" in str(
        refused.value
    )
    assert "record one visit with the track before and after it" in str(refused.value)
