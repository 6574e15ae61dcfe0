"""Fixes of receivers that do not send NAV-PVT, from their messages about one thing each."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats, Indices
from trackkit.errors import RecordingError
from trackkit.recordings.devices import library
from trackkit.recordings.leap_seconds import utc_of_gps
from trackkit.recordings.raw import Dropped, RawFixes, Times, counted, some_or_none
from trackkit.recordings.ubx.frames import Frames
from trackkit.recordings.ubx.weeks import unwrapped_ns

POSLLH, HPPOSLLH, VELNED, STATUS, TIMEGPS, TIMEUTC = 0x0102, 0x0114, 0x0112, 0x0103, 0x0120, 0x0121
KINDS = (POSLLH, HPPOSLLH)
"""Messages that tell a position; the better one is read."""
_BESIDE = (VELNED, STATUS, TIMEGPS, TIMEUTC)
_CENTIMETRE = 1e-2
_GPS_EPOCH = np.datetime64("1980-01-06T00:00:00", "ns")


def read_older(frames: Frames, path: str | os.PathLike[str]) -> RawFixes:
    """Read positions, and what other messages tell of the same millisecond of the GPS week.

    Parameters
    ----------
    frames
        The stream's messages; at least one of `KINDS`.
    path
        The file, for sentences.

    Raises
    ------
    RecordingError
        pyubx2 is not installed, or no message can be read.
    """
    pyubx2 = library("pyubx2", "UBX without NAV-PVT", path)
    place = HPPOSLLH if np.any(frames.kind == HPPOSLLH) else POSLLH
    positions, begin = _parsed(pyubx2, frames.only(place))
    if not positions:
        raise RecordingError("holds no UBX message that tells a position", file=path)
    beside = {kind: _by_week(_parsed(pyubx2, frames.only(kind))[0]) for kind in _BESIDE}
    status = [beside[STATUS].get(message.iTOW) for message in positions]
    solved = np.array(
        [
            (told is None or bool(told.gpsFixOk)) and not getattr(message, "invalidLlh", 0)
            for message, told in zip(positions, status, strict=True)
        ]
    )
    week_ns = unwrapped_ns([message.iTOW for message in positions])
    velocity = [beside[VELNED].get(message.iTOW) for message in positions]
    north, east, accuracy = (_column(velocity, name) for name in ("velN", "velE", "sAcc"))
    here = list(positions)
    lost = int(np.count_nonzero(~solved))
    words = counted(lost, "epoch without a fix", "epochs without a fix")
    course = np.degrees(np.arctan2(east, north)) % 360.0
    return RawFixes(
        time=_times(positions, week_ns, beside)[solved],
        longitude_deg=_column(here, "lon")[solved],
        latitude_deg=_column(here, "lat")[solved],
        speed_mps=some_or_none(_CENTIMETRE * np.hypot(north, east)[solved]),
        course_deg=some_or_none(course[solved]),
        elevation_m=some_or_none(1e-3 * _column(here, "hMSL")[solved]),
        accuracy_m=some_or_none(1e-3 * _column(here, "hAcc")[solved]),
        place=begin[solved] + 1,
        place_kind="byte",
        dropped=(Dropped("no fix", lost, words),) if lost else (),
        speed_accuracy_mps=some_or_none(_CENTIMETRE * accuracy[solved]),
    )


def _parsed(pyubx2: Any, frames: Frames) -> tuple[list[Any], Indices]:
    """Parse messages; those that pyubx2 makes nothing of are left out."""
    messages, begin = [], []
    stream = frames.data
    for first, last in zip(frames.begin.tolist(), frames.end.tolist(), strict=True):
        message = pyubx2.UBXReader.parse(stream[first:last].tobytes())
        if hasattr(message, "iTOW"):
            messages.append(message)
            begin.append(first)
    return messages, np.array(begin, dtype=np.intp)


def _by_week(messages: list[Any]) -> dict[int, Any]:
    return {message.iTOW: message for message in messages}


def _column(messages: list[Any], name: str) -> Floats:
    return np.array([getattr(message, name, np.nan) for message in messages], dtype=float)


def _times(
    positions: list[Any], week_ns: NDArray[np.int64], beside: dict[int, dict[int, Any]]
) -> Times:
    """Date the milliseconds of the week by the first message that knows the date.

    Seconds from the first position where none does.
    """
    for place, message in enumerate(positions):
        moment = _utc(beside[TIMEUTC].get(message.iTOW)) or _of_gps(
            beside[TIMEGPS].get(message.iTOW)
        )
        if moment is not None:
            return np.asarray(moment + (week_ns - week_ns[place]).astype("timedelta64[ns]"))
    return np.asarray((week_ns - week_ns[0]) / 1e9)


def _utc(message: Any) -> np.datetime64 | None:
    if message is None or not message.validUTC:
        return None
    try:
        day = np.datetime64(f"{message.year:04d}-{message.month:02d}-{message.day:02d}", "ns")
    except ValueError:
        return None
    seconds = message.hour * 3600 + message.min * 60 + message.sec
    moment: np.datetime64 = day + np.timedelta64(seconds * 1_000_000_000 + message.nano, "ns")
    return moment


def _of_gps(message: Any) -> np.datetime64 | None:
    if message is None or not (message.weekValid and message.towValid):
        return None
    since = message.week * 604_800 * 1_000_000_000 + message.iTOW * 1_000_000
    moment = np.array([_GPS_EPOCH + np.timedelta64(since, "ns")])
    whole: np.datetime64 = (
        moment - np.timedelta64(message.leapS, "s") if message.leapSValid else utc_of_gps(moment)
    )[0]
    return whole
