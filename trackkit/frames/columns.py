"""Columns of frames: their kinds, and times of day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.arrays import Floats

if TYPE_CHECKING:
    from pandas import DataFrame, DatetimeIndex

_WHOLE = ("session", "lap", "sector")
_TRUTHS = ("complete", "counts")
_FEW = ("track", "recording", "driver", "kind")
"""Columns that hold few texts many times, as categories: they then take little room."""
TIMES = ("begun", "time_of_day")


def frame_of(names: Sequence[str], columns: Mapping[str, Sequence[Any] | Floats]) -> DataFrame:
    """Make a frame, each column of the kind that its name says, also where there is no row.

    Parameters
    ----------
    names
        Of the columns, in their order; those that end in a unit hold numbers, NaN where missing.
    columns
        Their values, one a row; those of times of day are `datetime` or None, or ready.
    """
    import pandas as pd

    series: dict[str, Any] = {}
    for name in names:
        values = columns[name]
        if name in _WHOLE:
            series[name] = pd.Series(np.asarray(values, dtype=np.int64))
        elif name in _TRUTHS:
            series[name] = pd.Series(np.asarray(values, dtype=bool))
        elif name in _FEW:
            series[name] = pd.Series(pd.Categorical(values))
        elif name in TIMES:
            series[name] = pd.Series(values, dtype="datetime64[ns, UTC]")
        elif name.endswith(("_s", "_m", "_deg", "_mps", "_mps2")):
            series[name] = pd.Series(np.asarray(values, dtype=float))
        else:
            series[name] = pd.Series(list(values), dtype=object)
    return pd.DataFrame(series, columns=list(names))


def columns_of(names: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> dict[str, list[Any]]:
    """Turn rows into columns; what a row has no value of is None."""
    columns: dict[str, list[Any]] = {name: [] for name in names}
    for row in rows:
        for name, column in columns.items():
            column.append(row.get(name))
    return columns


def times_of_day(start: datetime | None, time_s: Floats) -> DatetimeIndex:
    """Turn seconds from a first fix into times of day, UTC; none of them where it has none."""
    import pandas as pd

    since = np.full(len(time_s), np.timedelta64("NaT", "ns"))
    if start is None:
        return pd.DatetimeIndex(pd.to_datetime(since.astype("datetime64[ns]"), utc=True))
    fine = np.isfinite(time_s)
    since[fine] = np.round(time_s[fine] * 1e9).astype("timedelta64[ns]")
    return pd.Timestamp(start).as_unit("ns") + pd.TimedeltaIndex(since)
