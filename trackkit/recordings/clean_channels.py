"""Channels put on the time of a recording, without rows whose time cannot be right."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.recordings.channel import Channel
from trackkit.recordings.raw import RawChannels, Times


def clean_channels(
    raw: RawChannels | None, counted_from: Times, kept: Indices, seconds: Floats
) -> tuple[Channel, ...]:
    """Turn the channels of a file into those of a recording.

    A row's time is right where it lies between those of the fixes that stay, before and after it in
    the file.  So a value is kept whose position was removed, and none from before the first fix or
    after the last, or from a row whose clock was wrong.  Of values at one time the first stays.

    Parameters
    ----------
    raw
        The channels as read, or None.
    counted_from
        The time that `seconds` counts from, shape (1,).
    kept
        The fixes that stay, indices into the file's, shape (n,), n at least 1.
    seconds
        Their times, seconds, shape (n,), increasing.

    Returns
    -------
    tuple of Channel
        Those of which a number is left.
    """
    if raw is None:
        return ()
    time = _seconds(raw.time, counted_from) - seconds[0]
    fix = seconds - seconds[0]
    after = np.searchsorted(kept, raw.fixes_before)
    with np.errstate(invalid="ignore"):
        right = (time >= np.append(0.0, fix)[after]) & (time <= np.append(fix, fix[-1])[after])
    last_row: Indices | None = None
    channels = []
    for column in raw.columns:
        # Columns that are full share their rows, and so their times.
        if column.row is not last_row:
            last_row = column.row
            picked = np.flatnonzero(right[column.row])
            at = time[column.row[picked]]
            before = np.concatenate([[-np.inf], np.maximum.accumulate(at)[:-1]])[: len(at)]
            picked, at = picked[at > before], at[at > before]
        value = column.value[picked]
        if np.isfinite(value).any():
            channels.append(Channel(column.name, column.unit, at, value))
    return tuple(channels)


def _seconds(time: Times, counted_from: Times) -> Floats:
    if time.dtype.kind != "M":
        return np.subtract(time, counted_from, dtype=float)
    since = time.astype("datetime64[ns]") - counted_from.astype("datetime64[ns]")
    seconds = np.asarray(since.astype(np.int64) / 1e9, dtype=float)
    seconds[np.isnat(since)] = np.nan
    return seconds
