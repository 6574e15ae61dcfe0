"""The shape of the sample circuits in tracks/, by shapely and geographiclib."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from sample_circuits import (
    ATOLL,
    CLOSED,
    FIGURE_OF_EIGHT,
    HILL,
    WITH_HEIGHTS,
    every_track,
    track_of,
    unwrapped,
)

from trackkit.track.model import Track


@every_track
def test_the_line_is_simple_unless_it_is_the_figure_of_eight(name: str) -> None:
    track = track_of(name)
    line = shapely.LineString(track.curve.position(track.curve.chainages(0.5)))
    assert line.is_simple == (name != FIGURE_OF_EIGHT)


@pytest.mark.parametrize("name", [name for name in CLOSED if name != FIGURE_OF_EIGHT])
def test_the_ring_turns_the_way_the_file_says(name: str) -> None:
    track = track_of(name)
    ring = shapely.LinearRing(np.column_stack(unwrapped(track)))
    assert ring.is_ccw == (track.direction == "anticlockwise")
    assert ring.coords[0] == ring.coords[-1]


def test_a_figure_of_eight_and_a_hill_have_no_direction() -> None:
    assert track_of(FIGURE_OF_EIGHT).direction is None
    assert track_of(HILL).direction is None
    assert not track_of(HILL).closed


@pytest.mark.slow
@every_track
def test_the_length_is_that_of_geodesics_along_the_line(name: str) -> None:
    """Karney's geographiclib over points at most 1 m apart, to 1 in 10,000."""
    track = track_of(name)
    longitude, latitude, _ = _dense(track, 1.0)
    total = sum(_geodesics(longitude, latitude))
    assert total == pytest.approx(track.length_m, rel=1e-4)


def _dense(track: Track, spacing_m: float) -> tuple[list[float], list[float], np.ndarray]:
    chainage = np.append(track.curve.chainages(spacing_m), track.curve.length_m)
    longitude, latitude = track.plane.to_geographic(track.curve.position(chainage))
    if track.closed:
        longitude[-1], latitude[-1] = longitude[0], latitude[0]
    return longitude.tolist(), latitude.tolist(), chainage


def _geodesics(longitude: list[float], latitude: list[float]) -> list[float]:
    inverse = Geodesic.WGS84.Inverse
    return [
        inverse(latitude[i], longitude[i], latitude[i + 1], longitude[i + 1], Geodesic.DISTANCE)[
            "s12"
        ]
        for i in range(len(longitude) - 1)
    ]


@pytest.mark.slow
@pytest.mark.parametrize("name", WITH_HEIGHTS)
def test_the_surface_length_is_along_the_slope_at_its_height(name: str) -> None:
    """Pythagoras over geodesics, which are longer by height over the earth's mean radius."""
    track = track_of(name)
    longitude, latitude, chainage = _dense(track, 1.0)
    height = track.centreline.height_m
    assert height is not None
    vertex = np.append(track.curve.vertex_chainage_m, track.curve.length_m)[: len(height)]
    height = np.interp(chainage, vertex, height)
    level = np.array(_geodesics(longitude, latitude)) * (1 + height[:-1] / 6_371_008.8)
    total = np.hypot(level, np.diff(height)).sum()
    assert total == pytest.approx(track.length_surface_m, rel=1e-4)


@pytest.mark.slow
@every_track
def test_pieces_of_road_keep_14_m_apart_except_at_a_bridge(name: str) -> None:
    track = track_of(name)
    chainage = track.curve.chainages(2.0)
    position = track.curve.position(chainage)
    away = np.hypot(*(position[:, None] - position[None, :]).transpose(2, 0, 1))
    along = track.curve.separation(chainage[:, None], chainage[None, :])
    # Within a half circle the road is at most pi / 2 times as long as its chord.
    other = along > 0.5 * np.pi * away + 10.0
    for crossover in track.crossovers:
        over = track.curve.separation(chainage, crossover.over_m) < 60
        under = track.curve.separation(chainage, crossover.under_m) < 60
        other &= ~((over[:, None] & under[None, :]) | (under[:, None] & over[None, :]))
    assert away[other].min() > 14.0


