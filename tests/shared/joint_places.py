"""When laps reached places along the track, since they began: truly, and as methods have it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
from joint_rivals import Timed
from joint_sessions import Driven, reached_s
from scipy.interpolate import make_interp_spline

from trackkit.simulation.drive import Run
from trackkit.timing.crossings import sum_sigmas
from trackkit.timing.laps import Lap
from trackkit.timing.passings import passings
from trackkit.track.model import Track


def true_elapsed(track: Track, driven: Driven, place: np.ndarray) -> np.ndarray:
    """Shape (laps, places), seconds."""
    return np.array(
        [
            reached_s(track, driven.run, begin, end, place) - begin
            for begin, end in driven.crossed_s[:, [0, -1]]
        ]
    )


def straight_elapsed(track: Track, driven: Driven, place: np.ndarray) -> np.ndarray:
    """The same by straight interpolation of positions, the beginning of the lap too."""
    fixes = driven.recording
    position = track.plane.to_plane(fixes.longitude_deg, fixes.latitude_deg)
    straight = make_interp_spline(fixes.time_s, position, k=1)
    as_run = cast("Run", SimpleNamespace(path=lambda time, order=0: straight(time, order)))
    rows = []
    for begin, end in driven.crossed_s[:, [0, -1]]:
        at_finish = np.concatenate([[0.0], place])
        reached = reached_s(track, as_run, begin, end, at_finish)
        rows.append(reached[1:] - reached[0])
    return np.array(rows)


def elapsed_of(track: Track, timed: Timed, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same of a smoothed drive, and the variance of each, s^2; NaN where not known."""
    elapsed = np.full((len(timed.passed), len(place)), np.nan)
    variance = np.full(elapsed.shape, np.nan)
    assert timed.drive is not None
    for row, passed in enumerate(timed.passed):
        if not passed or passed[0] is None or passed[-1] is None:
            continue
        lap = cast("Lap", SimpleNamespace(passed=passed))
        there = passings(track, timed.drive, lap, place)
        kept = timed.drive.fix_covariance(
            [crossing.fix for crossing in (passed[0], *there) if crossing is not None]
        )
        reached = [column for column, crossing in enumerate(there) if crossing is not None]
        ends = [(passed[0], crossing) for crossing in there if crossing is not None]
        elapsed[row, reached] = [last.time_s - first.time_s for first, last in ends]
        sigma = sum_sigmas(kept, [[(first, -1.0), (last, 1.0)] for first, last in ends])
        variance[row, reached] = np.square(sigma)
    return elapsed, variance
