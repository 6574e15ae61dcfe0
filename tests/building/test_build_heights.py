"""Heights of tracks that are built, and lengths at the surface."""

from dataclasses import replace

import numpy as np
import pytest
from drives import (
    drive,
    hill_course,
    stadium,
)

from trackkit.building.build import build_track


def test_elevation_is_kept():
    outing = drive(stadium(), begin_m=20.0, laps=1.2, cruise=12.0)
    # A plane that rises 3 m in 100 m to the east, from 500 m.
    recording = outing.recording(10, doppler=True, height=lambda p: 500.0 + 0.03 * p[:, 0])

    line = build_track([recording], "X").track.centreline

    east = (line.longitude_deg - 161.0) * 111_320.0 * np.cos(np.radians(47.0))
    assert line.height_m == pytest.approx(500.0 + 0.03 * east, abs=0.15)


def test_length_at_the_surface_is_longer_by_height_over_the_earths_radius():
    # At 1,900 m a circle is longer by 1900 / 6,371,009, that is 0.0298 %: 0.119 m of 400.
    outing = drive(stadium(), begin_m=20.0, laps=1.2, cruise=12.0)
    recording = outing.recording(10, doppler=True, height=lambda p: np.full(len(p), 1900.0))

    track = build_track([recording], "X").track

    assert track.length_surface_m - track.length_m == pytest.approx(0.1193, abs=0.0005)


def test_length_at_the_surface_follows_the_slope():
    # A course that climbs 10 in 100 all the way is longer by sqrt(1 + 0.1^2) = 1.004988.
    outing = drive(hill_course(), cruise=15.0, from_rest=True)
    recording = outing.recording(10, doppler=True)
    way, _ = outing.way(recording.time_s)

    track = build_track([replace(recording, elevation_m=0.1 * way)], "X", is_open=True).track

    assert track.length_surface_m / track.length_m == pytest.approx(1.004988, abs=3e-5)


def test_without_elevation_there_is_no_length_at_the_surface(athletics):
    assert athletics.track.length_surface_m is None
    assert athletics.track.centreline.height_m is None
