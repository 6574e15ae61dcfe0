"""Tracks as GPX, read back by gpxpy."""

import gpxpy
import numpy as np
import pytest


def test_gpx_has_the_centreline_and_pit_lane_as_tracks_with_heights(track, exported):
    gpx = gpxpy.parse(exported(track, "gpx").read_text("utf-8"))
    assert gpx.version == "1.1"
    assert gpx.name == "Invented Ring, short"
    assert [(t.name, t.type) for t in gpx.tracks] == [
        ("Invented Ring, short", "centreline"),
        ("pit", "pit-lane"),
    ]
    (segment,) = gpx.tracks[0].segments
    line = track.centreline
    assert [p.longitude for p in segment.points] == pytest.approx(line.longitude_deg, abs=1e-9)
    assert [p.latitude for p in segment.points] == pytest.approx(line.latitude_deg, abs=1e-9)
    assert [p.elevation for p in segment.points] == pytest.approx(line.height_m, abs=5e-4)


def test_gpx_has_gates_as_routes_from_left_to_right_and_waypoints_between(track, exported):
    gpx = gpxpy.parse(exported(track, "gpx").read_text("utf-8"))
    assert [route.name for route in gpx.routes] == [gate.name for gate in track.gates]
    for route, gate in zip(gpx.routes, track.gates, strict=True):
        left, right = route.points
        assert (left.longitude, left.latitude) == pytest.approx(gate.left, abs=1e-9)
        assert (right.longitude, right.latitude) == pytest.approx(gate.right, abs=1e-9)
    finish = gpx.waypoints[0]
    assert finish.type == "finish gate"
    assert finish.description.startswith("finish gate at 0.0 m, 12.0 m wide")
    corner = gpx.waypoints[-1]
    assert (corner.name, corner.type) == ("Mill & Pond <bend>", "corner")


def test_gpx_across_the_antimeridian_is_cut_in_segments_that_meet_there(astride, exported):
    gpx = gpxpy.parse(exported(astride, "gpx").read_text("utf-8"))
    segments = gpx.tracks[0].segments
    for segment in segments:
        longitude = np.array([p.longitude for p in segment.points])
        # GPX 1.1 schema: -180 <= longitude < 180.
        assert longitude.min() >= -180
        assert longitude.max() < 180
        assert np.ptp(longitude) < 0.01
    ends = [segment.points[i].longitude for segment in segments for i in (0, -1)]
    assert sum(abs(abs(longitude) - 180) < 2e-9 for longitude in ends) == 4


def test_characters_xml_cannot_hold_are_left_out_of_names(oddly_named, exported):
    gpx = gpxpy.parse(exported(oddly_named, "gpx").read_text("utf-8"))
    assert gpx.routes[0].name == "Finish Ö"
