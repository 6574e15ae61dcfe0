"""FIT, the files of sport watches and bicycle computers, decoded by fitdecode.

Its messages `record` and `gps_metadata` hold fixes (the profile of the FIT SDK, as fitdecode has
it; what they mean from memory).
"""

from __future__ import annotations

import os
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import budgets, require
from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.devices import library
from trackkit.recordings.raw import Dropped, RawFixes, counted, single_line, some_or_none
from trackkit.recordings.segments import numbered

SEMICIRCLE_DEG = 180.0 / 2**31
"""FIT counts angles in half circles over 2 to the power of 31."""
EPOCH = np.datetime64("1989-12-31T00:00:00", "ns")
"""FIT counts seconds from here, UTC."""
_SYSTEM_TIME_BELOW = 0x10000000
"""Smaller timestamps count from when the device was switched on."""
_FAULTS = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
    struct.error,
)
"""What fitdecode raises besides errors of its own where bytes are damaged."""
_COLUMNS = ("time", "latitude", "longitude", "speed", "course", "elevation", "accuracy")


@dataclass
class _Fixes:
    """The fixes of one kind of message, as they come."""

    columns: dict[str, list[float]] = field(default_factory=lambda: {c: [] for c in _COLUMNS})
    segment: list[int] = field(default_factory=list)
    place: list[int] = field(default_factory=list)
    lost: int = 0


def read_fit(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read the fixes of a FIT file, or of several chained in one.

    Those of the messages `record` are taken, or of `gps_metadata` where there are more of these.
    Positions are in semicircles; speeds are the enhanced ones, where there are any.  A timer that
    is stopped and started again begins a new segment.  Messages without a position are counted.
    Where the file breaks off or is damaged, what comes before is read, and a remark says so.

    Raises
    ------
    NoTimesError
        No fix has a time of day.
    RecordingError
        fitdecode is not installed, or the file holds no fix that can be read.
    """
    fitdecode = library("fitdecode", "FIT", path)
    kinds = {"record": _Fixes(), "gps_metadata": _Fixes()}
    remarks: list[str] = []
    stretch, number, system_s = 0, 0, 0.0
    reader = fitdecode.FitReader(
        data,
        processor=None,
        check_crc=fitdecode.CrcCheck.READONLY,
        error_handling=fitdecode.ErrorHandling.IGNORE,
    )
    try:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_CRC and not frame.matched:
                remarks.append("its checksum does not match: some of it may be damaged")
            if frame.frame_type != fitdecode.FIT_FRAME_DATA:
                continue
            number += 1
            if frame.name == "event":
                values = _values(frame)
                if values.get("event") in ("timer", 0):
                    stretch += str(values.get("event_type")).startswith("stop")
                continue
            fixes = kinds.get(frame.name)
            if fixes is None:
                continue
            values = _values(frame)
            stamp, utc = values.get("timestamp"), values.get("utc_timestamp")
            if utc is not None and stamp is not None and stamp < _SYSTEM_TIME_BELOW:
                system_s = utc - stamp
            _take(fixes, values, system_s, stretch, number)
            if number > budgets().fixes:
                require("fixes", number, RecordingError, "holds", file=path, remedy="split it")
    except (fitdecode.FitError, *_FAULTS) as error:
        if not any(fixes.place for fixes in kinds.values()):
            raise RecordingError(
                f"its FIT is damaged or breaks off before the first fix ({_words(error)})",
                file=path,
                remedy="copy it from the device again",
            ) from error
        remarks.append(
            f"it is damaged or breaks off after {counted(number, 'message')} ({_words(error)}): "
            "what comes before was read"
        )
    return _raw(max(kinds.values(), key=lambda fixes: len(fixes.place)), remarks, path)


def _words(error: BaseException) -> str:
    return single_line(error) or type(error).__name__


def _values(frame: Any) -> Mapping[str, Any]:
    return {entry.name: entry.value for entry in frame.fields if entry.value is not None}


def _take(
    fixes: _Fixes, values: Mapping[str, Any], system_s: float, stretch: int, number: int
) -> None:
    latitude, longitude = values.get("position_lat"), values.get("position_long")
    if latitude is None or longitude is None:
        fixes.lost += 1
        return
    stamp = values.get("timestamp")
    time = np.nan
    if stamp is not None:
        time = stamp + (system_s if stamp < _SYSTEM_TIME_BELOW else 0.0)
        time += values.get("timestamp_ms", 0.0) * 1e-3 + values.get("time128", 0.0)
    row = {
        "time": time,
        "latitude": latitude * SEMICIRCLE_DEG,
        "longitude": longitude * SEMICIRCLE_DEG,
        "speed": values.get("enhanced_speed", values.get("speed")),
        "course": values.get("heading"),
        "elevation": values.get("enhanced_altitude", values.get("altitude")),
        "accuracy": values.get("gps_accuracy"),
    }
    # Read before any is kept: of a damaged message nothing is.
    numbers = {name: np.nan if value is None else float(value) for name, value in row.items()}
    for name, column in fixes.columns.items():
        column.append(numbers[name])
    fixes.segment.append(stretch)
    fixes.place.append(number)


def _raw(fixes: _Fixes, remarks: list[str], path: str | os.PathLike[str]) -> RawFixes:
    column: dict[str, Floats] = {
        name: np.array(values, dtype=float) for name, values in fixes.columns.items()
    }
    seconds = column["time"]
    if not len(seconds):
        raise RecordingError(
            "holds no position, only what a device measures without one", file=path
        )
    dated = np.isfinite(seconds) & (seconds >= _SYSTEM_TIME_BELOW) & (seconds < 2.0**32)
    if not dated.any():
        raise NoTimesError(
            "holds positions but no times of day", file=path, remedy="record it again, with times"
        )
    time = np.full(len(seconds), "NaT", dtype="datetime64[ns]")
    milliseconds = np.round(seconds[dated] * 1e3).astype(np.int64)
    time[dated] = EPOCH + milliseconds.astype("timedelta64[ms]")
    words = counted(fixes.lost, "message without a position", "messages without a position")
    return RawFixes(
        time=time,
        longitude_deg=column["longitude"],
        latitude_deg=column["latitude"],
        speed_mps=some_or_none(column["speed"]),
        course_deg=some_or_none(column["course"]),
        elevation_m=some_or_none(column["elevation"]),
        accuracy_m=some_or_none(column["accuracy"]),
        segment=numbered(fixes.segment),
        place=np.array(fixes.place, dtype=np.intp),
        place_kind="message",
        dropped=(Dropped("no fix", fixes.lost, words),) if fixes.lost else (),
        remarks=tuple(remarks),
    )
