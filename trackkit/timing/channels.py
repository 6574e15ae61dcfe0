"""What channels say of laps and sectors: least, largest and mean; nothing here changes a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.recordings.channel import Channel
from trackkit.timing.channel_figures import FIGURES, ChannelFigures
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap

GAP_S = 5.0
GAP_INTERVALS = 5.0
"""No value is read between two that lie farther apart than both, as with missing fixes."""


def with_channels(laps: Sequence[Lap], channels: Sequence[Channel]) -> list[Lap]:
    """Say of each lap and sector that has a time what the channels were in it.

    Parameters
    ----------
    laps
        Timed.
    channels
        Of the recording that they are of.
    """
    if not channels:
        return list(laps)
    measured = [_without_gaps(channel) for channel in channels]

    def between(begin: Crossing | None, end: Crossing | None) -> tuple[ChannelFigures, ...]:
        if begin is None or end is None:
            return ()
        return tuple(_figures(channel, begin.time_s, end.time_s) for channel in measured)

    return [
        replace(
            lap,
            channels=between(lap.passed[0], lap.passed[-1]),
            sectors=tuple(
                replace(sector, channels=between(begin, end))
                for sector, begin, end in zip(
                    lap.sectors, lap.passed[:-1], lap.passed[1:], strict=True
                )
            ),
        )
        for lap in laps
    ]


def _without_gaps(channel: Channel) -> Channel:
    number = np.isfinite(channel.value)
    return replace(channel, time_s=channel.time_s[number], value=channel.value[number])


def _figures(channel: Channel, begin_s: float, end_s: float) -> ChannelFigures:
    low, high = np.searchsorted(channel.time_s, [begin_s, end_s])
    value, time = channel.value[low:high], channel.time_s[low:high]
    if len(value) == 0:
        return ChannelFigures(channel.name, channel.unit, None, None, None)
    mean = float(value[0])
    if len(value) > 1:
        middle = 0.5 * (value[1:] + value[:-1])
        mean = float(middle @ np.diff(time) / (time[-1] - time[0]))
    return ChannelFigures(channel.name, channel.unit, float(value.min()), float(value.max()), mean)


def channel_at(channel: Channel, time_s: ArrayLike) -> Floats:
    """Read a channel at some times, straight between its values.

    Parameters
    ----------
    channel
        The channel.
    time_s
        Seconds from the first fix, any shape.

    Returns
    -------
    ndarray
        In the channel's unit; NaN before its first value, after its last, beside one that is no
        number, and in a gap.
    """
    at = np.asarray(time_s, dtype=float)
    value = np.interp(at, channel.time_s, channel.value, left=np.nan, right=np.nan)
    step = np.diff(channel.time_s)
    if len(step):
        gap = step > max(GAP_S, GAP_INTERVALS * float(np.median(step)))
        after = np.clip(np.searchsorted(channel.time_s, at), 1, len(step))
        inside = (at > channel.time_s[after - 1]) & (at < channel.time_s[after])
        value = np.where(inside & gap[after - 1], np.nan, value)
    return np.asarray(value)


def channel_titles(laps: Iterable[Lap]) -> list[str]:
    """List the channels that some laps have, by name and unit, in the order they come in."""
    every = (figures.title for lap in laps for figures in lap.channels)
    return list(dict.fromkeys(every))


def channel_columns(titles: Iterable[str]) -> list[str]:
    """Name the columns of a table with the figures of channels: "RPM least" and so on."""
    return [f"{title} {figure}" for title in titles for figure in FIGURES]


def channel_cells(channels: Iterable[ChannelFigures]) -> dict[str, float | None]:
    """Lay out figures by the columns of `channel_columns`."""
    return {
        f"{figures.title} {figure}": getattr(figures, figure)
        for figures in channels
        for figure in FIGURES
    }
