"""Rows that repeat a position the receiver has not measured again.

Some loggers write rows faster than the receiver measures, and repeat its last position until there
is a new one; docs/methods.md says by what they are told from a receiver that stands still.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Flags, Floats
from trackkit.geometry.ellipsoid import DEGREE_M

MOVING_MPS = 1.0
FEWEST_RUNS = 10
REGULAR_SHARE = 0.8
COARSEST_M = 2.0
"""No file writes positions in coarser steps that times could be made of: 0.00001° are 1.1 m."""


def stale_repeats(
    time_s: Floats,
    longitude_deg: Floats,
    latitude_deg: Floats,
    speed_mps: Floats | None,
    same_piece: Flags,
) -> Flags:
    """Find the rows whose position is only that of an earlier row written again.

    Parameters
    ----------
    time_s
        Seconds, strictly increasing, shape (n,).
    longitude_deg, latitude_deg
        Positions, degrees, shape (n,).
    speed_mps
        Speeds, shape (n,) with NaN where there is none, or None.
    same_piece
        Whether each row belongs to the same stretch of the file as the row before, shape (n,).

    Returns
    -------
    Which rows may go, shape (n,).
    """
    repeat = np.zeros(len(time_s), dtype=bool)
    repeat[1:] = (np.diff(longitude_deg) == 0) & (np.diff(latitude_deg) == 0) & same_piece[1:]
    if not np.any(repeat):
        return repeat
    run = np.cumsum(~repeat) - 1
    first = np.flatnonzero(~repeat)
    resolution_m = _resolution_m(longitude_deg, latitude_deg)
    if resolution_m == 0.0:  # the position never changes
        return np.zeros(len(time_s), dtype=bool)
    speed = None if speed_mps is None else _last_given(speed_mps)
    if speed is not None and np.any(np.isfinite(speed)):
        way_m = np.cumsum(np.nan_to_num(speed) * np.diff(time_s, prepend=time_s[0]))
        last = np.append(first[1:], len(time_s)) - 1
        stale = (way_m[last] - way_m[first] > resolution_m)[run] & (speed > MOVING_MPS)
    else:
        rows = np.bincount(run)
        stale = _regular(
            rows, time_s[first], longitude_deg[first], latitude_deg[first], resolution_m
        )[run]
    return np.asarray(repeat & stale)


def _regular(
    rows: NDArray[np.intp],
    time_s: Floats,
    longitude_deg: Floats,
    latitude_deg: Floats,
    resolution_m: float,
) -> Flags:
    """Say which runs, each of so many rows, are of the usual length, if the file has one."""
    usual = float(np.median(rows))
    near = np.abs(rows - usual) <= 1
    none = np.zeros(len(rows), dtype=bool)
    if len(rows) < FEWEST_RUNS or usual < 2 or float(np.mean(near)) < REGULAR_SHARE:
        return none
    step_m = np.hypot(*_metres(np.diff(longitude_deg), np.diff(latitude_deg), latitude_deg))
    moves = np.median(step_m / np.diff(time_s)) > MOVING_MPS
    # Positions written coarsely stand still as well, but then they go on by the smallest step.
    coarse = np.median(step_m) <= 2 * resolution_m
    return np.asarray(near) if moves and not coarse else none


def _last_given(speed_mps: Floats) -> Floats:
    """Fill each gap with the speed before it."""
    last = np.maximum.accumulate(np.where(np.isnan(speed_mps), -1, np.arange(len(speed_mps))))
    return np.where(last >= 0, speed_mps[last], np.nan)


def _resolution_m(longitude_deg: Floats, latitude_deg: Floats) -> float:
    """Diagonal of the smallest steps in which a file writes its positions."""
    steps = [np.diff(np.unique(value)) for value in (longitude_deg, latitude_deg)]
    east_deg, north_deg = (np.min(step) if len(step) else np.float64(0.0) for step in steps)
    return min(float(np.hypot(*_metres(east_deg, north_deg, latitude_deg))), COARSEST_M)


def _metres(
    east_deg: ArrayLike, north_deg: ArrayLike, latitude_deg: Floats
) -> tuple[Floats, Floats]:
    parallel = DEGREE_M * np.cos(np.radians(np.median(latitude_deg)))
    return np.multiply(east_deg, parallel), np.multiply(north_deg, DEGREE_M)
