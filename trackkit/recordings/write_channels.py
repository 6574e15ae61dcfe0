"""Channels written beside fixes, in CSV and in GPX."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.recordings.channel import Channel, distinct_names
from trackkit.recordings.csv.columns import recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS
from trackkit.recordings.recording import Recording
from trackkit.recordings.xml import xml_text

GPX_NAMESPACE = "urn:trackkit:channels"
"""GPX 1.0 lets elements of other namespaces stand at the end of a point."""
_TICK_S = 1e-6


@dataclass(frozen=True, eq=False)
class CsvRows:
    """The rows of a table: of all fixes, and of channels between them.

    Parameters
    ----------
    time_s
        Of each row, seconds from the first fix, shape (m,).
    fix
        The rows that are fixes, shape (n,).
    """

    time_s: Floats
    fix: Indices

    @classmethod
    def of(cls, recording: Recording) -> CsvRows:
        """Lay out the rows of a recording."""
        times = [_ticks(channel.time_s) for channel in recording.channels]
        others = np.unique(np.concatenate([np.empty(0, dtype=np.int64), *times]))
        others = others[~np.isin(others, _ticks(recording.time_s))] * _TICK_S
        time = np.concatenate([recording.time_s, others])
        order = np.argsort(time, kind="stable")
        place = np.empty(len(order), dtype=np.intp)
        place[order] = np.arange(len(order))
        return cls(time[order], place[: len(recording)])

    def of_fixes(self, column: Floats) -> list[float]:
        """Lay the values of fixes in their rows; NaN in the others."""
        return self._spread(self.fix, column)

    def of_channels(self, channels: Sequence[Channel]) -> dict[str, list[float]]:
        """Lay the values of channels in the rows of their times, by their headers.

        None is called as what a reader would take for something of a fix.
        """
        tick = _ticks(self.time_s)
        headers = distinct_names(
            f"channel {channel.title}"
            if recognise_header(channel.title, FIX_WORDS)
            else channel.title
            for channel in channels
        )
        return {
            header: self._spread(np.searchsorted(tick, _ticks(channel.time_s)), channel.value)
            for header, channel in zip(headers, channels, strict=True)
        }

    def _spread(self, rows: Indices, column: Floats) -> list[float]:
        spread = np.full(len(self.time_s), np.nan)
        spread[rows] = column
        return spread.tolist()


def _ticks(time_s: Floats) -> Indices:
    return np.rint(time_s / _TICK_S).astype(np.int64)


def with_channels(document: str, recording: Recording) -> str:
    """Add a recording's channels to the points of its GPX 1.0, each where a value is near in time.

    Parameters
    ----------
    document
        The GPX with a point a fix.
    recording
        What it was written from.

    Returns
    -------
    str
        The same document where there are no channels.
    """
    if not recording.channels:
        return document
    from lxml import etree

    root = etree.fromstring(document.encode())
    namespaces = {**root.nsmap, "trackkit": GPX_NAMESPACE}
    whole = etree.Element(root.tag, attrib=root.attrib, nsmap=namespaces)
    whole[:] = root[:]
    values = [_at_fixes(channel, recording).tolist() for channel in recording.channels]
    for index, point in enumerate(whole.iter("{*}trkpt")):
        for channel, value in zip(recording.channels, values, strict=True):
            if math.isfinite(value[index]):
                element = etree.SubElement(point, f"{{{GPX_NAMESPACE}}}channel")
                element.set("name", xml_text(channel.name))
                if channel.unit is not None:
                    element.set("unit", xml_text(channel.unit))
                element.text = repr(value[index])
    text: bytes = etree.tostring(whole, xml_declaration=True, encoding="UTF-8")
    return text.decode()


def _at_fixes(channel: Channel, recording: Recording) -> Floats:
    """Give each fix the value nearest in time; NaN where none is nearer than half an interval."""
    fix, time = recording.time_s, channel.time_s
    if len(time) == 0:
        return np.full(len(fix), np.nan)
    after = np.clip(np.searchsorted(time, fix), 1, max(len(time) - 1, 1))
    before = after - 1
    after = np.minimum(after, len(time) - 1)
    nearest = np.where(np.abs(fix - time[before]) <= np.abs(time[after] - fix), before, after)
    near = np.abs(time[nearest] - fix) < 0.5 * recording.interval_s
    return np.where(near, channel.value[nearest], np.nan)
