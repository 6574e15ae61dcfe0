"""Start and finish gates of tracks that are built, and courses from one point to another."""

import numpy as np
import pytest
from built_tracks import built, furthest_from
from drives import (
    drive,
    hill_course,
    on_earth,
    stadium,
)

from trackkit.building.build import build_track
from trackkit.track.places import Place

# Courses from one point to another


def test_an_open_course_gets_a_start_and_a_finish_gate_near_its_ends():
    road = hill_course()
    outing = drive(road, cruise=18.0, from_rest=True)

    result = build_track([outing.recording(10, doppler=True)], "Hill", is_open=True)

    track = result.track
    assert not track.closed
    assert track.direction is None
    assert track.length_m == pytest.approx(road.length_m, abs=4.0)
    assert [g.kind for g in track.gates] == ["start", "finish"]
    assert track.timed_from.chainage_m == pytest.approx(20.0, abs=0.01)
    assert track.finish.chainage_m == pytest.approx(track.length_m - 20.0, abs=0.01)
    assert furthest_from(road, track, ends_m=10.0) < 0.3
    assert any("20 m from the ends" in remark for remark in result.remarks)


def test_two_recorded_runs_of_an_open_course_are_averaged():
    road = hill_course()
    runs = [
        drive(road, cruise=speed, from_rest=True).recording(10, doppler=True, name=f"run {n}")
        for n, speed in enumerate((15.0, 18.0), start=1)
    ]

    result = build_track(runs, "Hill", is_open=True)

    assert result.laps_used == 2
    assert result.track.length_m == pytest.approx(road.length_m, abs=4.0)
    assert result.track.history[-1]["what"] == "built from 2 runs"


def test_sectors_of_an_open_course_lie_between_start_and_finish():
    outing = drive(hill_course(), cruise=18.0, from_rest=True)

    track = build_track([outing.recording(10, doppler=True)], "Hill", is_open=True, sectors=3).track

    kinds = [g.kind for g in track.gates]
    assert kinds == ["start", "sector", "sector", "finish"]
    assert [g.order for g in track.gates] == [0, 1, 2, 3]


# Where the finish goes


def test_the_finish_goes_where_it_is_asked_for():
    longitude, latitude = on_earth(stadium().at(30.0)[0])

    track = built(stadium(), finish=Place(position=(float(longitude), float(latitude)))).track

    start = (track.centreline.longitude_deg[0], track.centreline.latitude_deg[0])
    assert start == pytest.approx((float(longitude), float(latitude)), abs=2e-7)
    assert track.finish.chainage_m == 0.0


def test_two_surveyed_ends_of_the_finish_are_kept_exactly():
    ends, _ = stadium().at(30.0)
    longitude, latitude = on_earth(ends + np.array([[0.0, 9.0], [0.0, -8.0]]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)

    finish = built(stadium(), finish=Place(ends=(left, right))).track.finish

    assert (finish.left, finish.right) == (left, right)
    assert finish.surveyed
    assert finish.chainage_m == 0.0
