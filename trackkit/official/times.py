"""Lists of official lap times, read from CSV."""

from __future__ import annotations

import os
import re
import reprlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from trackkit.budgets import require
from trackkit.errors import RecordingError, TrackkitError
from trackkit.official.clock import follow_days, lap_ends, read_moment
from trackkit.official.columns import (
    NO_TIME,
    Columns,
    Row,
    chosen_columns,
    official_layout,
    read_seconds,
)
from trackkit.recordings.csv.columns import Column
from trackkit.recordings.csv.layout import cells_of, lines_of, refuse_longer_row, rows_of
from trackkit.recordings.detect import read_bytes, without_blanks
from trackkit.recordings.formats import decode
from trackkit.recordings.units import TIME_S
from trackkit.remedies import Remedy
from trackkit.words import counted


@dataclass(frozen=True)
class OfficialLap:
    """One line of the list.

    Parameters
    ----------
    number
        As the list numbers it, or its place in a list that has no numbers, from 1.
    time_s
        Lap time, seconds; None where the list gives none.
    sectors_s
        Sector times, in order; empty where the list has no columns for them.
    line
        Where it stands in the file, from 1.
    passed_s
        Time of day at which the lap ended, seconds from the list's first midnight; None where the
        list has none.
    """

    number: int
    time_s: float | None
    sectors_s: tuple[float | None, ...]
    line: int
    passed_s: float | None = None


@dataclass(frozen=True)
class OfficialTimes:
    """Official lap times of one driver, in the order they were driven.

    Parameters
    ----------
    file
        The list's file.
    laps
        In order.
    resolution_s
        Last decimal that times are given to, seconds.
    remarks
        What was left out, a sentence each.
    passed_resolution_s
        Last decimal that times of day are given to, seconds.
    day
        Date of the first time of day; None where the list has none.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> times = pd.DataFrame({"lap": [1, 2], "time": [51.254, 50.883]})
    >>> times.to_csv("official.csv", index=False)
    >>> official = trackkit.read_official("official.csv")
    >>> [lap.time_s for lap in official.laps], official.resolution_s
    ([51.254, 50.883], 0.001)
    """

    file: str
    laps: tuple[OfficialLap, ...]
    resolution_s: float
    remarks: tuple[str, ...] = ()
    passed_resolution_s: float = 1.0
    day: date | None = None

    def __repr__(self) -> str:
        return f"OfficialTimes({reprlib.repr(self.file)}, {counted(self.laps, 'lap')})"


def read_official(
    path: str | os.PathLike[str], columns: Mapping[str, str] | None = None
) -> OfficialTimes:
    """Read official lap times from delimited text.

    Times are ``m:ss.mmm``, ``h:mm:ss.mmm`` or seconds.  Columns are recognised by a header line
    (lap, time or lap time, sector 1, sector 2, ..., time of day or passing) or, without one, by
    their numbers: lap numbers count up, and sectors add up to the lap.

    Parameters
    ----------
    path
        The file.
    columns
        Which column holds what (``lap``, ``time``, ``sector1``, ...), by header or by number from
        1, where the user has said so.

    Returns
    -------
    OfficialTimes
        The laps, and what was left out.

    Raises
    ------
    TrackkitError
        With a question where the columns are not clear; or with the line that is wrong.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> times = pd.DataFrame({"lap": [1, 2], "time": [51.254, 50.883]})
    >>> times.to_csv("official.csv", index=False)
    >>> [lap.time_s for lap in trackkit.read_official("official.csv").laps]
    [51.254, 50.883]
    """
    file = os.fspath(path)
    remedy = "give a CSV file of official lap times"
    try:
        data = read_bytes(path)
    except RecordingError as error:
        raise TrackkitError(error.what, file=file, remedy=remedy) from error
    lines = rows_of(lines_of(decode(without_blanks(data))))
    longest = max((len(line) for _, line in lines), default=0)
    require("line_length", longest, TrackkitError, "holds a line of", file=file, remedy=remedy)
    require(
        "official_laps",
        len(lines),
        TrackkitError,
        "holds lines for",
        file=file,
        remedy="keep the laps of one driver",
    )
    if not lines:
        raise TrackkitError("holds no line of times", file=file, remedy=remedy)
    layout = official_layout([line for _, line in lines], columns or {})
    body = [(number, cells_of(line, layout.delimiter)) for number, line in lines]
    if any(not cells for _, cells in body):
        raise TrackkitError("is no CSV (a cell is too long)", file=file, remedy=remedy)
    body = body[layout.first_row :]
    if not body:
        raise TrackkitError("has a header but no lap time below it", file=file)
    for row in body:
        refuse_longer_row(layout.header, row, file, TrackkitError)
    chosen = chosen_columns(layout, body, columns or {}, file)
    laps = [_lap(row, chosen, place, file) for place, row in enumerate(body, start=1)]
    return _checked(laps, body, chosen, file)


def _cell(row: Row, column: Column) -> str:
    return row[1][column.position] if column.position < len(row[1]) else ""


