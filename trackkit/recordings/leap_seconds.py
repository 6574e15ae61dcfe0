"""How far UTC is behind GPS time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_SINCE = np.array(
    [
        "1981-07-01",
        "1982-07-01",
        "1983-07-01",
        "1985-07-01",
        "1988-01-01",
        "1990-01-01",
        "1991-01-01",
        "1992-07-01",
        "1993-07-01",
        "1994-07-01",
        "1996-01-01",
        "1997-07-01",
        "1999-01-01",
        "2006-01-01",
        "2009-01-01",
        "2012-07-01",
        "2015-07-01",
        "2017-01-01",
    ],
    dtype="datetime64[s]",
)
"""Days from which UTC has been one second more behind GPS time, which began with it on 6 January
1980 (IERS, Bulletins C up to 70; from memory)."""


def utc_of_gps(time: NDArray[np.datetime64]) -> NDArray[np.datetime64]:
    """Turn GPS time into UTC, by the one difference that holds at the first moment.

    A leap second within a recording changes no duration so.

    Parameters
    ----------
    time
        GPS time as datetime64[ns], shape (n,), NaT where unknown.
    """
    there = time[~np.isnat(time)]
    if not len(there):
        return time
    behind = np.arange(1, len(_SINCE) + 1)
    # The n-th leap second ends n seconds after midnight of GPS time.
    seconds = int(np.count_nonzero(_SINCE + behind.astype("timedelta64[s]") <= there[0]))
    return np.asarray(time - np.timedelta64(seconds, "s"))
