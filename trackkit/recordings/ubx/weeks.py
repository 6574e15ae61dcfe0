"""Times that a receiver tells twice: as UTC, and by the milliseconds of the GPS week."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Flags
from trackkit.recordings.raw import Times

_WEEK_S = 604_800
_MOST_LEAP_S = 30
"""UTC is that much off at most before a receiver has heard the leap seconds (18 s in 2017)."""
_AGREE_NS = 10_000_000
_AGREE_SHARE = 0.9


def steadied(utc: Times, itow_ms: ArrayLike, resolved: Flags) -> Times:
    """Take whole seconds out of UTC by which it leaps against the GPS week.

    UTC leaps when a receiver has heard how many leap seconds there are, and at a leap second.  All
    of a recording is counted from the first moment at which they were known.

    Parameters
    ----------
    utc
        As datetime64[ns], shape (n,), NaT where unknown.
    itow_ms
        Milliseconds of the GPS week, shape (n,).
    resolved
        Where the receiver says that it knows UTC fully, shape (n,).
    """
    there = np.flatnonzero(~np.isnat(utc))
    if len(there) < 2:
        return utc
    nanoseconds = utc[there].astype(np.int64)
    week_ns = np.asarray(itow_ms)[there].astype(np.int64) * 1_000_000
    apart = np.diff(nanoseconds) - np.diff(week_ns)
    if np.count_nonzero(np.abs(apart) <= _AGREE_NS) < _AGREE_SHARE * len(apart):
        # The week's time does not go with UTC: nothing can be told from it.
        return utc
    offset_s = np.rint((nanoseconds - week_ns) / 1e9).astype(np.int64)
    known = np.flatnonzero(resolved[there])
    reference = offset_s[known[0] if len(known) else 0]
    leap_s = (offset_s - reference + _WEEK_S // 2) % _WEEK_S - _WEEK_S // 2
    leap_s[np.abs(leap_s) > _MOST_LEAP_S] = 0
    steady = utc.copy()
    steady[there] -= (leap_s * 1_000_000_000).astype("timedelta64[ns]")
    return steady


def unwrapped_ns(itow_ms: ArrayLike) -> NDArray[np.int64]:
    """Count milliseconds of the week on across its end, as nanoseconds, shape (n,)."""
    week = np.asarray(itow_ms, dtype=np.int64)
    back = np.diff(week, prepend=week[:1]) < -500 * _WEEK_S
    return np.asarray((week + np.cumsum(back) * (1000 * _WEEK_S)) * 1_000_000)
