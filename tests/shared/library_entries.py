"""Invented circuits as a library knows them, anywhere on earth."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from drives import stadium, track_of
from geographiclib.geodesic import Geodesic

from trackkit.library.known import Atlas, circuit_of

EARTH = Geodesic.WGS84


def track_at(at, *, track_id="invented", name="Invented", road=None, **more):
    road = road or stadium()
    track = track_of(road, gates=[("finish", "finish", 10.0)], at=at, name=name, spacing_m=10.0)
    return replace(track, id=track_id, revised="2024-01-01T00:00:00Z", **more)


def known_at(at, track_id="invented", **more):
    return circuit_of(track_at(at, track_id=track_id, **more), Path(f"{track_id}.geojson"))


def locate(known, longitude_deg, latitude_deg, **more):
    return Atlas.of(known).locate(longitude_deg, latitude_deg, **more)


def shifted(at, north_m, east_m):
    place = EARTH.Direct(
        at[1],
        at[0],
        float(np.degrees(np.arctan2(east_m, north_m))),
        float(np.hypot(north_m, east_m)),
    )
    return place["lon2"], place["lat2"]
