"""A track between two recorded edges: the centre midway, the width as it varies."""

from dataclasses import replace

import numpy as np
import pytest
from drives import Road, arc, drive, hill_course, on_earth, stadium, straight

from trackkit.building.from_edges import build_between
from trackkit.checks.check import check_track
from trackkit.errors import NoLapError
from trackkit.track.file import stored

LANE_M = 1.22
LANE_1_RADIUS_M, LANE_4_RADIUS_M = 36.80, 36.50 + 3 * 1.22 + 0.20
"""The 400 m standard track: straights of 84.39 m; lane 1 is measured 0.30 m from its kerb at
36.50 m, other lanes 0.20 m from their inner line; lanes are 1.22 m wide (World Athletics, Track and
Field Facilities Manual; from memory)."""


def walked(road, *, speed=2.0, laps=1.1, name="edge", **more):
    return drive(road, begin_m=15.0, laps=laps, cruise=speed).recording(
        5, doppler=True, name=name, **more
    )


def test_the_line_between_lane_1_and_lane_4_is_midway_and_they_are_as_far_apart_as_laid_out():
    inner, outer = stadium(radius_m=LANE_1_RADIUS_M), stadium(radius_m=LANE_4_RADIUS_M)
    apart = LANE_4_RADIUS_M - LANE_1_RADIUS_M
    assert apart == pytest.approx(3 * LANE_M - 0.10)

    # Anticlockwise, the infield is on the left.
    track = build_between([walked(inner)], [walked(outer)], "Lanes").track

    profile = np.array(track.centreline.width_profile)
    assert profile[:, 1] == pytest.approx(apart / 2, abs=0.06)
    assert profile[:, 2] == pytest.approx(apart / 2, abs=0.06)
    assert track.centreline.width_m == pytest.approx(apart, abs=0.05)
    # The length of a closed line at a distance d outside another is longer by 2 pi d.
    assert track.length_m == pytest.approx(400.0 + np.pi * apart, abs=0.1)
    assert track.line == "centre"
    assert track.direction == "anticlockwise"


def test_a_width_that_varies_is_told_by_chainage():
    # Two circles whose middles are 2 m apart: 8 m wide on one side, 12 m on the other.
    inner = Road((arc(60, 360),), start=(0.0, -60.0))
    outer = Road((arc(70, 360),), start=(2.0, -70.0))

    result = build_between([walked(inner)], [walked(outer)], "Moon")

    profile = np.array(result.track.centreline.width_profile)
    width = profile[:, 1] + profile[:, 2]
    assert width.min() == pytest.approx(8.0, abs=0.1)
    assert width.max() == pytest.approx(12.0, abs=0.1)
    assert np.argmax(width) != np.argmin(width)
    assert result.band == result.track.centreline.width_profile
    assert np.diff(profile[:, 0]).max() < 10.5


def test_edges_walked_either_way_round_make_the_track_whose_left_edge_is_left():
    inner, outer = stadium(radius_m=36.8), stadium(radius_m=46.8)
    other_way = replace(
        walked(inner),
        longitude_deg=walked(inner).longitude_deg[::-1],
        latitude_deg=walked(inner).latitude_deg[::-1],
        speed_mps=None,
        course_deg=None,
    )

    left_inside = build_between([other_way], [walked(outer)], "A").track
    left_outside = build_between([walked(outer)], [other_way], "B").track

    assert left_inside.direction == "anticlockwise"
    assert left_outside.direction == "clockwise"


def test_driven_laps_tell_the_direction_and_swapped_edges_are_refused():
    inner, middle, outer = (stadium(radius_m=r) for r in (31.8, 36.8, 41.8))
    laps = drive(middle, laps=3.2, cruise=15.0).recording(10, doppler=True, name="laps")

    result = build_between([walked(inner)], [walked(outer)], "C", driven=[laps], sectors=2)

    assert result.track.direction == "anticlockwise"
    assert result.track.line == "centre"
    assert result.laps_used == 3
    assert any("km/h" in remark for remark in result.remarks)
    assert [f for f in check_track(stored(result.track)) if f.severity == "error"] == []
    with pytest.raises(NoLapError, match="lies on the right") as caught:
        build_between([walked(outer)], [walked(inner)], "C", driven=[laps])
    assert "swap" in caught.value.remedy.what


def test_edges_of_different_circuits_are_refused():
    far = walked(stadium(radius_m=130.0))

    with pytest.raises(NoLapError, match="not those of one track"):
        build_between([walked(stadium())], [far], "X")


def test_edges_of_an_open_course():
    def beside(metres):
        road = hill_course()
        outing = drive(road, cruise=10.0, from_rest=True)
        position = outing.position
        recording = outing.recording(5, doppler=True)
        way, _ = outing.way(recording.time_s)
        place, ahead = position(way)
        aside = place + metres * np.column_stack([-ahead[:, 1], ahead[:, 0]])
        longitude, latitude = on_earth(aside)
        return replace(
            recording,
            longitude_deg=longitude,
            latitude_deg=latitude,
            speed_mps=None,
            course_deg=None,
        )

    track = build_between([beside(4.0)], [beside(-4.0)], "Hill", is_open=True).track

    assert not track.closed
    width = np.array(track.centreline.width_profile)[3:-3, 1:].sum(axis=1)
    assert width == pytest.approx(8.0, abs=0.3)


def test_a_narrow_part_is_told():
    # The right edge comes in by 3 m along the back straight.
    lean = np.degrees(np.arccos(1 - 1.5 / 60.0))
    half = arc(44, 180)
    used = 4 * 60.0 * np.sin(np.radians(lean))
    pinch = (arc(60, lean), arc(-60, lean), straight(40), arc(-60, lean), arc(60, lean))
    outer = Road(
        (
            straight(100),
            half,
            straight(80 - used / 2),
            *pinch,
            straight(80 - used / 2),
            half,
            straight(100),
        ),
        start=(0.0, -44.0),
    )
    inner = Road(
        (straight(100), arc(34, 180), straight(200), arc(34, 180), straight(100)),
        start=(0.0, -34.0),
    )

    track = build_between([walked(inner)], [walked(outer)], "Pinch").track

    width = np.array(track.centreline.width_profile)[:, 1:].sum(axis=1)
    assert width.min() == pytest.approx(7.0, abs=0.25)
    assert np.median(width) == pytest.approx(10.0, abs=0.2)
