"""NMEA 0183: RMC, GGA, GNS, VTG, ZDA and GST of any talker, merged by epoch.

Consecutive sentences with the same time of day make one epoch, which becomes one fix; the same
talker's same sentence a second time begins another.  VTG has no time of its own: it belongs to the
epoch of the timed sentence it follows, and only fills in what RMC has not said; a second VTG after
one epoch means that its own epoch was lost, and is left out.  GST belongs to the epoch it follows
or comes just before, whichever has its time.  An epoch in which RMC has status V or GGA has quality
0 is no fix.

GST tells standard deviations, of which the accuracy is made: sqrt((north² + east²) / 2), the root
mean square over horizontal axes, where it has those of latitude and longitude, else
sqrt((major² + minor²) / 2) of its error ellipse, which is the same number, since the trace of a
covariance does not change with the axes' direction.

Dilution of precision is kept as it is and not turned into an accuracy: it describes the
geometry of the satellites only, and the range error to multiply it with is not in the file.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Flags, Floats, Indices
from trackkit.errors import RecordingError
from trackkit.recordings.nmea.sentences import sentence_rows
from trackkit.recordings.nmea.table import GST, KINDS, NO_TIME, POSITION_KINDS, VTG, Rows
from trackkit.recordings.raw import Dropped, RawFixes, Times, counted, some_or_none

DAY_US = 86_400_000_000


@dataclass(frozen=True, eq=False)
class _Epochs:
    """What the sentences of each epoch said first, each column of shape (n,)."""

    time_us: NDArray[np.int64]
    line: Indices
    offers_position: Flags
    no_fix: Flags
    day: Floats
    longitude_deg: Floats
    latitude_deg: Floats
    speed_mps: Floats
    course_deg: Floats
    elevation_m: Floats
    hdop: Floats
    accuracy_m: Floats


def read_nmea(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read a log of NMEA 0183 sentences.

    Anything before a sentence's `$` on its line is passed over, as are other sentences and lines
    that are none.  Dates come from RMC or ZDA, while there is a fix (a receiver without one may
    say anything); epochs without a date are dated by counting midnights from those that have one.

    Raises
    ------
    RecordingError
        No sentence that tells a position has a right checksum.
    """
    rows, damaged = sentence_rows(data)
    epochs = _epochs(rows)
    offered = epochs.offers_position
    if not np.any(offered):
        if len(damaged):
            raise RecordingError(
                "holds no whole RMC, GGA or GNS sentence with a right checksum "
                f"({counted(len(damaged), 'damaged sentence')}, "
                f"the first at line {damaged[0]:,})",
                file=path,
                remedy="log it again, with checksums",
            )
        raise RecordingError(
            "holds no RMC, GGA or GNS sentence", file=path, remedy="let the receiver log RMC or GGA"
        )
    fixed = offered & ~epochs.no_fix & ~np.isnan(epochs.latitude_deg)
    lost = int(np.count_nonzero(offered & ~fixed))
    words = counted(lost, "epoch without a fix", "epochs without a fix")
    return RawFixes(
        time=_times(epochs)[fixed],
        longitude_deg=epochs.longitude_deg[fixed],
        latitude_deg=epochs.latitude_deg[fixed],
        speed_mps=some_or_none(epochs.speed_mps[fixed]),
        course_deg=some_or_none(epochs.course_deg[fixed]),
        elevation_m=some_or_none(epochs.elevation_m[fixed]),
        accuracy_m=some_or_none(epochs.accuracy_m[fixed]),
        hdop=some_or_none(epochs.hdop[fixed]),
        place=epochs.line[fixed],
        dropped=(Dropped("no fix", lost, words),) if lost else (),
        remarks=_damage_remark(damaged),
        accuracy_of="axis",
    )


def _damage_remark(damaged: Indices) -> tuple[str, ...]:
    if len(damaged) == 0:
        return ()
    sentence = (
        f"left out {counted(len(damaged), 'NMEA sentence')}, damaged or with a wrong or missing "
        f"checksum, the first at line {damaged[0]:,}"
    )
    return (sentence,)


