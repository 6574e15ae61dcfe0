"""What holds wherever laps are laid beside the line of their track.

Laps that are timed together and predictions of what these are worth go by the same levels and
nodes; `trackkit.motion.line_model` has the model.
"""

from __future__ import annotations

import numpy as np

from trackkit.motion.line_model import LineLevels
from trackkit.motion.noise import Levels
from trackkit.motion.position_error import walked_m2ps
from trackkit.track.model import Track

FAST_M = 0.05
"""What a smoothed position errs by from fix to fix at least, one sigma (common practice)."""
FEWEST_NODE_M = 10.0
_NODES_A_LAP = 100
_NODE_M, _NODE_WITH_SPEEDS_M = 16.0, 24.0
"""There is a node at the first fix beyond each multiple of so much way at most: velocities hold a
drive's error so still that it need not be looked at as often."""
_UNSURE_M = 2.0
"""How far a line that says nothing of its accuracy may be shifted, one sigma on each axis: lines
averaged of a few laps and drawn ones alike (common practice, no source)."""


def node_spacing_m(length_m: float, *, doppler: bool) -> float:
    """Say how far apart nodes along a line of some length lie, with or without velocities."""
    most = _NODE_WITH_SPEEDS_M if doppler else _NODE_M
    return float(np.clip(length_m / _NODES_A_LAP, FEWEST_NODE_M, most))


def levels_beside(track: Track, levels: Levels, interval_s: float, *, doppler: bool) -> LineLevels:
    """Take the levels of a drive, and usual ones of the line that its laps repeat.

    Parameters
    ----------
    track
        Whose line may be shifted as far as its file says.
    levels, interval_s
        Of the receiver, and the seconds from fix to fix.
    doppler
        Whether it tells velocities.
    """
    return LineLevels(
        levels.wander_m,
        levels.wander_time_s,
        walked_m2ps(levels, interval_s) if doppler else None,
        shift_m=line_shift_m(track),
    )


def line_shift_m(track: Track) -> float:
    """Say how far the line of a track may be shifted as a whole, one sigma on each axis, metres."""
    profile, shift_m = track.centreline.accuracy_profile, track.accuracy_m
    if profile is not None:
        shift_m = float(np.sqrt(np.mean([row.sigma_m**2 for row in profile])))
    return _UNSURE_M if shift_m is None else max(shift_m, 0.01)
