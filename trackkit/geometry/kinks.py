"""Places where a line turns as no vehicle can: a stray vertex, or one out of order."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve

KINK_M = 2.0
KINK_DEG = 75.0
"""The tightest hairpins of kart circuits have radii of about 3 m and turn 40 degrees in 2 m."""


def find_kinks(curve: Curve) -> tuple[Floats, Floats]:
    """Find where a line turns by more than `KINK_DEG` within `KINK_M`.

    Returns
    -------
    chainage_m, turned_deg
        The middles of such stretches, half a metre apart, and how far the line turns there.
    """
    chainage = curve.chainages(0.5)
    direction = curve.direction(chainage)
    apart = max(1, round(KINK_M / (chainage[1] - chainage[0])))
    ahead = np.roll(direction, -apart, axis=0)
    turned = np.degrees(np.arccos(np.clip((direction * ahead).sum(axis=1), -1.0, 1.0)))
    if not curve.closed:
        turned[-apart:] = 0.0
    sharp = turned > KINK_DEG
    return curve.wrap(chainage[sharp] + 0.5 * KINK_M), turned[sharp]
