"""How errors of a drive at the places of a lap go together: any two of them can be timed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.drive import Drive
from trackkit.motion.fix_covariance import FixCovariance
from trackkit.timing.laps import Lap
from trackkit.timing.passings import fastest_whole, passed_from_line_to_line
from trackkit.timing.traces import Span, reached_each_s
from trackkit.track.model import Track

MOST_LAPS = 3
"""Of the laps of a recording the fastest stand for all: they are driven and received alike."""
SHARES = np.linspace(0.0, 1.0, 9)
"""Of the time from one fix to the next, at which it is told how well positions are known there."""
_LAGS = 2
"""In the same interval between fixes, and in two that follow each other."""
_FEW, _MANY = 10, 40
"""So many intervals tell whether it matters where between fixes a position is, and how."""
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
        laps is, and as large as along the line, less what `between_m2` has; NaN where none is
        known.
    across
        Correlation of the errors of two laps, the one at the place by row and the other at that
        by column, shape (k, k); NaN where none is known.
    passed_s
        When the laps pass the places in the mean, seconds since they began, shape (k,).
    between_m2
        By how much the covariance of two positions is more, square metres, for being in the same
        interval between fixes, and in two that follow each other, at each of `SHARES` of the
        first, by row, and of the second, shape (2, s, s): than of positions two intervals apart.
        None where that is little.
    """

    covariance_m2: Floats
    across: Floats
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
    mixed = _of_both_axes(kept, fix, share)
    # Laps tell better how far to the side a drive is off than how far along.
    onward = np.array([place.delay for place in every])
    onward /= np.linalg.norm(onward, axis=1)[:, None]
    along = kept.variances(fix[:, None], share[:, None], onward[:, None])
    scale = np.sqrt(along / np.diag(mixed))
    mixed *= np.outer(scale, scale)
    if between is not None:
        mixed -= _more(between, fix, share)
    own = np.diag(mixed)
    correlation = mixed / np.sqrt(np.outer(own, own))
    count = len(chainage_m)
    where = np.full((len(passed), count), -1)
    passed_s = np.full((len(passed), count), np.nan)
    number = 0
    for row, lap in enumerate(passed):
        for column, place in enumerate(lap):
            if place is not None:
                where[row, column], passed_s[row, column] = number, place.time_s
                number += 1
    return PlaceErrors(
        _mean_block(mixed, [(of, of) for of in where]),
        _mean_block(correlation, [(a, b) for a in where for b in where if a is not b]),
        _means(passed_s - passed_s[:, :1]),
        between,
    )


def variances_along(
    track: Track, drive: Drive, spans: Sequence[Span], chainage_m: Floats, errors: PlaceErrors
) -> Floats:
    """Work out the variances of a drive's errors along the line on ways that are no laps.

    Parameters
    ----------
    track, drive
        The track, and the drive.
    spans
        The ways.
    chainage_m
        The places, shape (k,).
    errors
        Of the drive's laps.

    Returns
    -------
    Floats
        Square metres, less what `PlaceErrors.between_m2` has, shape (ways, k); NaN where a way
        does not pass a place.
    """
    time = reached_each_s(track, drive, spans, chainage_m)
    there = np.isfinite(time)
    variance = np.full(time.shape, np.nan)
    if not there.any():
        return variance
    fix, share, _ = drive.motion_at(time[there])
    # Beyond the last fix but one nothing is between two.
    fix = np.minimum(fix, len(drive.time_s) - 2)
    onward = track.curve.direction(chainage_m)[np.nonzero(there)[1]]
    kept = drive.fix_covariance(fix.tolist())
    variance[there] = kept.variances(fix[:, None], share[:, None], onward[:, None])
    if errors.between_m2 is not None:
        variance[there] -= _read(errors.between_m2[0], share, share)
    return variance


def _of_both_axes(kept: FixCovariance, fix: Indices, share: Floats) -> Floats:
    """Covariance of positions, the mean of both axes."""
    mixed = np.zeros((len(fix), len(fix)))
    for axis in _AXES:
        mixed += 0.5 * sum(kept.covariances(fix, share, np.tile(axis, (len(fix), 1))))
    return mixed


