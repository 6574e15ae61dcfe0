"""Solutions of RTKLIB (`.pos`), with their standard deviations.

The format is that of RTKLIB's manual, version 2.4.2, appendix B.1 (from memory).
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats, Indices
from trackkit.budgets import require
from trackkit.errors import RecordingError
from trackkit.recordings.formats import decode
from trackkit.recordings.leap_seconds import utc_of_gps
from trackkit.recordings.raw import Dropped, RawFixes, counted, some_or_none
from trackkit.recordings.times import nanoseconds

_HEADER = re.compile(r"^%\s*(GPST|UTC|JST)\b(.*)$", re.MULTILINE)
_UNIT = re.compile(r"\((?:deg|d'\"|m|s|m/s)\)")
_GPS_EPOCH = np.datetime64("1980-01-06T00:00:00", "us")
_WEEK_S = 604_800.0
_DATE = re.compile(r"\d{4}/\d{1,2}/\d{1,2}")
_VELOCITY = ("vn", "ve")
_NO_SOLUTION = 0
_Moments: TypeAlias = NDArray[np.datetime64]


def read_solution(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read a solution in latitude, longitude and height.

    Times are in UTC, JST or GPS time, as dates or as GPS weeks and seconds.  The accuracy is
    sqrt((sdn² + sde²) / 2), the root mean square over horizontal axes.  Velocities, which RTKLIB
    writes where it is asked to, give speed and course, and their deviations the accuracy of the
    speed in the same way.

    Raises
    ------
    RecordingError
        The solution is in other coordinates, or no row of it can be read.
    """
    text = decode(data)
    require("fixes", text.count("\n"), RecordingError, "holds lines for", file=path)
    header = _HEADER.search(text)
    if header is None:
        raise RecordingError(
            "is a solution of RTKLIB without its line of columns",
            file=path,
            remedy="let RTKLIB write the header",
        )
    system, columns = header[1], _UNIT.sub(" ", header[2]).split()
    if not {"latitude", "longitude"} <= set(columns):
        raise RecordingError(
            f"is a solution of RTKLIB in {columns[0] if columns else 'no coordinates'} and so on, "
            "not in latitude and longitude",
            file=path,
            remedy="let RTKLIB write Lat/Lon/Height",
        )
    in_sexagesimal = "(d'\")" in header[2]
    table, time, line, lost = _rows(text, columns, in_sexagesimal)
    if not len(line):
        raise RecordingError("holds no row of a solution that can be read", file=path)
    return _fixes(table, _in_utc(time, system), line, columns, lost)


def _rows(
    text: str, columns: Sequence[str], in_sexagesimal: bool
) -> tuple[Floats, _Moments, Indices, list[int]]:
    """Read the rows: numbers by column, times, lines, and the lines that cannot be read."""
    widths = [3 if in_sexagesimal and c in ("latitude", "longitude") else 1 for c in columns]
    rows: list[list[float]] = []
    stamps: list[tuple[str, str]] = []
    lines: list[int] = []
    lost: list[int] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("%") or not line.strip():
            continue
        cells = line.replace(",", " ").replace(";", " ").split()
        try:
            numbers = [float(cell) for cell in cells[2:]]
        except ValueError:
            lost.append(number)
            continue
        if len(numbers) < sum(widths[:3]):
            lost.append(number)
            continue
        rows.append(_degrees(numbers, widths) if in_sexagesimal else numbers)
        stamps.append((cells[0], cells[1]))
        lines.append(number)
    table = np.full((len(rows), len(columns)), np.nan)
    for row, numbers in zip(table, rows, strict=True):
        row[: len(numbers)] = numbers[: len(columns)]
    time = _times(stamps)
    unreadable = np.isnat(time)
    lost = sorted([*lost, *np.array(lines, dtype=int)[unreadable].tolist()])
    kept = np.array(lines, dtype=np.intp)[~unreadable]
    return table[~unreadable], time[~unreadable], kept, lost


def _degrees(numbers: Sequence[float], widths: Sequence[int]) -> list[float]:
    """Make degrees of degrees, minutes and seconds."""
    values: list[float] = []
    at = 0
    for width in widths:
        part = numbers[at : at + width]
        at += width
        if width == 1 or len(part) < width:
            values.extend(part)
            continue
        size = abs(part[0]) + part[1] / 60.0 + part[2] / 3600.0
        values.append(float(np.copysign(size, part[0])))
    return values


def _times(stamps: Sequence[tuple[str, str]]) -> _Moments:
    time = np.full(len(stamps), "NaT", dtype="datetime64[us]")
    for place, (first, second) in enumerate(stamps):
        try:
            if _DATE.fullmatch(first):
                year, month, day = first.split("/")
                hour, minute, seconds = second.split(":")
                midnight = np.datetime64(f"{year}-{int(month):02d}-{int(day):02d}", "us")
                clock_s = int(hour) * 3600 + int(minute) * 60 + float(seconds)
            else:
                midnight = _GPS_EPOCH + np.timedelta64(int(first) * 7, "D")
                clock_s = float(second)
                if not 0.0 <= clock_s < _WEEK_S:
                    continue
            time[place] = midnight + np.timedelta64(round(clock_s * 1e6), "us")
        except (ValueError, OverflowError):
            continue
    return nanoseconds(time)


def _in_utc(time: _Moments, system: str) -> _Moments:
    if system == "GPST":
        return utc_of_gps(time)
    return np.asarray(time - np.timedelta64(9, "h")) if system == "JST" else time


def _fixes(
    table: Floats, time: _Moments, line: Indices, columns: Sequence[str], lost: list[int]
) -> RawFixes:
    def column(name: str) -> Floats:
        if name not in columns:
            return np.full(len(table), np.nan)
        return np.asarray(table[:, columns.index(name)])

    solved = column("Q") != _NO_SOLUTION
    north, east = (column(name)[solved] for name in _VELOCITY)
    dropped = []
    if not solved.all():
        count = int(np.count_nonzero(~solved))
        words = counted(count, "row without a solution", "rows without a solution")
        dropped.append(Dropped("no fix", count, words))
    if lost:
        words = counted(len(lost), "row") + f" that cannot be read (the first at line {lost[0]:,})"
        dropped.append(Dropped("unreadable row", len(lost), words))
    return RawFixes(
        time=time[solved],
        longitude_deg=column("longitude")[solved],
        latitude_deg=column("latitude")[solved],
        speed_mps=some_or_none(np.hypot(north, east)),
        course_deg=some_or_none(np.degrees(np.arctan2(east, north)) % 360.0),
        elevation_m=some_or_none(column("height")[solved]),
        accuracy_m=some_or_none(_over_axes(column("sdn"), column("sde"))[solved]),
        place=line[solved],
        dropped=tuple(dropped),
        accuracy_of="axis",
        speed_accuracy_mps=some_or_none(_over_axes(column("sdvn"), column("sdve"))[solved]),
    )


def _over_axes(north: Floats, east: Floats) -> Floats:
    # What is too large for a number becomes infinite, and is left out later.
    with np.errstate(over="ignore"):
        return np.asarray(np.hypot(north, east) / np.sqrt(2.0))
