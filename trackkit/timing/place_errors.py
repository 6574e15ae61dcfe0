"""How errors of a drive at the places of a lap go together: any two of them can be timed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.timing.laps import Lap
from trackkit.timing.passings import fastest_whole, passed_from_line_to_line
from trackkit.track.model import Track

MOST_LAPS = 3
"""Of the laps of a recording the fastest stand for all: they are driven and received alike."""


def place_errors(
    track: Track, drive: Drive, laps: Sequence[Lap], chainage_m: Floats
) -> Floats | None:
    """Work out the covariance of a drive's errors at places along a lap.

    The error of a time between two places is that of the positions there, along the line, over the
    speeds (JCGM 100, "GUM", section 5.2; from memory).

    Parameters
    ----------
    track
        The track.
    drive
        That the laps are of.
    laps
        Those not driven from line to line past every gate are left out.
    chainage_m
        The places, rising, shape (k,): a lap's first and last are the gates it is timed at.

    Returns
    -------
    Floats or None
        Square metres, of one horizontal axis, shape (k, k): the mean of both axes and of the laps,
        NaN where none of these is known; None where there is no such lap.
    """
    whole = fastest_whole(laps)[:MOST_LAPS]
    if not whole:
        return None
    total = np.zeros((len(chainage_m), len(chainage_m)))
    count = np.zeros_like(total)
    for places in passed_from_line_to_line(track, drive, whole, chainage_m):
        there = [n for n, place in enumerate(places) if place is not None]
        passed = [place for place in places if place is not None]
        fix = np.array([place.fix for place in passed])
        share = np.array([place.share for place in passed])
        kept = drive.fix_covariance(place.fix for place in passed)
        for axis in np.eye(2):
            weight = np.tile(axis, (len(passed), 1))
            total[np.ix_(there, there)] += sum(kept.covariances(fix, share, weight))
            count[np.ix_(there, there)] += 1
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
