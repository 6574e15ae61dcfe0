"""The time difference of two laps at every metre, and the band in which it truly is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.motion.fix_covariance import FixCovariance
from trackkit.timing.crossings import Crossing, sum_sigma
from trackkit.timing.laps import Lap
from trackkit.timing.passings import passings
from trackkit.timing.report import LapReport
from trackkit.timing.traces import BAND_STEP_M, STEP_M, lap_chainages
from trackkit.track.model import Track

Kept = Drive | FixCovariance


@dataclass(frozen=True, eq=False)
class TimeDifference:
    """By how much later one lap reached each place than another, counted from their beginnings.

    Parameters
    ----------
    chainage_m
        Places along the centreline, metres, shape (n,), every `trackkit.timing.traces.STEP_M`.
    time_s
        Seconds, positive where the first lap was behind, shape (n,); NaN where a recording does
        not tell.
    sigma_s
        The band: one sigma, seconds, shape (n,).

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> fast, slow = sorted(report.counted, key=lambda lap: lap.time_s)
    >>> difference = trackkit.time_difference(track, report, slow, report, fast)
    >>> len(difference.chainage_m) == len(difference.sigma_s)
    True
    >>> bool(abs(difference.time_s[-1] - (slow.time_s - fast.time_s)) < 0.01)
    True
    """

    chainage_m: Floats
    time_s: Floats
    sigma_s: Floats

    def __repr__(self) -> str:
        return f"TimeDifference({len(self.chainage_m):,} places)"


def time_difference(
    track: Track, report: LapReport, lap: Lap, other_report: LapReport, other: Lap
) -> TimeDifference:
    """Compare two laps, of one recording or of two, at every metre.

    The errors of both laps at all their places belong to one drive or to two: those of one drive
    are taken as correlated as they are, those of two as independent (JCGM 100, "GUM", section 5.2;
    from memory).

    Parameters
    ----------
    track
        The track.
    report, lap
        The lap, and the report of its recording.
    other_report, other
        The lap it is compared with.

    Returns
    -------
    TimeDifference
        With its band.

    Raises
    ------
    TrackkitError
        When a report came without its drive.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> fast, slow = sorted(report.counted, key=lambda lap: lap.time_s)
    >>> difference = trackkit.time_difference(track, report, slow, report, fast)
    >>> difference.chainage_m[:3].tolist(), bool(difference.time_s[-1] > 0.0)
    ([0.0, 1.0, 2.0], True)
    """
    chainage = lap_chainages(track, STEP_M)
    every = round(BAND_STEP_M / STEP_M)
    passed = passings(track, report.drive, lap, chainage)
    others = passings(track, other_report.drive, other, chainage)
    begin, other_begin = lap.passed[0], other.passed[0]
    time = np.array(
        [
            later(begin, place, other_begin, other_place)
            for place, other_place in zip(passed, others, strict=True)
        ]
    )
    used = np.unique(np.append(np.arange(0, len(chainage), every), len(chainage) - 1))
    own = [begin, *(passed[k] for k in used)]
    of_other = [other_begin, *(others[k] for k in used)]
    if report is other_report:
        kept = other_kept = _kept(report.drive, own + of_other)
    else:
        kept, other_kept = _kept(report.drive, own), _kept(other_report.drive, of_other)
    sigma = np.array(
        [later_sigma(kept, (begin, passed[k]), other_kept, (other_begin, others[k])) for k in used]
    )
    good = np.isfinite(sigma)
    band = np.full(len(chainage), np.nan)
    if good.any():
        band = np.interp(chainage, chainage[used[good]], sigma[good])
        band[~np.isfinite(time)] = np.nan
    return TimeDifference(chainage, time, band)


def _kept(drive: Drive, places: list[Crossing | None]) -> FixCovariance:
    """Take out of a drive what tells sums over some places, so that each sum is quick."""
    return drive.fix_covariance([place.fix for place in places if place is not None])


def later(
    begin: Crossing | None,
    end: Crossing | None,
    other_begin: Crossing | None,
    other_end: Crossing | None,
) -> float:
    """Time from one passing to another, less the same of another lap; NaN where one is missing."""
    if begin is None or end is None or other_begin is None or other_end is None:
        return math.nan
    return (end.time_s - begin.time_s) - (other_end.time_s - other_begin.time_s)


def later_sigma(
    kept: Kept,
    ends: tuple[Crossing | None, Crossing | None],
    other_kept: Kept,
    other_ends: tuple[Crossing | None, Crossing | None],
) -> float:
    """One sigma of `later`, seconds: of one drive as a whole, of two in quadrature."""
    (begin, end), (other_begin, other_end) = ends, other_ends
    if begin is None or end is None or other_begin is None or other_end is None:
        return math.nan
    terms = [(end, 1.0), (begin, -1.0)]
    minus = [(other_end, -1.0), (other_begin, 1.0)]
    if kept is other_kept:
        return sum_sigma(kept, [*terms, *minus])
    return math.hypot(sum_sigma(kept, terms), sum_sigma(other_kept, minus))
