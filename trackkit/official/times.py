"""Lists of official lap times, read from CSV."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from trackkit.errors import RecordingError, TrackkitError
from trackkit.official.clock import follow_days, lap_ends, read_moment
from trackkit.official.columns import (
    NO_TIME,
    Columns,
    chosen_columns,
    find_header,
    read_seconds,
    rows_of,
)
from trackkit.recordings.detect import decode, read_bytes
from trackkit.remedies import Remedy

_MILLISECONDS = re.compile(r"[\s_(\[](?:ms|milliseconds)[)\]]?\s*$", re.IGNORECASE)


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
        list does not tell.
    """

    number: int
    time_s: float | None
    sectors_s: tuple[float | None, ...]
    line: int
    passed_s: float | None = None


@dataclass(frozen=True)
class OfficialTimes:
    """Official lap times of one driver, in the order they were driven.

    `resolution_s` is the last decimal they are given to, `passed_resolution_s` that of times of
    day, and `day` the date of the first of them where the list tells.
    """

    file: str
    laps: tuple[OfficialLap, ...]
    resolution_s: float
    remarks: tuple[str, ...] = ()
    passed_resolution_s: float = 1.0
    day: date | None = None


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

    Raises
    ------
    TrackkitError
        With a question where the columns are not clear; or with the line that is wrong.
    """
    name = os.fspath(path)
    remedy = "give a CSV file of official lap times"
    try:
        rows = rows_of(decode(read_bytes(path)))
    except RecordingError as error:
        raise TrackkitError(error.what, file=name, remedy=remedy) from error
    except csv.Error as error:
        raise TrackkitError(f"is no CSV ({error})", file=name, remedy=remedy) from error
    if not rows:
        raise TrackkitError("holds no line of times", file=name, remedy=remedy)
    at, header = find_header(rows, columns or {})
    body = rows[at:]
    if not body:
        raise TrackkitError("has a header but no lap time below it", file=name)
    if header:
        for line, cells in body:
            if len(cells) > len(header) and any(cells[len(header) :]):
                raise TrackkitError(
                    f"has {len(header)} columns in the header but {len(cells)} in this row",
                    file=name, place=f"line {line}",
                    remedy="if decimals are written with commas, separate columns with semicolons",
                )  # fmt: skip
    chosen = chosen_columns(header, body, columns or {}, name)
    scale = [0.001 if _MILLISECONDS.search(cell) else 1.0 for cell in header]
    laps = [_lap(line, cells, chosen, place, scale, name)
            for place, (line, cells) in enumerate(body, start=1)]  # fmt: skip
    return _checked(laps, body, chosen, scale, name)


def _lap(
    line: int,
    cells: Sequence[str],
    chosen: Columns,
    place: int,
    scale: Sequence[float],
    file: str,
) -> OfficialLap:
    def time(column: int) -> float | None:
        cell = cells[column] if column < len(cells) else ""
        if cell.casefold() in NO_TIME:
            return None
        seconds = read_seconds(cell)
        if seconds is None:
            raise TrackkitError(
                f"{cell!r} is no time", file=file, place=f"line {line}",
                remedy="write 1:02.345 or 62.345, or leave it empty where there is none",
            )  # fmt: skip
        return seconds * (scale[column] if scale else 1.0)

    number = place
    if chosen.lap is not None:
        cell = cells[chosen.lap] if chosen.lap < len(cells) else ""
        if not cell.isdecimal():
            raise TrackkitError(
                f"{cell!r} is no lap number", file=file, place=f"line {line}",
                remedy="keep one line a lap",
            )  # fmt: skip
        number = int(cell)
    sectors = tuple(time(column) for column in chosen.sectors)
    if chosen.time is not None:
        return OfficialLap(number, time(chosen.time), sectors, line)
    known = [sector for sector in sectors if sector is not None]
    whole = bool(sectors) and len(known) == len(sectors)
    return OfficialLap(number, sum(known) if whole else None, sectors, line)


def _checked(
    laps: Sequence[OfficialLap],
    body: Sequence[tuple[int, list[str]]],
    chosen: Columns,
    scale: Sequence[float],
    file: str,
) -> OfficialTimes:
    seen: dict[int, int] = {}
    for lap in laps:
        if lap.number in seen:
            raise TrackkitError(
                f"lap {lap.number} stands in line {seen[lap.number]} already", file=file,
                place=f"line {lap.line}", remedy="keep the laps of one driver",
            )  # fmt: skip
        seen[lap.number] = lap.line
    resolution = _finest(body, [chosen.time] if chosen.time is not None else chosen.sectors, scale)
    ordered = sorted(laps, key=lambda lap: lap.number)
    remarks = () if ordered == list(laps) else ("put in order of the lap numbers",)
    times = OfficialTimes(file, tuple(ordered), resolution, remarks)
    if chosen.passing is not None:
        times = _with_passings(times, body, chosen, scale)
    timed = [lap.time_s for lap in times.laps if lap.time_s is not None]
    if not timed:
        raise TrackkitError("holds no lap time", file=file)
    if min(timed) >= 3600.0 and len(timed) > 1 and timed == sorted(timed):
        raise TrackkitError(
            "holds times of day, not lap times, where lap times should be", file=file,
            remedy=Remedy(
                "say which columns hold lap times, and that these are times of passing",
                do="name official columns",
                value={"columns": {"passing": "3"}},
            ),
        )  # fmt: skip
    return times


def _with_passings(
    times: OfficialTimes,
    body: Sequence[tuple[int, list[str]]],
    chosen: Columns,
    scale: Sequence[float],
) -> OfficialTimes:
    """Add times of day, and lap times from them where the list has none."""
    column = chosen.passing
    assert column is not None  # noqa: S101 - the caller has looked
    cells = {line: row[column] if column < len(row) else "" for line, row in body}
    read = []
    for lap in times.laps:
        text = cells[lap.line]
        moment = read_moment(text, scale[column] if scale else 1.0)
        if moment is None and text.casefold() not in NO_TIME:
            raise TrackkitError(
                f"{text!r} is no time of day", file=times.file, place=f"line {lap.line}",
                remedy="write 14:05:06.789, or leave it empty where there is none",
            )  # fmt: skip
        read.append(moment)
    passed, day = follow_days(read)
    numbers = [lap.number for lap in times.laps]
    resolution = _finest(body, [column], scale)
    laps = [lap.time_s for lap in times.laps]
    remarks = times.remarks
    if chosen.time is None and not chosen.sectors:
        for i in range(1, len(laps)):
            here, before = passed[i], passed[i - 1]
            if here is not None and before is not None and numbers[i] == numbers[i - 1] + 1:
                laps[i] = here - before
        times = replace(times, resolution_s=resolution)
        remarks = (*remarks, "lap times are the differences of its times of day")
    else:
        within = 1.5 * (resolution + times.resolution_s)
        try:
            passed, said = lap_ends(numbers, laps, passed, within)
        except TrackkitError as error:
            error.file = times.file
            raise
        remarks = (*remarks, said) if said else remarks
    told = tuple(
        replace(lap, time_s=time, passed_s=at)
        for lap, time, at in zip(times.laps, laps, passed, strict=True)
    )
    return replace(times, laps=told, remarks=remarks, passed_resolution_s=resolution, day=day)


def _finest(
    body: Sequence[tuple[int, list[str]]], columns: Sequence[int], scale: Sequence[float]
) -> float:
    """Last decimal that some columns are given to, seconds."""
    return min(
        (
            _resolution(cells[column]) * (scale[column] if scale else 1.0)
            for _, cells in body
            for column in columns
            if column < len(cells)
        ),
        default=1.0,
    )


def _resolution(text: str) -> float:
    match = re.search(r"[.,](\d+)", text)
    return 10.0 ** -len(match[1]) if match else 1.0