@every_track
def test_the_road_has_no_kink_and_bends_as_tightly_as_its_kind(name: str) -> None:
    """Common practice, no source: kart hairpins from 7 m, bends of car circuits from 15 m."""
    track = track_of(name)
    radius = 1.0 / np.abs(track.curve.curvature(track.curve.chainages(0.5))).max()
    at_least, below = {"pipwick-kart-circuit": (7, 10), HILL: (8, 12)}.get(name, (15, 160))
    assert at_least < radius < below
    assert 4 <= len(track.corners) <= 20


@pytest.mark.parametrize("name", CLOSED)
def test_a_lap_closes_without_a_corner_where_the_line_begins(name: str) -> None:
    curve = track_of(name).curve
    before, after = curve.direction([curve.length_m - 2.0, 2.0])
    assert np.degrees(np.arccos(np.clip(before @ after, -1, 1))) < 0.5


def test_the_hill_rises_all_the_way() -> None:
    height = track_of(HILL).centreline.height_m
    assert height is not None
    assert np.all(np.diff(height) >= 0)
    assert height[-1] - height[0] == pytest.approx(192, abs=1)
    assert 2000 < track_of(HILL).length_m < 3000


def test_the_bridge_is_declared_where_the_line_crosses_itself_6_m_above() -> None:
    """The crossing is found by shapely on the stored vertices."""
    track = track_of(FIGURE_OF_EIGHT)
    (crossover,) = track.crossovers
    longitude, latitude = unwrapped(track)
    vertex = track.plane.to_plane(longitude, latitude)
    segments = shapely.linestrings(np.stack([vertex[:-1], vertex[1:]], axis=1))
    first, second = shapely.STRtree(segments).query(segments, predicate="crosses")
    ((i, j),) = {(min(a, b), max(a, b)) for a, b in zip(first, second, strict=True)}
    point = shapely.get_coordinates(shapely.intersection(segments[i], segments[j]))[0]
    height = track.centreline.height_m
    assert height is not None
    over, under = (i, j) if height[i] > height[j] else (j, i)
    assert track.curve.position(crossover.over_m) == pytest.approx(point, abs=0.05)
    assert track.curve.position(crossover.under_m) == pytest.approx(point, abs=0.05)
    assert track.curve.vertex_chainage_m[over] <= crossover.over_m + 0.1
    assert crossover.over_m <= track.curve.vertex_chainage_m[over + 1] + 0.1
    assert height[over] - height[under] == pytest.approx(6.0, abs=0.1)


def test_the_two_layouts_share_finish_line_and_tarmac_to_5_mm() -> None:
    full, short = track_of("ruddlebeck-full"), track_of("ruddlebeck-short")
    assert full.finish.left == pytest.approx(short.finish.left, abs=2e-8)
    assert full.finish.right == pytest.approx(short.finish.right, abs=2e-8)
    chainage = short.curve.chainages(1.0)
    longitude, latitude = short.plane.to_geographic(short.curve.position(chainage))
    _, aside = full.curve.project(full.plane.to_plane(longitude, latitude))
    begins, ends = chainage < 225, chainage > 1110
    assert np.abs(aside[begins]).max() < 0.005
    assert np.abs(aside[ends]).max() < 0.005
    assert np.abs(aside[~(begins | ends)]).max() > 100


def test_the_two_directions_are_the_same_tarmac_and_the_same_gates_turned_round() -> None:
    one, other = (track_of(name) for name in ATOLL)
    assert {one.direction, other.direction} == {"clockwise", "anticlockwise"}
    a = one.plane.to_plane(*unwrapped(one))
    b = one.plane.to_plane(*unwrapped(other))
    assert a == pytest.approx(b[::-1], abs=0.002)
    there = [one.gate_ends(gate) for gate in (one.finish, *reversed(one.gates_of_kind("sector")))]
    back = [one.gate_ends(gate) for gate in (other.finish, *other.gates_of_kind("sector"))]
    for ends, turned in zip(there, back, strict=True):
        assert ends == pytest.approx(turned[::-1], abs=0.003)
