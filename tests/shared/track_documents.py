"""An invented oval with everything a track file holds, as a track and as JSON."""

import json

import numpy as np

from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.features import Centreline, Corner, Crossover, Gate, PitLane
from trackkit.track.file import track_text
from trackkit.track.model import Track

PLACES = [(161.0, 47.0), (180.0, -26.5), (-179.9995, 59.0), (0.0, 0.0), (-92.0, -52.0)]


def example(at=(161.0, 47.0), *, heights=False):
    """An invented oval with a finish gate, a sector gate, a corner and a pit lane."""
    plane = LocalPlane(*at)
    angle = np.arange(240) * 2 * np.pi / 240
    curve = Curve.through(np.column_stack([150 * np.cos(angle), 60 * np.sin(angle)]), closed=True)
    vertex = curve.position(curve.sampled())
    longitude, latitude = plane.to_geographic(np.vstack([vertex, vertex[:1]]))
    gates = []
    for number, (kind, where) in enumerate([("finish", 0.0), ("sector", 330.0)]):
        middle, left = curve.position(where), curve.left(where)
        lon, lat = plane.to_geographic(np.stack([middle + 7 * left, middle - 7 * left]))
        gates.append(
            Gate(
                id=f"gate-{number}",
                kind=kind,
                name=f"Gate {number}",
                left=(float(lon[0]), float(lat[0])),
                right=(float(lon[1]), float(lat[1])),
                order=number,
                chainage_m=where,
            )
        )
    pit_lon, pit_lat = plane.to_geographic([[170.0, -40.0], [172.0, 0.0], [170.0, 40.0]])
    apex_lon, apex_lat = plane.to_geographic(curve.position(20.0))
    return Track(
        id="invented-oval",
        name="Invented Oval",
        layout="long",
        centreline=Centreline(
            longitude,
            latitude,
            closed=True,
            height_m=np.linspace(400.0, 410.0, len(longitude)) if heights else None,
            width_m=9.5,
            width_profile=((0.0, 4.5, 5.0), (300.0, 4.0, 4.0)),
        ),
        length_m=curve.length_m,
        direction="anticlockwise",
        gates=tuple(gates),
        corners=(
            Corner(1, "Hay Bale", "left", (float(apex_lon), float(apex_lat)), 5, 20, 40, 24.0),
        ),
        pit_lanes=(PitLane("pit-lane", pit_lon, pit_lat),),
        crossovers=(Crossover(310.2, 55.9),),
        country="AT",
        timezone="Europe/Vienna",
        licence="CC0-1.0",
        revised="2031-05-01T10:00:00Z",
        history=({"revised": "2031-05-01T10:00:00Z", "by": None, "what": "invented"},),
        sources=({"file": "out-lap.gpx", "sha256": "0" * 64, "laps": 3},),
        accuracy_m=0.4,
        accepted=({"rule": "square", "feature": "gate-0", "reason": "the kerb is there"},),
        notes="Invented; no such circuit exists.",
    )


def document(**changes):
    """The JSON of the example as plain lists and objects, to be damaged."""
    return {**json.loads(track_text(example())), **changes}


def written(path, content):
    path.write_bytes(content if isinstance(content, bytes) else json.dumps(content).encode())
    return path


def feature(found, name):
    return next(f for f in found["features"] if f.get("id") == name)


def without(member, *path):
    def damage(found):
        for step in path:
            found = feature(found, step) if step in IDS else found[step]
        del found[member]

    return damage


def with_value(value, *path):
    def damage(found):
        for step in path[:-1]:
            found = feature(found, step) if step in IDS else found[step]
        found[path[-1]] = value

    return damage


IDS = {"centreline", "gate-0", "gate-1", "pit-lane", "corner-1"}
