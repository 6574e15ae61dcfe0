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
    made = _made(drive, curve)
    every = (0, len(drive.position_m))
    part = (first, every[1] if end is None else end)
    if part not in made and every in made:
        chainage, offset = made[every]
        return chainage[slice(*part)], offset[slice(*part)]
    if part not in made:
        keep(drive, curve, _projected(drive, curve, slice(*part)), *part)
    return made[part]


def keep(
    drive: Drive, curve: Curve, places: _Places, first: int = 0, end: int | None = None
) -> None:
    """Take it that `projected` has been asked already, in another process.

    Parameters
    ----------
    drive, curve, first, end
        As `projected` was asked.
    places
        What it returned.
    """
    for values in places:
        values.flags.writeable = False
    _made(drive, curve)[first, len(drive.position_m) if end is None else end] = places


def _made(drive: Drive, curve: Curve) -> dict[tuple[int, int], _Places]:
    if drive not in _places or _places[drive][0] is not curve:
        _places[drive] = curve, {}
    return _places[drive][1]


def _projected(drive: Drive, curve: Curve, fixes: slice) -> _Places:
    alone = drive.alone()
    if alone is not drive:
        # Its laps move a drive by little.
        about, _ = projected(alone, curve, fixes.start, fixes.stop)
        return curve.project(drive.position_m[fixes], about_m=about)
    pace = np.maximum(drive.speed_mps[fixes], _SLOWEST_MPS)
    return curve.project(drive.position_m[fixes], drive.velocity_mps[fixes] / pace[:, None])
