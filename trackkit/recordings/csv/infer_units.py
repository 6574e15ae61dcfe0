"""Tell the unit of a speed or of a time from how the positions move."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.recordings.units import SPEED_MPS, TIME_S

BASELINE_S = 1.0
MOVING_MPS = 3.0
FEWEST_PAIRS = 5
CLOSEST_UNITS = 0.06
"""Largest |ln(ratio)| accepted; miles an hour and knots are 0.14 apart."""

SLOWEST_MPS = 0.5
FASTEST_MPS = 150.0
SHORTEST_INTERVAL_S = 0.01


def guess_speed_unit(
    speed: Floats, time_s: Floats, longitude_deg: Floats, latitude_deg: Floats
) -> tuple[str, float] | None:
    """Find the unit in which a speed column agrees with the positions.

    Speeds are compared with the distance between fixes about a second apart, so that a receiver's
    noise of some decimetres weighs little against the way covered.

    Returns
    -------
    The unit and by how much (a ratio near 1) the column still differs in it, or None where the
    positions move too little or fit no unit.
    """
    usable = np.isfinite(speed) & np.isfinite(time_s) & np.isfinite(longitude_deg + latitude_deg)
    speed, time_s = speed[usable], time_s[usable]
    longitude, latitude = longitude_deg[usable], latitude_deg[usable]
    if len(speed) < FEWEST_PAIRS + 1:
        return None
    interval = float(np.median(np.diff(time_s)))
    stride = max(1, round(BASELINE_S / interval)) if interval > 0 else 1
    if len(speed) <= stride:
        return None
    step = time_s[stride:] - time_s[:-stride]
    distance = geodesic_distance(
        longitude[:-stride], latitude[:-stride], longitude[stride:], latitude[stride:]
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        derived = distance / step
        ratio = 0.5 * (speed[stride:] + speed[:-stride]) / derived
    good = (step > 0) & (step <= 2 * stride * interval) & (derived > MOVING_MPS) & (ratio > 0)
    if np.count_nonzero(good) < FEWEST_PAIRS:
        return None
    usual = float(np.median(ratio[good]))
    off = {unit: usual * factor for unit, factor in SPEED_MPS.items()}
    best = min(off, key=lambda unit: abs(np.log(off[unit])))
    return (best, off[best]) if abs(np.log(off[best])) <= CLOSEST_UNITS else None


def guess_time_unit(time: Floats, longitude_deg: Floats, latitude_deg: Floats) -> str | None:
    """Find the unit in which a count of elapsed time makes the positions move as cars do.

    The candidates are a factor of 1,000 apart, the speeds allowed of 300, so at most one fits.
    """
    usable = np.isfinite(time) & np.isfinite(longitude_deg + latitude_deg)
    time, longitude, latitude = time[usable], longitude_deg[usable], latitude_deg[usable]
    step = np.diff(time)
    forward = step > 0
    if not np.any(forward):
        return None
    usual_step = float(np.median(step[forward]))
    units = [unit for unit, s in TIME_S.items() if usual_step * s >= SHORTEST_INTERVAL_S]
    if len(units) == 1:
        return units[0]
    distance = geodesic_distance(longitude[:-1], latitude[:-1], longitude[1:], latitude[1:])
    fast = float(np.percentile(distance[forward] / step[forward], 90))
    fitting = [unit for unit in units if SLOWEST_MPS <= fast / TIME_S[unit] <= FASTEST_MPS]
    return fitting[0] if fitting else None
