"""What a lap time is worth in a session of laps that are timed together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trackkit.motion.line_model import Knots, LineLevels, Sideways
from trackkit.motion.position_error import Receiver, walked_m2ps
from trackkit.motion.repeated_line import RepeatedLine, fit_line

if TYPE_CHECKING:
    from trackkit.gates.quality import TimingQuality

FEWEST_LAPS, MOST_LAPS = 2, 15
"""More laps than this tell little more."""
_NODES_A_LAP, _FEWEST_NODE_M = 100, 10.0
_NODE_M, _NODE_WITH_SPEEDS_M = 16.0, 24.0
_KNOTS = 80
_FAST_M = 0.05
_UNSURE_M = 2.0
"""The same as where laps are timed together; see docs/methods.md."""


def session_laps(quality: TimingQuality, receiver: Receiver) -> int:
    """Say how many laps a session has, counted up to `MOST_LAPS`; 0 on an open course.

    Parameters
    ----------
    quality
        Of the track, whose laps last as long as there.
    receiver
        That records for a session.
    """
    if not quality.curve.closed:
        return 0
    return min(int(receiver.session_s / quality.lap_s), MOST_LAPS)


def session_lap_sigma_s(
    quality: TimingQuality, receiver: Receiver, laps: int, chainage_m: float
) -> float | None:
    """Predict one sigma of a lap time from a place, in a session of laps timed together.

    The model is that of `trackkit.motion.repeated_line`, whose covariance needs no measurement: a
    drive of so many laps at these speeds, of a driver who repeats a line within a metre and
    deviates from it by 0.4 m over 30 m, is laid beside the track's line, which is as well known as
    its file says.

    Parameters
    ----------
    quality
        Of the track.
    receiver
        That records it.
    laps
        How many.
    chainage_m
        Where laps begin and end.

    Returns
    -------
    float or None
        Seconds, root mean square over the laps; None for fewer than `FEWEST_LAPS`, on an open
        course, and for speeds without courses.
    """
    if laps < FEWEST_LAPS or not quality.curve.closed:
        return None
    line = _session(quality, receiver, laps)
    at = np.array([chainage_m])
    slow = quality.curve.direction(at) / quality.at(quality.speed_mps, at)[:, None]
    slope = np.concatenate([-slow, slow])
    alone = float(quality.lap_sigma_s(at)[0]) ** 2
    begun = float(quality.passed_s(at)[0])
    variances = [
        line.variance_left(alone, begun + np.array([lap, lap + 1]) * quality.lap_s, slope)
        for lap in range(laps)
    ]
    return float(np.sqrt(np.mean(variances)))


def _session(quality: TimingQuality, receiver: Receiver, laps: int) -> RepeatedLine:
    """Lay so many laps, and a little before and after, beside the line."""
    curve, track = quality.curve, quality.track
    usual = _NODE_WITH_SPEEDS_M if receiver.doppler else _NODE_M
    apart = float(np.median(quality.speed_mps)) * receiver.interval_s
    spacing = max(float(np.clip(curve.length_m / _NODES_A_LAP, _FEWEST_NODE_M, usual)), apart)
    way = np.arange(0.0, (laps + 1) * curve.length_m, spacing)
    where = np.asarray(curve.wrap(way))
    left = curve.left(where)
    white = np.full(len(way), receiver.levels.white_m / np.sqrt(max(spacing / apart, 1.0)))
    time = quality.passed_s(way)
    level, walk = receiver.levels, None
    if receiver.doppler:
        walk = walked_m2ps(level, receiver.interval_s)
    profile, shift = track.centreline.accuracy_profile, track.accuracy_m
    if profile is not None:
        shift = float(np.sqrt(np.mean([row.sigma_m**2 for row in profile])))
    levels = LineLevels(
        level.wander_m,
        level.wander_time_s,
        walk,
        shift_m=_UNSURE_M if shift is None else max(shift, 0.01),
    )
    knot = np.linspace(0.0, curve.length_m, _KNOTS, endpoint=False)
    knots = Knots(knot, curve.left(knot), curve.length_m, closed=True)
    none = np.zeros(len(way))
    side = Sideways(time, way, where, none, left, np.hypot(white, _FAST_M), white)
    return fit_line(side, levels, knots)
