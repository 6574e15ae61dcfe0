"""What a lap time is worth in a session of laps that are timed together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.beside_track import FAST_M, levels_beside, node_spacing_m
from trackkit.motion.line_model import Knots, Sideways
from trackkit.motion.position_error import Receiver
from trackkit.motion.repeated_line import RepeatedLine, fit_line
from trackkit.track.model import Track

FEWEST_LAPS, MOST_LAPS = 2, 15
"""More laps than this tell little more."""
_KNOTS = 80


def session_laps(receiver: Receiver, lap_s: float) -> int:
    """Say how many laps are reckoned with: as many as a session has, up to `MOST_LAPS`.

    Parameters
    ----------
    receiver
        That records for a session.
    lap_s
        Time of a lap, seconds.

    Returns
    -------
    int
        0 where a session has fewer than `FEWEST_LAPS`.
    """
    laps = min(int(receiver.session_s / lap_s), MOST_LAPS)
    return laps if laps >= FEWEST_LAPS else 0


def session_lap_sigma_s(
    line: RepeatedLine,
    laps: int,
    begun_s: float,
    lap_s: float,
    slowness_spm: Floats,
    alone_s: float,
) -> float:
    """Predict one sigma of a lap time from a place, in a session of laps timed together.

    Parameters
    ----------
    line
        From `session_line`.
    laps
        How many there are.
    begun_s, lap_s
        When the first one begins, and the time of a lap, seconds.
    slowness_spm
        Direction of the track at the place over the speed there, seconds a metre, shape (2,).
    alone_s
        One sigma over a drive by itself, seconds.

    Returns
    -------
    float
        Seconds, root mean square over the laps.
    """
    slope = np.stack([-slowness_spm, slowness_spm])
    variances = [
        line.variance_left(alone_s**2, begun_s + np.array([lap, lap + 1]) * lap_s, slope)
        for lap in range(laps)
    ]
    return float(np.sqrt(np.mean(variances)))


def session_line(
    track: Track, receiver: Receiver, laps: int, passed_s: Callable[[Floats], Floats]
) -> RepeatedLine:
    """Lay so many laps, and the rest of one more, beside the line of a track.

    The model is that of `trackkit.motion.repeated_line`, whose covariance needs no measurement: the
    driver repeats a line within a metre and deviates from it by 0.4 m over 30 m, and the track's
    line is as well known as its file says.

    Parameters
    ----------
    track
        Closed.
    receiver
        That records it.
    laps
        How many.
    passed_s
        Time from chainage 0 to some chainages, which grow on over a lap, metres, in seconds.
    """
    curve = track.curve
    lap_s = float(passed_s(np.array([curve.length_m]))[0])
    apart = curve.length_m / lap_s * receiver.interval_s
    spacing = max(node_spacing_m(curve.length_m, doppler=receiver.doppler), apart)
    way = np.arange(0.0, (laps + 1) * curve.length_m, spacing)
    where = np.asarray(curve.wrap(way))
    left = curve.left(where)
    white = np.full(len(way), receiver.levels.white_m / np.sqrt(max(spacing / apart, 1.0)))
    time = passed_s(way)
    levels = levels_beside(track, receiver.levels, receiver.interval_s, doppler=receiver.doppler)
    knot = np.linspace(0.0, curve.length_m, _KNOTS, endpoint=False)
    knots = Knots(knot, curve.left(knot), curve.length_m, closed=True)
    none = np.zeros(len(way))
    side = Sideways(time, way, where, none, left, np.hypot(white, FAST_M), white)
    return fit_line(side, levels, knots)