def _unit_s(column: Column) -> float:
    return TIME_S[column.unit or "s"]


def _lap(row: Row, chosen: Columns, place: int, file: str) -> OfficialLap:
    def time(column: Column) -> float | None:
        cell = _cell(row, column)
        if cell.casefold() in NO_TIME:
            return None
        seconds = read_seconds(cell)
        if seconds is None:
            raise TrackkitError(
                f"{cell!r} is no time",
                file=file,
                place=f"line {row[0]}",
                remedy="write 1:02.345 or 62.345, or leave it empty where there is none",
            )
        return seconds * _unit_s(column)

    number = place
    if chosen.lap is not None:
        cell = _cell(row, chosen.lap)
        if not cell.isdecimal():
            raise TrackkitError(
                f"{cell!r} is no lap number",
                file=file,
                place=f"line {row[0]}",
                remedy="keep one line a lap",
            )
        number = int(cell)
    sectors = tuple(time(column) for column in chosen.sectors)
    if chosen.time is not None:
        return OfficialLap(number, time(chosen.time), sectors, row[0])
    timed = [sector for sector in sectors if sector is not None]
    whole = bool(sectors) and len(timed) == len(sectors)
    return OfficialLap(number, sum(timed) if whole else None, sectors, row[0])


def _checked(
    laps: Sequence[OfficialLap], body: Sequence[Row], chosen: Columns, file: str
) -> OfficialTimes:
    seen: dict[int, int] = {}
    for lap in laps:
        if lap.number in seen:
            raise TrackkitError(
                f"lap {lap.number} stands in line {seen[lap.number]} already",
                file=file,
                place=f"line {lap.line}",
                remedy="keep the laps of one driver",
            )
        seen[lap.number] = lap.line
    resolution = _finest(body, [chosen.time] if chosen.time else chosen.sectors)
    ordered = sorted(laps, key=lambda lap: lap.number)
    remarks = () if ordered == list(laps) else ("put in order of the lap numbers",)
    times = OfficialTimes(file, tuple(ordered), resolution, remarks)
    if chosen.passing is not None:
        has_laps = chosen.time is not None or bool(chosen.sectors)
        times = _with_passings(times, body, chosen.passing, has_laps=has_laps)
    timed = [lap.time_s for lap in times.laps if lap.time_s is not None]
    if not timed:
        raise TrackkitError("holds no lap time", file=file)
    if min(timed) >= 3600.0 and len(timed) > 1 and timed == sorted(timed):
        raise TrackkitError(
            "holds times of day, not lap times, where lap times should be",
            file=file,
            remedy=Remedy(
                "say which columns hold lap times, and that these are times of passing",
                do="name official columns",
                value={"columns": {"passing": "3"}},
            ),
        )
    return times


def _with_passings(
    times: OfficialTimes, body: Sequence[Row], column: Column, *, has_laps: bool
) -> OfficialTimes:
    """Add times of day, and lap times from them where the list has none."""
    cells = {row[0]: _cell(row, column) for row in body}
    read = []
    for lap in times.laps:
        text = cells[lap.line]
        moment = read_moment(text, _unit_s(column))
        if moment is None and text.casefold() not in NO_TIME:
            raise TrackkitError(
                f"{text!r} is no time of day",
                file=times.file,
                place=f"line {lap.line}",
                remedy="write 14:05:06.789, or leave it empty where there is none",
            )
        read.append(moment)
    passed, day = follow_days(read)
    numbers = [lap.number for lap in times.laps]
    resolution = _finest(body, [column])
    lap_s = [lap.time_s for lap in times.laps]
    if not has_laps:
        for i in range(1, len(lap_s)):
            here, before = passed[i], passed[i - 1]
            if here is not None and before is not None and numbers[i] == numbers[i - 1] + 1:
                lap_s[i] = here - before
        times = replace(times, resolution_s=resolution)
        remark = "lap times are the differences of its times of day"
    else:
        within = 1.5 * (resolution + times.resolution_s)
        try:
            passed, remark = lap_ends(numbers, lap_s, passed, within)
        except TrackkitError as error:
            error.file = times.file
            raise
    laps = tuple(
        replace(lap, time_s=time, passed_s=at)
        for lap, time, at in zip(times.laps, lap_s, passed, strict=True)
    )
    remarks = (*times.remarks, remark) if remark else times.remarks
    return replace(times, laps=laps, remarks=remarks, passed_resolution_s=resolution, day=day)


def _finest(body: Sequence[Row], columns: Sequence[Column]) -> float:
    """Last decimal that some columns are given to, seconds."""
    return min(
        (
            _resolution(row[1][column.position]) * _unit_s(column)
            for row in body
            for column in columns
            if column.position < len(row[1])
        ),
        default=1.0,
    )


def _resolution(text: str) -> float:
    match = re.search(r"[.,](\d+)", text)
    return 10.0 ** -len(match[1]) if match else 1.0
