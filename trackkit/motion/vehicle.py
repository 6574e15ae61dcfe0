"""Vehicles as far as a lap's speeds depend on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.bends import smoothed_curvature
from trackkit.geometry.curve import Curve
from trackkit.track.model import Track


@dataclass(frozen=True)
class Vehicle:
    """What a vehicle can do; common practice, no source.

    Parameters
    ----------
    top_mps
        Speed it hardly exceeds, metres per second.
    lateral_mps2, accelerating_mps2, braking_mps2
        Largest accelerations, each with none of the others: the limits of a friction ellipse.
    pit_mps
        Speed beside the track, metres per second.
    join_m
        Length over which it joins or leaves the line, metres.
    """

    top_mps: float
    lateral_mps2: float
    accelerating_mps2: float
    braking_mps2: float
    pit_mps: float
    join_m: float


KART = Vehicle(27.0, 14.0, 4.0, 8.0, 8.0, 70.0)
CAR = Vehicle(55.0, 12.0, 5.0, 9.0, 16.0, 130.0)
KART_BELOW_M = 1_600.0
"""A track shorter than this is driven by a kart, a longer one by a car."""


def vehicle_for(track: Track) -> Vehicle:
    """Choose a kart for a short track and a car for a longer one."""
    return KART if track.curve.length_m < KART_BELOW_M else CAR


SLOWEST_MPS = 2.0


def assumed_speed(curve: Curve, chainage_m: Floats, vehicle: Vehicle) -> Floats:
    """Speed of a simple vehicle, m/s: held by the bends, and by what it can gain and brake.

    A closed track is computed over two laps, so that the speeds do not depend on where it begins.
    Sideways and lengthwise limits hold each by itself (common practice for a first guess, no
    source).  An open course begins at a walking pace.
    """
    step = float(chainage_m[1] - chainage_m[0])
    bend = np.abs(smoothed_curvature(curve, chainage_m))
    limit = np.minimum(vehicle.top_mps**2, vehicle.lateral_mps2 / np.maximum(bend, 1e-9))
    if not curve.closed:
        limit[0] = SLOWEST_MPS**2
    laps = 2 if curve.closed else 1
    squared = np.tile(limit, laps).tolist()
    for i in range(1, len(squared)):
        squared[i] = min(squared[i], squared[i - 1] + 2.0 * step * vehicle.accelerating_mps2)
    squared = squared[-len(limit) :] * laps
    for i in range(len(squared) - 2, -1, -1):
        squared[i] = min(squared[i], squared[i + 1] + 2.0 * step * vehicle.braking_mps2)
    return np.sqrt(np.array(squared[: len(limit)], dtype=np.float64))
