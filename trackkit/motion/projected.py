"""Where along a curve a drive is at its fixes, worked out once for all who ask."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve
from trackkit.motion.drive import Drive

_SLOWEST_MPS = 1e-6
_Places = tuple[Floats, Floats]
_places: WeakKeyDictionary[Drive, tuple[Curve, dict[tuple[int, int], _Places]]] = (
    WeakKeyDictionary()
)
"""Of drives that live, along the curve that was asked for last, by first and end of the fixes."""


def projected(drive: Drive, curve: Curve, first: int = 0, end: int | None = None) -> _Places:
    """Find the places of a curve that a drive is at, by where it is and which way it goes.

    Parameters
    ----------
    drive, curve
        On one plane.
    first, end
        First fix and the one after the last; all when not given.

    Returns
    -------
    chainage_m, offset_m
        Shape (n,), as from `Curve.project`; not to be written to.
    """
    if drive not in _places or _places[drive][0] is not curve:
        _places[drive] = curve, {}
    made = _places[drive][1]
    part = (first, len(drive.position_m) if end is None else end)
    if part not in made:
        fixes = slice(*part)
        pace = np.maximum(drive.speed_mps[fixes], _SLOWEST_MPS)
        heading = drive.velocity_mps[fixes] / pace[:, None]
        made[part] = curve.project(drive.position_m[fixes], heading)
        for values in made[part]:
            values.flags.writeable = False
    return made[part]
