"""The stretches of a file's fixes, put in order of time."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Indices
from trackkit.recordings.gpx_channels import reordered
from trackkit.recordings.raw import RawFixes


def numbered(segment: ArrayLike) -> Indices:
    """Give the segments that are left numbers from 0 on, without gaps, shape (n,)."""
    return np.unique(segment, return_inverse=True)[1].astype(np.intp)


def segments_by_time(raw: RawFixes) -> RawFixes:
    """Put segments in order of time when each one ends before the next begins.

    Parameters
    ----------
    raw
        Its times are UTC.

    Returns
    -------
    RawFixes
        The same where there is one segment, where they are in order, or where any overlap.
    """
    segment = raw.segment
    if segment is None or segment[-1] == 0:
        return raw
    spans = []
    for number in range(int(segment[-1]) + 1):
        time = raw.time[segment == number]
        time = time[~np.isnat(time)]
        # A segment without times has no place in the order; its points go anyway.
        spans.append((time.min(), time.max(), number) if len(time) else None)
    timed = sorted(span for span in spans if span is not None)
    if any(b[0] <= a[1] for a, b in pairwise(timed)):
        return raw
    in_time = [span[2] for span in timed]
    if in_time == sorted(in_time):
        return raw
    order = in_time + [n for n, span in enumerate(spans) if span is None]
    index = np.concatenate([np.flatnonzero(segment == number) for number in order])
    lengths = [int(np.count_nonzero(segment == number)) for number in order]
    return replace(
        raw.picked(index),
        segment=np.repeat(np.arange(len(order)), lengths).astype(np.intp),
        remarks=(*raw.remarks, "segments were put in order of time"),
        channels=None if raw.channels is None else reordered(raw.channels, index),
    )
