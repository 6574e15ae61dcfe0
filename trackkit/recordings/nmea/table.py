"""The table that NMEA 0183 sentences are read into, one row each."""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Floats

KINDS = ("RMC", "GGA", "GNS", "VTG", "ZDA", "GST")
RMC, GGA, GNS, VTG, ZDA, GST = range(len(KINDS))

NO_TIME = -1
NO_DAY = float("nan")
ORIGIN = date(1970, 1, 1)

_BLANK: dict[str, Any] = {
    "latitude_deg": np.nan,
    "longitude_deg": np.nan,
    "speed_mps": np.nan,
    "course_deg": np.nan,
    "elevation_m": np.nan,
    "hdop": np.nan,
    "accuracy_m": np.nan,
    "day": NO_DAY,
}
ROW = np.dtype(
    [
        ("at", np.intp),
        ("line", np.intp),
        ("kind", np.int64),
        ("talker", np.int64),
        ("time_us", np.int64),
        ("no_fix", np.bool_),
        *((name, np.float64) for name in _BLANK),
    ]
)
"""A sentence: the byte of its `$`, its line from 1, its kind as an index of `KINDS`, its talker's
two letters as one number, its time of day in microseconds since midnight (`NO_TIME` where it has
none), whether it says that there is no fix, and what it tells, NaN where it does not: degrees,
metres and metres a second, and the days since 1970."""

Rows = NDArray[np.void]


def blank_rows(count: int) -> Rows:
    """Make rows that tell nothing."""
    rows = np.zeros(count, dtype=ROW)
    rows["time_us"] = NO_TIME
    for name, value in _BLANK.items():
        rows[name] = value
    return rows


def accuracy_m(
    north_m: ArrayLike, east_m: ArrayLike, major_m: ArrayLike, minor_m: ArrayLike
) -> Floats:
    """Make one standard deviation per horizontal axis of those that a GST tells.

    sqrt((north² + east²) / 2) where both are there, else sqrt((major² + minor²) / 2) of the error
    ellipse.  Both are the same, the root mean square over two axes at right angles: the trace of a
    covariance does not change when the axes are turned.
    """
    north, east, major, minor = np.broadcast_arrays(north_m, east_m, major_m, minor_m)
    along_axes = np.sqrt((north * north + east * east) / 2)
    of_ellipse = np.sqrt((major * major + minor * minor) / 2)
    return np.asarray(np.where(np.isnan(along_axes), of_ellipse, along_axes))


@lru_cache(maxsize=64)
def day_of(text: str) -> int:
    """Turn ddmmyy into days since 1970.

    Raises
    ------
    ValueError
        There is no such day.
    """
    # Two-digit years: 69 to 99 are of the last century (POSIX strptime).
    return (datetime.strptime(text, "%d%m%y").replace(tzinfo=UTC).date() - ORIGIN).days
