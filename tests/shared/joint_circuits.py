"""Invented circuits for the bench of all laps together: a shape of its own for every session.

A circuit is a polygon with its corners rounded, thrown away where two pieces of track come close
to each other or a bend is tighter than its vehicles drive.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from places import PLACES
from scipy.ndimage import gaussian_filter1d

from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.features import Centreline, Gate
from trackkit.track.model import Track

Kind = Literal["car", "kart"]
GATE_HALF_M = 14.0
WIDE_GATE_HALF_M = 25.0
"""Of gates for phones, whose wander takes a drive past the end of others."""
SECTORS = 3
EXACT_M = 0.02
"""What the accuracy profile says of a line that is exact: nothing is known better."""
_STEP_M = 2.0
_APART_M = {"car": 70.0, "kart": 60.0}
_LENGTH_M = {"car": (2000.0, 3600.0), "kart": (800.0, 1300.0)}
_ROUNDING_M = {"car": 26.0, "kart": 11.0}
_TIGHTEST_M = {"car": 18.0, "kart": 8.0}
_SHAPES = 500


@dataclass(frozen=True, eq=False)
class Circuit:
    """A circuit on the ground.

    Parameters
    ----------
    kind
        Whether cars or karts drive it.
    vertex_m
        Of its true centreline on `plane`, shape (n, 2), every `_STEP_M`; its finish is the first.
    plane
        The plane.
    """

    kind: Kind
    vertex_m: np.ndarray
    plane: LocalPlane

    @cached_property
    def curve(self) -> Curve:
        return Curve.through(self.vertex_m, closed=True)


def circuit(kind: Kind, random: np.random.Generator) -> Circuit:
    """Invent a circuit; its finish is on the straightest piece."""
    place = PLACES[0]
    east, north = random.uniform(-0.5, 0.5, 2) * place.reach_deg
    plane = LocalPlane(place.longitude_deg + float(east), place.latitude_deg + float(north))
    for _ in range(_SHAPES):
        vertex = _shape(kind, random)
        if vertex is not None:
            return Circuit(kind, vertex, plane)
    raise RuntimeError(f"{_SHAPES} shapes of a {kind} circuit, and none is fit to drive")


def _shape(kind: Kind, random: np.random.Generator) -> np.ndarray | None:
    corners = int(random.integers(8, 14))
    angle = (np.arange(corners) + random.uniform(-0.35, 0.35, corners)) * 2 * np.pi / corners
    radius = random.uniform(0.35, 1.0, corners)
    wide = random.uniform(1.0, 1.8)
    corner = np.column_stack([wide * radius * np.cos(angle), radius * np.sin(angle)])
    if random.random() < 0.5:
        corner = corner[::-1]
    turn = random.uniform(0, 2 * np.pi)
    corner = corner @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    length = random.uniform(*_LENGTH_M[kind])
    corner *= length / np.linalg.norm(corner - np.roll(corner, 1, axis=0), axis=1).sum()
    for _ in range(3):
        # Rounding its corners makes a polygon shorter.
        fine = _evenly(corner)
        vertex = gaussian_filter1d(fine, _ROUNDING_M[kind] / _STEP_M, axis=0, mode="wrap")
        corner *= length / np.linalg.norm(vertex - np.roll(vertex, 1, axis=0), axis=1).sum()
    vertex = _evenly(vertex)
    curve = Curve.through(vertex, closed=True)
    chainage = curve.chainages(_STEP_M)
    bend = np.abs(curve.curvature(chainage))
    if bend.max() > 1.0 / _TIGHTEST_M[kind] or _closest(vertex, curve.length_m) < _APART_M[kind]:
        return None
    quiet = gaussian_filter1d(bend, 40.0 / _STEP_M, mode="wrap")
    return np.roll(vertex, -int(np.argmin(quiet)) * len(vertex) // len(chainage), axis=0)


def _evenly(corner: np.ndarray) -> np.ndarray:
    ring = np.vstack([corner, corner[:1]])
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    at = np.linspace(0.0, way[-1], round(way[-1] / _STEP_M), endpoint=False)
    return np.column_stack([np.interp(at, way, ring[:, axis]) for axis in (0, 1)])


def _closest(vertex: np.ndarray, length_m: float) -> float:
    """Distance between the two pieces of track that come closest to each other."""
    some = vertex[::5]
    gap = np.linalg.norm(some[:, None] - some[None], axis=2)
    along = np.abs(np.subtract.outer(np.arange(len(some)), np.arange(len(some))))
    along = np.minimum(along, len(some) - along) * length_m / len(some)
    return float(gap[along > 200.0].min(initial=np.inf))


def track_file(ground: Circuit, random: np.random.Generator, off_m: float, half_m: float) -> Track:
    """Lay out the track file of a circuit: gates on the ground, the line exact or off.

    Parameters
    ----------
    off_m
        How far the line is off on either axis, one sigma, as one from another day's laps is by
        their wander: nearly all of it as a whole, some of it changing along the lap.  Its accuracy
        profile says so.
    half_m
        From the middle of a gate to its ends.
    """
    curve = ground.curve
    vertex = ground.vertex_m
    count = len(vertex)
    smooth = gaussian_filter1d(random.normal(size=(count, 2)), count / 10, axis=0, mode="wrap")
    smooth = (smooth - smooth.mean(axis=0)) / smooth.std(axis=0)
    shift = np.sqrt(0.8) * random.normal(size=2) + np.sqrt(0.2) * smooth
    line = vertex + off_m * shift
    longitude, latitude = ground.plane.to_geographic(np.vstack([line, line[:1]]))
    sigma_m = max(off_m, EXACT_M)
    centreline = Centreline(
        longitude,
        latitude,
        closed=True,
        width_m=12.0,
        accuracy_profile=(AccuracyRow(0.0, sigma_m, "measured"),),
    )
    third = curve.length_m / SECTORS
    places = [0.0, *(_quietest(curve, n * third) for n in range(1, SECTORS))]
    gates = [
        Gate(
            f"gate-{number}",
            "sector" if number else "finish",
            f"Sector {number} end" if number else "Finish",
            *_ends(ground, place, half_m),
            order=number,
            chainage_m=place,
        )
        for number, place in enumerate(places)
    ]
    length_m = centreline.curve.length_m
    track = Track("invented", "Invented", centreline, length_m, accuracy_m=sigma_m)
    return track.with_gates(gates)


def _quietest(curve: Curve, about_m: float) -> float:
    """Choose the straightest place within 40 m, as people do for a gate."""
    near = about_m + np.arange(-40.0, 41.0, 5.0)
    return float(near[np.argmin(np.abs(curve.curvature(near)))])


def _ends(
    ground: Circuit, place_m: float, half_m: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    curve = ground.curve
    ends = curve.position(place_m) + np.array([[half_m], [-half_m]]) * curve.left(place_m)
    longitude, latitude = ground.plane.to_geographic(ends)
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)
    return left, right
