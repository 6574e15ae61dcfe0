"""The table that NMEA 0183 sentences are read into, one row each."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Floats

KINDS = ("RMC", "GGA", "GNS", "VTG", "ZDA", "GST")
RMC, GGA, GNS, VTG, ZDA, GST = range(len(KINDS))

POSITION_KINDS = ("RMC", "GGA", "GNS")
"""Those that tell where the receiver is."""

FIELDS: dict[str, dict[str, int]] = {
    "RMC": {"time": 0, "status": 1, "position": 2, "speed_knots": 6, "course": 7, "date": 8},
    "GGA": {"time": 0, "position": 1, "quality": 5, "hdop": 7, "height": 8},
    "GNS": {"time": 0, "position": 1, "modes": 5, "hdop": 7, "height": 8},
    "VTG": {"course": 0, "speed_knots": 4, "speed_kmh": 6, "mode": 8},
    "ZDA": {"time": 0, "day": 1, "month": 2, "year": 3},
    "GST": {"time": 0, "major": 2, "minor": 3, "north": 5, "east": 6},
}
"""Where each kind tells what, its fields counted from 0 after the kind (NMEA 0183; from memory).
A position is four fields: ddmm.mmm, N or S, dddmm.mmm, E or W."""

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
        It is not six figures, or there is no such day.
    """
    if len(text) != 6 or not (text.isascii() and text.isdecimal()):
        raise ValueError(text)
    day, month, year = int(text[:2]), int(text[2:4]), int(text[4:])
    # Two-digit years: 69 to 99 are of the last century (POSIX strptime).
    return (date(year + (1900 if year >= 69 else 2000), month, day) - ORIGIN).days
