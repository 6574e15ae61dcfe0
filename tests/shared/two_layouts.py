"""Two invented layouts that share their first straight, as a library knows them, and drives."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from drives import Road, arc, drive, straight, track_of

from trackkit.library.known import Atlas, circuit_of

LONG = Road((straight(400.0), arc(50, 180), straight(400.0), arc(50, 180)), start=(-200.0, -50.0))
SHORT = Road((straight(250.0), arc(50, 180), straight(250.0), arc(50, 180)), start=(-200.0, -50.0))
"""Two layouts that share a straight of 250 m, where the short one turns off: 20 m further on the
two are sqrt(2 * 50 * 20) = 45 m along the bend apart by school geometry, at about 295 m."""


def known(road, track_id, *, reverse=False, at=(161.0, 47.0), **more):
    track = track_of(road, at=at, spacing_m=5.0, name=track_id)
    if reverse:
        line = track.centreline
        turned = replace(
            line, longitude_deg=line.longitude_deg[::-1], latitude_deg=line.latitude_deg[::-1]
        )
        track = replace(track, centreline=turned, direction="clockwise")
    return circuit_of(replace(track, id=track_id, **more), Path(f"{track_id}.geojson"))


BOTH = Atlas.of([known(LONG, "long"), known(SHORT, "short")])


def recorded(road, *, begin_m=5.0, rate_hz=5, noise=1.0, laps=1.0, seed=0, cruise=20.0):
    outing = drive(road, begin_m=begin_m, laps=laps, cruise=cruise)
    return outing.recording(rate_hz, noise=noise, seed=seed)


def chainage(recording, road):
    """Where each fix is along a road: metres from where the drive began, by adding up."""
    from drives import GEOD

    step = GEOD.inv(
        recording.longitude_deg[:-1],
        recording.latitude_deg[:-1],
        recording.longitude_deg[1:],
        recording.latitude_deg[1:],
    )[2]
    return np.concatenate([[0.0], np.cumsum(step)])
