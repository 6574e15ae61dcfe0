"""Roads to build tracks from, and how far a track is from its road."""

import numpy as np
import pytest
from drives import Road, arc, drive, on_earth, straights_joined

from trackkit.building.build import build_track
from trackkit.building.path import path_driven
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth


def built(road, *, laps=1.15, cruise=12.0, rate_hz=10, is_open=False, at=(161.0, 47.0), **more):
    outing = drive(road, begin_m=20.0, laps=laps, cruise=cruise)
    recording = outing.recording(rate_hz, doppler=True, at=at)
    return build_track([recording], "Invented", is_open=is_open, **more)


def deviation(road, track):
    position, ahead = road.at(np.arange(0.0, road.length_m, 2.0))
    # With their direction, places at a bridge are held against their own level.
    return track.curve.project(track.plane.to_plane(*on_earth(position)), ahead)[1]


TRACK_400_M = 400.0
"""World Athletics, Track and Field Facilities Manual: two straights of 84.39 m and half circles
measured at 36.80 m; from memory."""


def furthest_from(road, track, at=(161.0, 47.0), ends_m=0.0):
    """How far the track's vertices and the road's own points lie from each other, at most."""
    chainage = np.arange(ends_m, road.length_m - ends_m, 2.0)
    longitude, latitude = on_earth(road.at(chainage)[0], at)
    _, offset = track.curve.project(track.plane.to_plane(longitude, latitude))
    return float(np.abs(offset).max())


def path_of(recording):
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    return path_driven(smooth(recording, plane))


def closed_rectangle(width_m, height_m, radius_m):
    sides_m = (width_m / 2, height_m, width_m, height_m, width_m / 2)
    return Road(straights_joined(arc(radius_m, 90), sides_m))


def assert_is(track, road, *, direction, within_m=4.0, at=(161.0, 47.0), length=5e-3):
    """The line is the road's all the way, to a receiver's wander, and no other line."""
    assert track.closed
    assert track.direction == direction
    assert track.length_m == pytest.approx(road.length_m, rel=length)
    assert abs(track.curve.turning()) == pytest.approx(0 if direction is None else 1, abs=1e-6)
    chainage = np.arange(0.0, road.length_m, 2.0)
    position, ahead = road.at(chainage)
    on_plane = track.plane.to_plane(*on_earth(position, at))
    where, offset = track.curve.project(on_plane, ahead)
    assert np.abs(offset).max() < within_m
    assert np.einsum("ij,ij->i", track.curve.direction(where), ahead).min() > 0.3
    steps = np.diff(np.unwrap(where, period=track.length_m))
    assert steps.min() > -2.0
    assert abs(steps.sum() - track.length_m) < 10.0