def _mean_block(values: Floats, blocks: Sequence[tuple[Indices, Indices]]) -> Floats:
    """Mean of some blocks of a matrix, by their rows and columns; what is -1 is not known."""
    shape = (len(blocks[0][0]), len(blocks[0][1])) if blocks else (0, 0)
    total, count = np.zeros(shape), np.zeros(shape)
    for rows, columns in blocks:
        known = (rows >= 0)[:, None] & (columns >= 0)
        total += np.where(known, values[np.ix_(rows, columns)], 0.0)
        count += known
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _means(values: Floats) -> Floats:
    """Means of columns, of what is known; NaN where nothing is."""
    there = np.isfinite(values)
    count = there.sum(axis=0)
    total = np.where(there, values, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _between(drive: Drive, fix: Indices) -> Floats | None:
    """Say how covariances vary between fixes that are as far apart as usual."""
    first, last = int(fix.min()), min(int(fix.max()) + 1, len(drive.time_s) - 1)
    apart = np.diff(drive.time_s)
    usual = float(np.median(apart[first:last])) if last > first else 0.0
    like = (np.abs(apart - usual) <= _LIKE * usual) & (np.diff(drive.piece) == 0)
    index = first + np.flatnonzero(like[first : last - 1] & like[first + 1 : last])
    if not len(index):
        return None
    if not _matters(drive, _some(index, _FEW)):
        return None
    index = _some(index, _MANY)
    at = np.repeat((index[:, None] + np.arange(_LAGS)).ravel(), len(SHARES))
    share = np.tile(SHARES, _LAGS * len(index))
    mixed = _of_both_axes(drive.fix_covariance(at.tolist()), at, share)
    size = _LAGS * len(SHARES)
    inside = [slice(begin, begin + size) for begin in range(0, len(at), size)]
    block = np.mean([mixed[part, part] for part in inside], axis=0)
    four = block.reshape(_LAGS, len(SHARES), _LAGS, len(SHARES))
    more = np.stack([0.5 * (four[0, :, 0] + four[1, :, 1]), four[0, :, 1]])
    return np.asarray(more - four[0, 0, 1, -1])


def _some(index: Indices, count: int) -> Indices:
    """Take so many of some numbers, or all where they are fewer, evenly spread."""
    return index[np.unique(np.linspace(0, len(index) - 1, count).astype(np.intp))]


def _matters(drive: Drive, index: Indices) -> bool:
    """Tell whether positions are known differently well between some fixes and the next."""
    at, share = np.repeat(index, len(SHARES))[:, None], np.tile(SHARES, len(index))[:, None]
    kept = drive.fix_covariance(at.ravel().tolist())
    variance = sum(kept.variances(at, share, np.tile(axis, (len(at), 1, 1))) for axis in _AXES)
    usually = 0.5 * np.reshape(variance, (len(index), len(SHARES))).mean(axis=0)
    return bool(np.ptp(usually) > _WORTH_TELLING_M2)


def _more(between_m2: Floats, fix: Indices, share: Floats) -> Floats:
    """Lay out by how much the covariances of places that are close in time are more."""
    total = np.zeros((len(fix), len(fix)))
    after = fix[None, :] - fix[:, None]
    for lag, more in enumerate(between_m2):
        a, b = np.nonzero(after == lag)
        total[a, b] = _read(more, share[a], share[b])
        total[b, a] = total[a, b]
    return total


def _read(table: Floats, first: Floats, second: Floats) -> Floats:
    """Read a table by two shares, straight between its values."""
    last = len(SHARES) - 1
    (row, down), (column, right) = (
        (number := np.minimum((last * part).astype(np.intp), last - 1), last * part - number)
        for part in (first, second)
    )
    upper = (1.0 - right) * table[row, column] + right * table[row, column + 1]
    lower = (1.0 - right) * table[row + 1, column] + right * table[row + 1, column + 1]
    return np.asarray((1.0 - down) * upper + down * lower)
