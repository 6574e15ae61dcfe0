"""Columns of frames: their kinds, and times of day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats

if TYPE_CHECKING:
    from pandas import DataFrame, Series

Moments = NDArray[np.datetime64]

_WHOLE = ("session", "lap", "sector")
_TRUTHS = ("complete", "counts")
_FEW = ("track", "recording", "driver", "kind", "best")
"""Columns that hold few texts many times, as categories: they then take little room."""
TIMES = ("begun", "time_of_day")


def frame_of(
    names: Sequence[str],
    columns: Mapping[str, Sequence[Any] | Floats | Moments],
    numbers: Sequence[str] = (),
) -> DataFrame:
    """Make a frame, each column of the kind that its name says, also where there is no row.

    Parameters
    ----------
    names
        Of the columns, in their order; those that end in a unit hold numbers, NaN where missing.
    columns
        Their values, one a row; those of times of day are `datetime` or None, or ready.
    numbers
        Of columns after those, which hold numbers whatever they are called.
    """
    import pandas as pd

    series = {name: series_of(name, columns[name]) for name in names}
    series |= {name: pd.Series(np.asarray(columns[name], dtype=float)) for name in numbers}
    return pd.DataFrame(series, columns=[*names, *numbers])


def series_of(name: str, values: Sequence[Any] | Floats | Moments) -> Series[Any]:
    """Make a column of the kind that its name says."""
    import pandas as pd

    if name in _WHOLE:
        return pd.Series(np.asarray(values, dtype=np.int64))
    if name in _TRUTHS:
        return pd.Series(np.asarray(values, dtype=bool))
    if name in _FEW:
        return pd.Series(pd.Categorical(values))
    if name in TIMES:
        return pd.Series(values, dtype="datetime64[ns, UTC]")
    if name.endswith(("_s", "_m", "_deg", "_mps", "_mps2")):
        return pd.Series(np.asarray(values, dtype=float))
    return pd.Series(list(values), dtype=object)


def columns_of(names: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> dict[str, list[Any]]:
    """Turn rows into columns; what a row has no value of is None."""
    columns: dict[str, list[Any]] = {name: [] for name in names}
    for row in rows:
        for name, column in columns.items():
            column.append(row.get(name))
    return columns


def times_of_day(start: datetime | None, time_s: Floats) -> Moments:
    """Turn seconds from a first fix into times of day, UTC; none of them where it has none."""
    since = np.full(len(time_s), np.timedelta64("NaT", "ns"))
    if start is None:
        return since.astype("datetime64[ns]")
    fine = np.isfinite(time_s)
    since[fine] = np.round(time_s[fine] * 1e9).astype("timedelta64[ns]")
    return np.datetime64(start.astimezone(UTC).replace(tzinfo=None), "ns") + since
