"""What a page holds of channels of recordings, such as engine speed, at their own times."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.pages.nearby import Shown
from trackkit.pages.packing import pack
from trackkit.recordings.channel import Channel
from trackkit.timing.channels import GAP_INTERVALS, GAP_S
from trackkit.timing.laps import Lap

MOST_VALUES = 60_000
"""More, of all recordings together, are thinned out evenly: two bytes each, and a time for them."""
_TIME_S = 1e-3
_LEVELS = 60_000
"""A value is told as one of so many between the least and the greatest: they fit in two bytes."""


def channel_rows(
    laps: Sequence[Sequence[Lap]],
    shown: Sequence[Shown],
    channels: Sequence[Sequence[Channel]],
) -> list[list[dict[str, Any]]]:
    """Lay out the channels of recordings in their laps, for a page.

    Parameters
    ----------
    laps, shown, channels
        Of each recording: its laps, what of it is shown, and its channels.

    Returns
    -------
    list of list of dict
        The channels of each recording, ready for `json.dumps`, as pages/web/base.schema.json says.
        What was measured outside laps, or where a lap is not shown, is left out.
    """
    kept = [
        [(channel, _in_laps(channel.time_s, timed, part)) for channel in own]
        for timed, part, own in zip(laps, shown, channels, strict=True)
    ]
    count = sum(int(inside.sum()) for own in kept for _, inside in own)
    every = max(1, -(-count // MOST_VALUES))
    return [
        [
            _row(channel, np.flatnonzero(inside)[::every], part.begin_s)
            for channel, inside in own
            if np.isfinite(channel.value[inside]).any()
        ]
        for own, part in zip(kept, shown, strict=True)
    ]


def _in_laps(time_s: Floats, laps: Sequence[Lap], shown: Shown) -> Flags:
    """Tell which times lie in a lap that is shown, or are the next beside one."""
    inside = np.full(len(time_s), fill_value=False)
    for lap in laps:
        if lap.start_s is None or lap.time_s is None or not shown.shows_all_of(lap):
            continue
        low = int(np.searchsorted(time_s, lap.start_s)) - 1
        high = int(np.searchsorted(time_s, lap.start_s + lap.time_s)) + 1
        inside[max(low, 0) : high] = True
    return inside


def _row(channel: Channel, kept: Any, begin_s: float) -> dict[str, Any]:
    value, time = channel.value[kept], channel.time_s[kept]
    finite = value[np.isfinite(value)]
    # Whole steps of the recording's time, so that what is rounded does not add up.
    whole = np.rint(time / _TIME_S) * _TIME_S
    step = np.diff(whole)
    usual = float(np.median(step)) if len(step) else 0.0
    widest = float(finite.max() - finite.min())
    return {
        "name": channel.name,
        "unit": channel.unit,
        "first_s": round(float(whole[0]) - begin_s, 4),
        "step_s": pack(step, _TIME_S),
        "gap_s": round(max(GAP_S, GAP_INTERVALS * usual), 3),
        "value": pack(value, widest / _LEVELS if widest > 0.0 else 1.0),
    }
