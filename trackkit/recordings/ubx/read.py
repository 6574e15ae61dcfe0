"""UBX: fixes of NAV-PVT, read as arrays; without these, of the older messages, by pyubx2.

The layout of NAV-PVT is that of u-blox interface descriptions (protocol versions 14 and later; from
memory, and as pyubx2 has it).
"""

from __future__ import annotations

import os
import re

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Flags, Indices
from trackkit.budgets import require
from trackkit.errors import RecordingError
from trackkit.recordings.nmea.read import read_nmea
from trackkit.recordings.raw import Dropped, RawFixes, counted
from trackkit.recordings.ubx.frames import HEADER_BYTES, Frames, frames_of
from trackkit.recordings.ubx.older import KINDS, read_older
from trackkit.recordings.ubx.weeks import steadied

NAV_PVT = 0x0107
_LENGTHS = (84, 92)
"""Payloads of NAV-PVT: protocol version 14, and later ones, which go on after the same 84 bytes."""
_PVT = np.dtype(
    [
        ("iTOW", "<u4"),
        ("year", "<u2"),
        *((name, "u1") for name in ("month", "day", "hour", "min", "sec", "valid")),
        ("tAcc", "<u4"),
        ("nano", "<i4"),
        *((name, "u1") for name in ("fixType", "flags", "flags2", "numSV")),
        *((name, "<i4") for name in ("lon", "lat", "height", "hMSL")),
        *((name, "<u4") for name in ("hAcc", "vAcc")),
        *((name, "<i4") for name in ("velN", "velE", "velD", "gSpeed", "headMot")),
        *((name, "<u4") for name in ("sAcc", "headAcc")),
        *((name, "<u2") for name in ("pDOP", "flags3")),
        ("reserved", "<u4"),
    ]
)
_DATE_AND_TIME, _RESOLVED, _FIX_OK, _INVALID = 0x03, 0x04, 0x01, 0x01
_WITH_POSITION = (1, 2, 3, 4)
_POSITIONS = re.compile(rb"\$[A-Z]{2}(RMC|GGA|GNS),")


def read_ubx(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read a stream of UBX, in which other protocols may stand between the messages.

    Position, velocity, their accuracies and the time come from NAV-PVT; where there is none, from
    NAV-POSLLH, NAV-HPPOSLLH, NAV-VELNED, NAV-TIMEUTC and NAV-TIMEGPS.  Where more sentences of NMEA
    0183 tell a position than UBX does, those are read instead.  Messages that are cut off or have a
    wrong checksum are left out, and a remark counts them.

    Raises
    ------
    RecordingError
        Nothing in the stream tells a position, or pyubx2 is needed and not installed.
    """
    frames = frames_of(data)
    remarks = _damage(frames.damaged)
    solved = frames.only(NAV_PVT)
    told = len(solved.begin) or int(np.isin(frames.kind, KINDS).sum())
    rest = frames.between()
    sentences = [match[1] for match in _POSITIONS.finditer(rest)]
    most = max((sentences.count(kind) for kind in set(sentences)), default=0)
    if most > told:
        if told:
            remarks += (f"read as NMEA 0183, which tells {most:,} positions, and UBX {told:,}",)
        raw = read_nmea(rest, path)
    elif len(solved.begin):
        require("fixes", told, RecordingError, "holds", file=path, remedy="split it")
        raw = _fixes(solved)
    elif told:
        require("fixes", told, RecordingError, "holds", file=path, remedy="split it")
        raw = read_older(frames, path)
    else:
        raise RecordingError(
            f"holds {counted(len(frames.begin), 'UBX message')}, but none with a position",
            file=path,
            remedy="let the receiver log NAV-PVT",
        )
    return raw.with_remarks(remarks)


def _damage(damaged: Indices) -> tuple[str, ...]:
    if len(damaged) == 0:
        return ()
    sentence = (
        f"left out {counted(len(damaged), 'UBX message')}, cut off or with a wrong checksum, "
        f"the first at byte {damaged[0] + 1:,}"
    )
    return (sentence,)


def _fixes(solved: Frames) -> RawFixes:
    pvt = _payloads(solved.data, solved.begin)
    has_fix: Flags = (
        np.isin(solved.end - solved.begin, [length + 8 for length in _LENGTHS])
        & (pvt["flags"] & _FIX_OK > 0)
        & (pvt["flags3"] & _INVALID == 0)
        & np.isin(pvt["fixType"], _WITH_POSITION)
    )
    lost = int(np.count_nonzero(~has_fix))
    pvt, begin = pvt[has_fix], solved.begin[has_fix]
    north, east = pvt["velN"] * 1e-3, pvt["velE"] * 1e-3
    return RawFixes(
        time=steadied(_utc(pvt), pvt["iTOW"], pvt["valid"] & _RESOLVED > 0),
        longitude_deg=pvt["lon"] * 1e-7,
        latitude_deg=pvt["lat"] * 1e-7,
        speed_mps=np.hypot(north, east),
        course_deg=np.degrees(np.arctan2(east, north)) % 360.0,
        elevation_m=pvt["hMSL"] * 1e-3,
        accuracy_m=pvt["hAcc"] * 1e-3,
        place=begin + 1,
        place_kind="byte",
        dropped=(
            (Dropped("no fix", lost, counted(lost, "epoch without a fix", "epochs without a fix")),)
            if lost
            else ()
        ),
        speed_accuracy_mps=pvt["sAcc"] * 1e-3,
    )


def _payloads(data: NDArray[np.uint8], begin: Indices) -> NDArray[np.void]:
    # A shorter message of this kind, which is no fix, may stand at the very end.
    padded = np.concatenate([data, np.zeros(_PVT.itemsize, dtype=np.uint8)])
    rows = np.lib.stride_tricks.sliding_window_view(padded, _PVT.itemsize)[begin + HEADER_BYTES]
    return np.ascontiguousarray(rows).view(_PVT)[:, 0]


def _utc(pvt: NDArray[np.void]) -> NDArray[np.datetime64]:
    """Make moments of dates, times of day and nanoseconds; NaT where these are not valid."""
    valid = (pvt["valid"] & _DATE_AND_TIME == _DATE_AND_TIME) & (pvt["month"] > 0)
    valid &= (pvt["month"] <= 12) & (pvt["day"] > 0) & (pvt["year"] < 2262) & (pvt["year"] > 1979)
    there = pvt[valid]
    months = (there["year"].astype(np.int64) - 1970) * 12 + there["month"] - 1
    into = (there["day"] - 1).astype("timedelta64[D]")
    days = months.astype("datetime64[M]").astype("datetime64[D]") + into
    seconds = there["hour"].astype(np.int64) * 3600 + there["min"].astype(np.int64) * 60
    # The second 60 of a leap second is the next minute's first.
    nanoseconds = (seconds + there["sec"]) * 1_000_000_000 + there["nano"]
    time = np.full(len(pvt), "NaT", dtype="datetime64[ns]")
    time[valid] = days.astype("datetime64[ns]") + nanoseconds.astype("timedelta64[ns]")
    return time
