"""How errors of a drive at the places of a lap go together: any two of them can be timed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.drive import Drive
from trackkit.timing.laps import Lap
from trackkit.timing.passings import fastest_whole, passed_from_line_to_line
from trackkit.track.model import Track

MOST_LAPS = 3
"""Of the laps of a recording the fastest stand for all: they are driven and received alike."""
SHARES = np.linspace(0.0, 1.0, 9)
"""Of the time from one fix to the next, at which it is told how well positions are known there."""
_INTERVALS = 40
_LIKE = 0.1
"""Intervals that differ from the usual one by no more than this share of it are like it."""
_WORTH_TELLING_M2 = 5e-4
_AXES = np.eye(2)


@dataclass(frozen=True, eq=False)
class PlaceErrors:
    """Errors of positions along a lap.

    Parameters
    ----------
    covariance_m2
        Of the places, square metres, shape (k, k): correlated as the mean of both axes and of the
        laps is, as large as along the line, and as in the mean over the time between fixes; NaN
        where none is known.
    passed_s
        When the laps pass the places in the mean, seconds since they began, shape (k,).
    between_m2
        By how much the variance of a position is more at each of `SHARES` of the usual time from
        a fix to the next than in the mean over it, square metres; None where that is little.
    """

    covariance_m2: Floats
    passed_s: Floats
    between_m2: Floats | None


def place_errors(
    track: Track, drive: Drive, laps: Sequence[Lap], chainage_m: Floats
) -> PlaceErrors | None:
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
    PlaceErrors or None
        None where there is no such lap.
    """
    whole = fastest_whole(laps)[:MOST_LAPS]
    if not whole:
        return None
    passed = passed_from_line_to_line(track, drive, whole, chainage_m)
    every = [place for lap in passed for place in lap if place is not None]
    fix = np.array([place.fix for place in every])
    share = np.array([place.share for place in every])
    between = _between(drive, fix)
    kept = drive.fix_covariance(fix.tolist())
    mixed = np.zeros((len(every), len(every)))
    for axis in _AXES:
        mixed += 0.5 * sum(kept.covariances(fix, share, np.tile(axis, (len(every), 1))))
    if between is not None:
        mixed -= np.diag(np.interp(share, SHARES, between))
    # Laps tell better how far to the side a drive is off than how far along.
    onward = np.array([place.delay for place in every])
    onward /= np.linalg.norm(onward, axis=1)[:, None]
    along = kept.variances(fix[:, None], share[:, None], onward[:, None])
    if between is not None:
        along -= np.interp(share, SHARES, between)
    scale = np.sqrt(np.maximum(along, 0.0) / np.diag(mixed))
    mixed *= np.outer(scale, scale)
    total = np.zeros((len(chainage_m), len(chainage_m)))
    count = np.zeros_like(total)
    passed_s = np.full((len(passed), len(chainage_m)), np.nan)
    begin = 0
    for number, lap in enumerate(passed):
        there = [n for n, place in enumerate(lap) if place is not None]
        end = begin + len(there)
        total[np.ix_(there, there)] += mixed[begin:end, begin:end]
        count[np.ix_(there, there)] += 1
        passed_s[number, there] = [place.time_s for place in every[begin:end]]
        begin = end
    return PlaceErrors(
        np.where(count > 0, total / np.maximum(count, 1), np.nan),
        _means(passed_s - passed_s[:, :1]),
        between,
    )


def _means(values: Floats) -> Floats:
    """Means of columns, of what is known; NaN where nothing is."""
    there = np.isfinite(values)
    count = there.sum(axis=0)
    total = np.where(there, values, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _between(drive: Drive, fix: Indices) -> Floats | None:
    """Say how the variance of positions varies between fixes that are as far apart as usual."""
    first, last = int(fix.min()), min(int(fix.max()) + 1, len(drive.time_s) - 1)
    apart = np.diff(drive.time_s)
    usual = float(np.median(apart[first:last])) if last > first else 0.0
    like = np.abs(apart[first:last] - usual) <= _LIKE * usual
    index = first + np.flatnonzero(like & (np.diff(drive.piece)[first:last] == 0))
    if not len(index):
        return None
    index = index[np.unique(np.linspace(0, len(index) - 1, _INTERVALS).astype(np.intp))]
    at, share = np.repeat(index, len(SHARES))[:, None], np.tile(SHARES, len(index))[:, None]
    kept = drive.fix_covariance(at.ravel().tolist())
    variance = np.zeros(len(at))
    for axis in _AXES:
        variance += 0.5 * kept.variances(at, share, np.tile(axis, (len(at), 1, 1)))
    usually = variance.reshape(len(index), len(SHARES)).mean(axis=0)
    more = usually - 0.5 * (usually[1:] + usually[:-1]).mean()
    return more if np.abs(more).max() > _WORTH_TELLING_M2 else None
