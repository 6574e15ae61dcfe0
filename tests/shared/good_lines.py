"""Lines that are as they should be, of many shapes: no rule about lines finds anything there."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from drives import (
    HOME,
    Road,
    arc,
    block_circuit,
    figure_of_eight,
    hairpin_circuit,
    hill_course,
    on_earth,
    stadium,
    straight,
    straights_joined,
    track_of,
)
from practice_tracks import LOOP_M, make_track

from trackkit.building.from_line import build_from_line
from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.geometry.shape import direction_of
from trackkit.track.features import Centreline
from trackkit.track.file import read_track
from trackkit.track.measure import measure
from trackkit.track.model import Track

SAMPLES = sorted((Path(__file__).parents[2] / "tracks").glob("*.geojson"))

LONG_BENDS = Road(
    (straight(300), arc(450, 180), straight(300), arc(450, 180)), start=(-150.0, -450.0)
)
"""An oval whose bends are wider than any corner."""
CHICANES = Road(
    (
        straight(300),
        arc(12, 60),
        arc(-12, 60),
        straight(120),
        arc(25, 180),
        straight(150),
        arc(-18, 50),
        arc(18, 50),
        straight(150 + 2 * 12 * np.sqrt(3) / 2 - 2 * 18 * np.sin(np.radians(50)) + 120),
        arc(25, 180),
    ),
    closed=False,
)
TIGHT = Road(straights_joined(arc(3.0, 90), (40, 60, 80, 60, 40)))
"""The tightest corners of a kart circuit (3 m: common practice, no source)."""
ROADS = {
    "block": block_circuit(),
    "hairpin": hairpin_circuit(),
    "track of 400 m": stadium(),
    "oval": stadium(250.0, 90.0),
    "long oval": stadium(900.0, 160.0),
    "oval of long bends": LONG_BENDS,
    "figure of eight": figure_of_eight(),
    "hill": hill_course(),
    "chicanes": CHICANES,
    "tight": TIGHT,
    "spiral": Road(
        (straight(300), arc(30, 180), straight(300), arc(24, 180), straight(300)), closed=False
    ),
    "mirrored block": block_circuit().mirrored(),
}


def drawn_vertices(road, *, turn_deg=10.0, most_m=20.0):
    """Chainages at which somebody puts points who draws a road in a GIS: closer where it bends."""
    at = [0.0]
    begin = 0.0
    for length, radius in road.pieces:
        reach = most_m if radius is None else min(most_m, abs(radius) * np.radians(turn_deg))
        count = int(np.ceil(length / reach))
        at += (begin + length * np.arange(1, count + 1) / count).tolist()
        begin += length
    return np.array(at)


def track_through(road, chainage_m, *, at=HOME, **more):
    """A track whose line has its vertices at some chainages of a road."""
    chainage = np.minimum(chainage_m, road.length_m * (1.0 - 1e-12))
    position, _ = road.at(chainage)
    if road.closed:
        position[-1] = position[0]
    return track_at(position, closed=road.closed, at=at, **more)


def track_at(position_m, *, closed, at=HOME, **more):
    """A track through positions, metres east and north of a place."""
    longitude, latitude = on_earth(position_m, at)
    line = Centreline(unwrap_longitude(longitude), latitude, closed)
    drawn = Track("invented", "Invented", line, 1.0, **more)
    return _stated(drawn)


def _stated(track):
    measured = measure(track.centreline)
    return replace(
        track,
        length_m=measured.length_m,
        direction=direction_of(track.curve),
        crossovers=measured.crossovers,
    )


def ellipse_m(a_m, b_m, count):
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    return np.column_stack([a_m * np.cos(angle), b_m * np.sin(angle)])


def bendy_m(seed, size_m=250.0):
    """A loop with bends both ways, drawn by a few waves."""
    generator = np.random.default_rng([77, seed])
    angle = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    radius = np.ones(400)
    for order in range(2, 6):
        radius += (
            generator.normal() * 0.22 / order * np.cos(order * angle + generator.uniform(0, 6))
        )
    return size_m * radius[:, None] * np.column_stack([np.cos(angle), 0.8 * np.sin(angle)])


def good_lines():
    """Names and makers of good lines."""
    for path in SAMPLES:
        yield path.stem, lambda path=path: read_track(path)
    for name, road in ROADS.items():
        for spacing_m in (1.0, 4.0):
            yield (
                f"{name}, every {spacing_m:g} m",
                lambda road=road, spacing_m=spacing_m: _stated(
                    track_of(road, spacing_m=min(spacing_m, 2.0) if road is TIGHT else spacing_m)
                ),
            )
        yield f"{name}, drawn", lambda road=road: track_through(road, drawn_vertices(road))
        yield f"{name}, built from a drawn line", lambda road=road: _from_drawn(road)
    yield "loop", lambda: _stated(make_track(LOOP_M))
    for seed in range(6):
        yield f"bendy {seed}", lambda seed=seed: _stated(make_track(bendy_m(seed)))
    yield "ellipse", lambda: _stated(make_track(ellipse_m(250.0, 120.0, 90)))
    yield "wide ellipse", lambda: _stated(make_track(ellipse_m(1400.0, 700.0, 120)))


def _from_drawn(road):
    position, _ = road.at(np.minimum(drawn_vertices(road), road.length_m * (1.0 - 1e-12)))
    if road.closed:
        position[-1] = position[0]
    longitude, latitude = on_earth(position)
    return build_from_line(longitude, latitude, "Invented", is_open=not road.closed).track
