"""A lap by the places it passed: crossings of the lines square to the track there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap
from trackkit.timing.traces import Span, reached_each_s
from trackkit.track.model import Track

PLACE = ""
"""What stands for a gate's id in the crossing of a line that is no gate."""


def fastest_whole(laps: Sequence[Lap]) -> list[Lap]:
    """List the laps driven from line to line past every gate: those that count first, by time."""
    return sorted((lap for lap in laps if lap.is_whole), key=_time)


def _time(lap: Lap) -> tuple[bool, float]:
    return not lap.counts, lap.time_s or 0.0


def passed_from_line_to_line(
    track: Track, drive: Drive, laps: Sequence[Lap], chainage_m: Floats
) -> list[tuple[Crossing | None, ...]]:
    """Find how laps passed places of which the first and the last are the gates they are timed at.

    Parameters
    ----------
    track, drive, laps
        As for `passings_of_each`.
    chainage_m
        The places, rising, shape (k,).
    """
    return [
        (lap.passed[0], *passed, lap.passed[-1])
        for lap, passed in zip(
            laps, passings_of_each(track, drive, laps, chainage_m[1:-1]), strict=True
        )
    ]


def passings(
    track: Track, drive: Drive, lap: Lap, chainage_m: Sequence[float] | Floats
) -> tuple[Crossing | None, ...]:
    """Find how one lap passed places along the track, as `passings_of_each` does."""
    return passings_of_each(track, drive, [lap], chainage_m)[0]


def passings_of_each(
    track: Track, drive: Drive, laps: Sequence[Lap], chainage_m: Sequence[float] | Floats
) -> list[tuple[Crossing | None, ...]]:
    """Find how laps passed places along the track.

    Parameters
    ----------
    track
        The track.
    drive
        The drive the laps are of.
    laps
        With their beginnings and their ends.
    chainage_m
        The places, from 0 to the length of the line.

    Returns
    -------
    list of tuple
        Of each lap a crossing of the line square to the track at each place, so that `sum_sigma`
        tells how well any sum of their times is known; None where the recording does not tell.
    """
    place = np.asarray(chainage_m, dtype=float)
    ends = [(lap.passed[0], lap.passed[-1]) for lap in laps]
    spans = [
        Span(first.fix, last.fix) for first, last in ends if first is not None and last is not None
    ]
    times = iter(reached_each_s(track, drive, spans, place))
    unknown = np.full(len(place), np.nan)
    time = np.array(
        [unknown if first is None or last is None else next(times) for first, last in ends]
    ).reshape(len(laps), len(place))
    there = np.isfinite(time)
    when = time[there]
    fix = np.searchsorted(drive.time_s, when, side="right") - 1
    fix = np.clip(fix, 0, len(drive.time_s) - 2)
    share = (when - drive.time_s[fix]) / (drive.time_s[fix + 1] - drive.time_s[fix])
    _, velocity = drive.between(fix, share)
    ahead = track.curve.direction(place)[np.nonzero(there)[1]]
    delay = ahead / np.einsum("ij,ij->i", velocity, ahead)[:, None]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    made = iter(
        [
            Crossing(PLACE, moment, pace, before, part, (east, north))
            for moment, pace, before, part, (east, north) in zip(
                when.tolist(),
                speed.tolist(),
                fix.tolist(),
                share.tolist(),
                delay.tolist(),
                strict=True,
            )
        ]
    )
    return [tuple(next(made) if known else None for known in row) for row in there.tolist()]
