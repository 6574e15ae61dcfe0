"""A lap by the places it passed: crossings of the lines square to the track there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap
from trackkit.timing.traces import reached_s
from trackkit.track.model import Track

PLACE = ""
"""What stands for a gate's id in the crossing of a line that is no gate."""


def fastest_whole(laps: Sequence[Lap]) -> list[Lap]:
    """List the laps driven from line to line past every gate: those that count first, by time."""
    return sorted((lap for lap in laps if lap.is_whole), key=_time)


def _time(lap: Lap) -> tuple[bool, float]:
    return not lap.counts, lap.time_s or 0.0


def passed_from_line_to_line(
    track: Track, drive: Drive, lap: Lap, chainage_m: Floats
) -> tuple[Crossing | None, ...]:
    """Find how a lap passed places of which the first and the last are the gates it is timed at.

    Parameters
    ----------
    track, drive, lap
        As for `passings`.
    chainage_m
        The places, rising, shape (k,).
    """
    return (lap.passed[0], *passings(track, drive, lap, chainage_m[1:-1]), lap.passed[-1])


def passings(
    track: Track, drive: Drive, lap: Lap, chainage_m: Sequence[float] | Floats
) -> tuple[Crossing | None, ...]:
    """Find how a lap passed places along the track.

    Parameters
    ----------
    track
        The track.
    drive
        The drive the lap is of.
    lap
        With its beginning and its end.
    chainage_m
        The places, from 0 to the length of the line.

    Returns
    -------
    tuple
        A crossing of the line square to the track at each place, so that `sum_sigma` tells how
        well any sum of their times is known; None where the recording does not tell.
    """
    first, last = lap.passed[0], lap.passed[-1]
    place = np.asarray(chainage_m, dtype=float)
    if first is None or last is None:
        return (None,) * len(place)
    time = reached_s(track, drive, first.fix, last.fix, place)
    there = np.isfinite(time)
    fix = np.searchsorted(drive.time_s, time[there], side="right") - 1
    fix = np.clip(fix, 0, len(drive.time_s) - 2)
    share = (time[there] - drive.time_s[fix]) / (drive.time_s[fix + 1] - drive.time_s[fix])
    _, velocity = drive.between(fix, share)
    ahead = track.curve.direction(place[there])
    delay = ahead / np.einsum("ij,ij->i", velocity, ahead)[:, None]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    made = [
        Crossing(PLACE, moment, pace, before, part, (east, north))
        for moment, pace, before, part, (east, north) in zip(
            time[there].tolist(),
            speed.tolist(),
            fix.tolist(),
            share.tolist(),
            delay.tolist(),
            strict=True,
        )
    ]
    passed: list[Crossing | None] = [None] * len(place)
    for index, crossing in zip(np.flatnonzero(there).tolist(), made, strict=True):
        passed[index] = crossing
    return tuple(passed)