def _epochs(rows: Rows) -> _Epochs:
    """Gather sentences into epochs."""
    number, begins = _epoch_of_each(rows)
    number[rows["kind"] == GST] = _epochs_of_gst(rows, begins)
    time_us, line = rows["time_us"][begins], rows["line"][begins]
    rows, number = rows[number >= 0], number[number >= 0]

    def first(value: Floats) -> Floats:
        """Take for each epoch the first value there is."""
        column = np.full(len(begins), np.nan)
        there = np.flatnonzero(~np.isnan(value))[::-1]
        # Where an index comes more than once the last value stays, which here is the first said.
        column[number[there]] = value[there]
        return column

    def any_of(rows_flagged: Flags) -> Flags:
        return np.bincount(number[rows_flagged], minlength=len(begins)) > 0

    return _Epochs(
        time_us=time_us,
        line=line,
        offers_position=any_of(np.isin(rows["kind"], list(map(KINDS.index, POSITION_KINDS)))),
        no_fix=any_of(rows["no_fix"]),
        **{
            name: first(rows[name])
            for name in (
                "day",
                "longitude_deg",
                "latitude_deg",
                "speed_mps",
                "course_deg",
                "elevation_m",
                "hdop",
                "accuracy_m",
            )
        },
    )


def _epoch_of_each(rows: Rows) -> tuple[Indices, Indices]:
    """Tell which epoch each sentence belongs to, and with which sentence each epoch begins.

    A GST and a VTG that belong to no epoch have -1.
    """
    number = np.full(len(rows), -1, dtype=np.intp)
    begins: list[int] = []
    heard: set[int] = set()
    time_us = NO_TIME
    timed = np.flatnonzero(rows["kind"] != GST)
    # A VTG counts once, whichever talker sent it.
    sender = np.where(rows["kind"] == VTG, -1, rows["talker"] * len(KINDS) + rows["kind"])
    of_timed = []
    for at, sent, time in zip(
        timed.tolist(), sender[timed].tolist(), rows["time_us"][timed].tolist(), strict=True
    ):
        if sent < 0:
            belongs = bool(begins) and sent not in heard
            heard.add(sent)
            of_timed.append(len(begins) - 1 if belongs else -1)
            continue
        if time != time_us or sent in heard or not begins:
            begins.append(at)
            heard.clear()
            time_us = time
        heard.add(sent)
        of_timed.append(len(begins) - 1)
    number[timed] = of_timed
    return number, np.array(begins, dtype=np.intp)


def _epochs_of_gst(rows: Rows, begins: Indices) -> Indices:
    """Find for each GST the epoch of its time, of the one it follows and the one after."""
    gst = np.flatnonzero(rows["kind"] == GST)
    time_us = rows["time_us"]
    epoch = np.full(len(gst), -1, dtype=np.intp)
    after = np.searchsorted(begins, gst)
    for candidate in (after, after - 1):
        there = (candidate >= 0) & (candidate < len(begins))
        same = there.copy()
        same[there] = time_us[begins[candidate[there]]] == time_us[gst[there]]
        epoch = np.where(same, candidate, epoch)
    return epoch


def _times(epochs: _Epochs) -> Times:
    """Date the epochs: UTC where any has a date, else seconds counted across midnights."""
    timed = epochs.time_us != NO_TIME
    time_us = epochs.time_us[timed]
    day, dated = _days(epochs.day[timed], epochs.no_fix[timed], time_us)
    if not dated:
        seconds = np.full(len(timed), np.nan)
        seconds[timed] = day * 86_400.0 + time_us / 1e6
        return seconds
    time = np.full(len(timed), "NaT", dtype="datetime64[ns]")
    time[timed] = (day * DAY_US + time_us).astype("datetime64[us]").astype("datetime64[ns]")
    return time


def _days(day: Floats, no_fix: Flags, time_us: Indices) -> tuple[NDArray[np.int64], bool]:
    """Give each epoch its day, since 1970 where any date is known, and say whether one is."""
    step = np.diff(time_us, prepend=time_us[:1])
    # Midnight is where the time of day falls by more than half a day; the other way round, it is
    # a sentence from before midnight that comes late.
    midnights = np.cumsum((step < -DAY_US / 2).astype(np.int64) - (step > DAY_US / 2))
    dated = np.isfinite(day)
    dates = np.flatnonzero(dated & ~no_fix)
    if len(dates) == 0:
        dates = np.flatnonzero(dated)
    if len(dates) == 0:
        return midnights, False
    nearest = np.searchsorted(dates, np.arange(len(day)), side="right") - 1
    reference = dates[np.clip(nearest, 0, None)]
    return day[reference].astype(np.int64) + midnights - midnights[reference], True
