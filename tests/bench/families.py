"""Invented families of circuits: layouts that share tarmac and part from each other."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.library.known import Known, circuit_of
from trackkit.track.features import Centreline
from trackkit.track.model import Track

BINS = 2_000


@dataclass(frozen=True, eq=False)
class Family:
    """The layouts of one invented circuit; each may be driven both ways, in a file of its own."""

    tracks: tuple[Track, ...]

    @property
    def known(self) -> tuple[Known, ...]:
        return tuple(circuit_of(track, Path(f"{track.id}.geojson")) for track in self.tracks)


def family(number: int, seed: int = 60) -> Family:
    """Make a family: one outline, and layouts that leave it and come back, up to six."""
    generator = np.random.default_rng([seed, number])
    at = LocalPlane(float(generator.uniform(-170, 170)), float(generator.uniform(-60, 65)))
    turn = np.linspace(0.0, 2.0 * np.pi, BINS, endpoint=False)
    radius = np.ones(BINS)
    for order in range(2, 7):
        radius += (
            generator.normal()
            * 0.3
            / order
            * np.cos(order * turn + generator.uniform(0, 2 * np.pi))
        )
    radius = np.clip(radius, 0.35, None)
    size = float(np.exp(generator.uniform(np.log(140.0), np.log(650.0))))
    shapes = [radius]
    for _ in range(int(generator.integers(1, 6))):
        middle, width = generator.uniform(0, 2 * np.pi), generator.uniform(0.5, 1.6)
        away = np.abs((turn - middle + np.pi) % (2 * np.pi) - np.pi) / width
        bump = np.where(away < 1.0, np.cos(0.5 * np.pi * np.clip(away, 0, 1)) ** 4, 0.0)
        least = 40.0 / size
        depth = generator.choice([-1.0, 1.0]) * max(generator.uniform(0.12, 0.4), least)
        shapes.append(radius * (1.0 + depth * bump))
    both_ways = generator.random() < 0.4
    tracks = []
    for layout, shape in enumerate(shapes[:6]):
        ring = size * np.stack([shape * np.cos(turn), 0.7 * shape * np.sin(turn)], axis=1)
        curve = Curve.through(np.vstack([ring, ring[:1]]), closed=True)
        vertex = curve.position(curve.sampled())
        vertex = np.vstack([vertex, vertex[:1]])
        tracks += [
            _track(f"family-{number}-{layout}", at, vertex, against=against)
            for against in ((False, True) if both_ways else (False,))
        ]
    return Family(tuple(tracks))


def _track(name: str, at: LocalPlane, vertex: np.ndarray, *, against: bool) -> Track:
    line = vertex[::-1] if against else vertex
    longitude, latitude = at.to_geographic(line)
    curve = Curve.through(line, closed=True)
    return Track(
        id=f"{name}-back" if against else name,
        name=name.rpartition("-")[0],
        layout=name.rpartition("-")[2],
        centreline=Centreline(longitude, latitude, closed=True, width_m=11.0),
        length_m=curve.length_m,
        direction="clockwise" if against else "anticlockwise",
    )


def parted_m(place_m: np.ndarray, track: Track, plane: LocalPlane) -> float:
    """How far from another layout's line a stretch of driving came, metres."""
    curve = track.curve
    there = curve.position(np.arange(0.0, curve.length_m, 2.0))
    longitude, latitude = track.plane.to_geographic(there)
    other = plane.to_plane(longitude, latitude)
    away = np.hypot(
        place_m[:, None, 0] - other[None, :, 0], place_m[:, None, 1] - other[None, :, 1]
    )
    return float(away.min(axis=1).max())
