"""An invented ring with one of each feature, and what it is exported to."""

from dataclasses import replace

import numpy as np
import pytest

from trackkit.export.export import export_track
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.features import Centreline, Corner, Gate, PitLane
from trackkit.track.model import Track


def make_track(at=(161.0, 47.0)):
    """An invented ring, 628 m round, driven anticlockwise, with one of each feature."""
    plane = LocalPlane(*at)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    curve = Curve.through(np.column_stack([100 * np.cos(angle), 100 * np.sin(angle)]), closed=True)
    chainage = np.append(curve.sampled(), 0.0)
    longitude, latitude = plane.to_geographic(curve.position(chainage))
    quarter = curve.length_m / 4

    def gate(name, kind, place_m):
        ends = curve.position(place_m) + [[6.0], [-6.0]] * curve.left(place_m)
        lon, lat = plane.to_geographic(ends)
        left, right = zip(lon.tolist(), lat.tolist(), strict=True)
        return Gate(name.lower(), kind, name, left, right, chainage_m=place_m)

    apex_lon, apex_lat = plane.to_geographic(curve.position(30.0))
    corner = Corner(
        number=1,
        name="Mill & Pond <bend>",
        turn="left",
        apex=(float(apex_lon), float(apex_lat)),
        entry_m=10.0,
        apex_m=30.0,
        exit_m=60.0,
        min_radius_m=99.5,
        properties={"banked": [1, 2]},
    )
    pit_lon, pit_lat = plane.to_geographic(curve.position(np.linspace(-20, 20, 5)) * 0.9)
    line = Centreline(
        longitude, latitude, True, height_m=500 + 5 * np.sin(chainage / 100), width_m=10.0
    )
    gates = [
        gate("Finish", "finish", 0.0),
        gate("Half", "sector", 2 * quarter),
        gate("North", "sector", quarter),
    ]
    return Track(
        "ring",
        "Invented Ring",
        line,
        curve.length_m,
        layout="short",
        direction="anticlockwise",
        country="AT",
        notes="An invented circuit: nobody races here.",
        corners=(corner,),
        pit_lanes=(PitLane("pit", pit_lon, pit_lat),),
    ).with_gates(gates)


@pytest.fixture(scope="session")
def track():
    return make_track()


@pytest.fixture(scope="session")
def astride():
    """Centred on the antimeridian: the gate at the north is cut in two by it."""
    return make_track(at=(180.0, -27.0))


@pytest.fixture
def exported(tmp_path):
    """Export a track, and say to which file."""

    def export(track, fmt):
        path = tmp_path / f"ring.{fmt}"
        export_track(track, path, fmt)
        return path

    return export


@pytest.fixture
def oddly_named(track):
    """The ring, with characters in the finish gate's name that XML cannot hold."""
    finish, *others = track.gates
    return track.with_gates([replace(finish, name="Fin\x00i\x1bsh \ud800Ö"), *others])
