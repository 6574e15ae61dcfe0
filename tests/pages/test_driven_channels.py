"""What a page holds of channels: their values at their own times, in laps that are shown."""

from __future__ import annotations

import base64
from dataclasses import replace

import numpy as np
import pytest
from oval_page import document_of, oval, session

from trackkit.pages.driven_channels import MOST_VALUES, channel_rows
from trackkit.pages.html import map_html
from trackkit.pages.nearby import shown_of
from trackkit.recordings.channel import Channel
from trackkit.timing.lap_times import time_laps


def unpacked(packed) -> np.ndarray:
    number = np.frombuffer(
        base64.b64decode(packed["data"]), "<u2" if packed["type"] == "u16" else "<i4"
    )
    return packed["zero"] + packed["scale"] * number


def times_of(row) -> np.ndarray:
    return row["first_s"] + np.concatenate([[0.0], np.cumsum(unpacked(row["step_s"]))])


def revs(begin_s: float, end_s: float, interval_s: float) -> Channel:
    time = np.arange(begin_s, end_s, interval_s)
    return Channel("revs", "1/min", time, 6000.0 + 2500.0 * np.sin(time / 3.0))


def test_values_are_read_back_at_their_own_times() -> None:
    track = oval()
    drive = session(track)
    channel = revs(0.0, drive.duration_s, 0.1313)
    html = map_html(track, recordings=[replace(drive, channels=(channel,))])
    page = document_of(html, "base")
    (row,) = page["recordings"][0]["channels"]
    assert (row["name"], row["unit"]) == ("revs", "1/min")
    times = times_of(row)
    # Rounded to a thousandth of a second each, however many have gone before.
    nearest = np.abs(times[:, None] - channel.time_s).argmin(axis=1)
    assert times == pytest.approx(channel.time_s[nearest], abs=0.0006)
    assert unpacked(row["value"]) == pytest.approx(channel.value[nearest], abs=0.1)


def test_what_was_measured_outside_laps_is_left_out_and_the_rest_thinned() -> None:
    track = oval()
    drive = session(track)
    laps = time_laps(track, drive).laps
    begin = min(lap.start_s for lap in laps if lap.start_s is not None and lap.time_s is not None)
    end = max(lap.start_s + lap.time_s for lap in laps if lap.time_s is not None)
    fine = revs(0.0, drive.duration_s, (end - begin) / (3.5 * MOST_VALUES))
    part = shown_of(track, drive, everything=False)
    ((row,),) = channel_rows([laps], [part], [[fine]])
    times = times_of(row)
    assert (times[0], times[-1]) == pytest.approx((begin, end), abs=0.1)
    assert MOST_VALUES / 2 < len(times) <= MOST_VALUES


def test_of_a_lap_that_is_not_shown_nothing_is_told() -> None:
    track = oval()
    drive = session(track)
    laps = time_laps(track, drive).laps
    part = shown_of(track, drive, everything=False)
    hidden = replace(part, fixes=np.zeros_like(part.fixes))
    assert channel_rows([laps], [hidden], [[revs(0.0, drive.duration_s, 0.5)]]) == [[]]
