"""Speeds and lines that recorded drives show along a track."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import SIGMA_OF_MEDIAN, Floats, Indices
from trackkit.errors import NoLapError
from trackkit.gates.pits import in_pits
from trackkit.geometry.curve import Curve
from trackkit.motion.projected import projected
from trackkit.motion.vehicle import SLOWEST_MPS
from trackkit.track.model import Track

if TYPE_CHECKING:
    from trackkit.motion.drive import Drive

ASSUMED_LINE_M = 0.5
"""Standard deviation of the driven line to the side, lap by lap (common practice, no source)."""

_FEWEST_BINS = 0.6
_FEWEST_FIXES = 3
"""Fewer tell nothing of how a line varies."""
_BIN_M = 5.0


def driven_speed(
    track: Track, drives: Sequence[Drive], chainage_m: Floats
) -> tuple[Floats, Floats]:
    """Read speed, and how the line varies, from drives.

    Of all fixes that move along the line within the band and 10 m, and not through the pits, the
    median speed of the passes and the robust spread of the distance to the side are taken for each
    5 m.

    Returns
    -------
    speed_mps, line_sigma_m
        Each like `chainage_m`.

    Raises
    ------
    NoLapError
        When much of the line was not driven.
    """
    curve = track.curve
    count = _bin_count(curve)
    index, offset, speed, passing = _along_the_line(track, drives)
    filled, place = np.unique(index, return_inverse=True)
    _require_driven(len(filled), count)
    middle = (np.arange(count) + 0.5) * curve.length_m / count
    pace = _paces_of_passes(speed, passing, place)
    spread = _spreads(offset, place)
    period = curve.length_m if curve.closed else None
    along_lap = np.interp(chainage_m, middle[filled], pace, period=period)
    return (
        np.maximum(along_lap, SLOWEST_MPS),
        np.full(len(chainage_m), float(np.median(spread))),
    )


def require_driven(track: Track, drive: Drive) -> None:
    """Raise where a drive does not cover a track.

    Raises
    ------
    NoLapError
        When much of the line was not driven.
    """
    index, *_ = _along_the_line(track, [drive])
    _require_driven(len(np.unique(index)), _bin_count(track.curve))


def _bin_count(curve: Curve) -> int:
    return max(8, round(curve.length_m / _BIN_M))


def _require_driven(filled: int, count: int) -> None:
    if filled < _FEWEST_BINS * count:
        raise NoLapError(
            f"the recordings cover {100.0 * filled / count:.0f} % of the track",
            remedy="give recordings of at least one whole lap of this layout, or none",
        )


def _paces_of_passes(speed_mps: Floats, passing: Indices, place: Indices) -> Floats:
    """Median over the passes of each place of each pass's mean speed, metres a second.

    A pass counts once, however many fixes a slow one leaves.
    """
    _, first, which, count = np.unique(
        passing, return_index=True, return_inverse=True, return_counts=True
    )
    return _medians(np.bincount(which, weights=speed_mps) / count, place[first])


def _spreads(offset_m: Floats, place: Indices) -> Floats:
    """Robust spread of the distances to the side at each place, metres."""
    aside = np.abs(offset_m - _medians(offset_m, place)[place])
    spread = SIGMA_OF_MEDIAN * _medians(aside, place)
    return np.where(np.bincount(place) < _FEWEST_FIXES, ASSUMED_LINE_M, spread)


def _medians(values: Floats, group: Indices) -> Floats:
    """Medians of groups of values, by their numbers from 0, of which none is without a value."""
    order = np.lexsort((values, group))
    count = np.bincount(group)
    begin = np.cumsum(count) - count
    ranked = values[order]
    return np.asarray(0.5 * (ranked[begin + (count - 1) // 2] + ranked[begin + count // 2]))


def _along_the_line(
    track: Track, drives: Sequence[Drive]
) -> tuple[Indices, Floats, Floats, Indices]:
    """Gather where a drive moves along the line within the band and 10 m, but not in the pits.

    Returns
    -------
    index, offset_m, speed_mps, passing
        Rising number of the 5 m of the line, distance to the side, speed, and number of the pass
        it is of; shape (k,).
    """
    curve = track.curve
    places, offsets, speeds, passes = [], [], [], []
    count = _bin_count(curve)
    passed = 0
    for drive in drives:
        position, velocity = _close_places(drive)
        pace = np.linalg.norm(velocity, axis=1)
        moving = pace > SLOWEST_MPS
        heading = velocity[moving] / pace[moving, None]
        if position is drive.position_m:
            where, offset = (values[moving] for values in projected(drive, curve))
        else:
            where, offset = curve.project(position[moving], heading)
        along = (curve.direction(where) * heading).sum(axis=1) > 0.5
        near = along & (np.abs(offset) < 0.5 * track.band_m + 10.0)
        near &= ~in_pits(track, position[moving], np.abs(offset))
        index = np.minimum((where / curve.length_m * count).astype(np.intp), count - 1)
        # The same 5 m again without others between are one pass.
        number = passed + np.cumsum(np.diff(index, prepend=-1) != 0)
        passed = int(number[-1]) if len(number) else passed
        passes.append(number[near])
        places.append(where[near])
        offsets.append(offset[near])
        speeds.append(pace[moving][near])
    place, offset, speed = (np.concatenate(values) for values in (places, offsets, speeds))
    index = np.minimum((place / curve.length_m * count).astype(np.intp), count - 1)
    order = np.argsort(index, kind="stable")
    return index[order], offset[order], speed[order], np.concatenate(passes)[order]


def _close_places(drive: Drive) -> tuple[Floats, Floats]:
    """Positions and velocities of a drive no farther apart than a bin is long, in order.

    Fixes a second apart would leave most bins empty that were driven all the same; a gap stays one.
    """
    step = np.linalg.norm(np.diff(drive.position_m, axis=0), axis=1)
    parts = np.where(np.diff(drive.piece) == 0, np.maximum(np.ceil(step / _BIN_M), 1.0), 1.0)
    count = np.append(parts.astype(np.intp), 1)
    if np.all(count == 1):
        return drive.position_m, drive.velocity_mps
    index = np.repeat(np.arange(len(count)), count)
    share = (np.arange(len(index)) - np.repeat(np.cumsum(count) - count, count)) / count[index]
    return drive.between(index, share)
