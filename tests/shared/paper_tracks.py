"""Tracks of all sizes and shapes to be drawn on paper."""

from dataclasses import replace
from functools import cache

import numpy as np
from checkout import TRACKS
from drives import Road, arc, block_circuit, hairpin_circuit, stadium, straight, track_of

from trackkit.geometry.bends import find_bends
from trackkit.track.features import Corner, PitLane
from trackkit.track.file import read_track
from trackkit.track.model import Track

SAMPLES = sorted(TRACKS.glob("*.geojson"))
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]


def with_corners(track: Track) -> Track:
    corners = []
    for number, bend in enumerate(find_bends(track.curve)[0], start=1):
        at = track.curve.position(np.array([bend.apex_m]))
        longitude, latitude = track.plane.to_geographic(at)
        place = (float(longitude[0]), float(latitude[0]))
        name = "Long Name of a Bend" if number % 3 == 0 else ""
        corners.append(
            Corner(
                number,
                name,
                bend.turn,
                place,
                bend.entry_m,
                bend.apex_m,
                bend.exit_m,
                bend.min_radius_m,
            )
        )
    return replace(track, corners=tuple(corners))


def block(**more) -> Track:
    return with_corners(track_of(block_circuit(), gates=GATES, spacing_m=2.0, **more))


def comb(teeth: int, leg_m: float, radius_m: float) -> Road:
    """A closed circuit of legs side by side, joined by hairpins."""
    turn, back = arc(-radius_m, 180), arc(radius_m, 180)
    pieces = [straight(leg_m), turn, straight(leg_m), back] * teeth
    pieces = pieces[:-1]
    width = (4 * teeth - 2) * radius_m
    home = [
        straight(3 * radius_m),
        arc(-radius_m, 90),
        straight(width - 2 * radius_m),
        arc(-radius_m, 90),
        straight(3 * radius_m),
    ]
    return Road(tuple(pieces + home), heading_deg=90.0)


def twenty_kilometres() -> Track:
    road = comb(12, 700.0, 30.0)
    gates = [("finish", "finish", 300.0), *((f"g-{n}", "sector", 3400.0 * n) for n in range(1, 6))]
    return with_corners(track_of(road, gates=gates, spacing_m=8.0))


def two_hundred_metres() -> Track:
    gates = [("finish", "finish", 20.0), ("gate-a", "sector", 90.0), ("gate-b", "sector", 150.0)]
    return with_corners(track_of(stadium(50.0, 15.9), gates=gates, spacing_m=2.0))


def with_pit_lane(track: Track) -> Track:
    line = track.curve.position(np.array([1250.0, 1300.0, 1380.0, 60.0]))
    line = line + 14.0 * track.curve.left(np.array([1250.0, 1300.0, 1380.0, 60.0]))
    longitude, latitude = track.plane.to_geographic(line)
    return replace(track, pit_lanes=(PitLane("lane", longitude, latitude),))


ODD = {
    "20 km": twenty_kilometres,
    "200 m": two_hundred_metres,
    "antimeridian at 70 north": lambda: block(at=(179.999, 70.0)),
    "hairpins": lambda: with_corners(
        track_of(hairpin_circuit(), gates=[("finish", "finish", 60.0, 3.5)], spacing_m=2.0)
    ),
    "pit lane": lambda: with_pit_lane(block()),
    "without gates": lambda: track_of(stadium(), spacing_m=2.0),
}
ALL = {**{path.stem: (lambda path=path: read_track(path)) for path in SAMPLES}, **ODD}


@cache
def track_named(name: str) -> Track:
    return ALL[name]()
