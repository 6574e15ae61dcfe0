"""Lists of official lap times, read from CSV."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from trackkit.errors import RecordingError, TrackkitError
from trackkit.passingtimes import follow_days, lap_ends, read_moment
from trackkit.readers.sniffing import decode, read_bytes

_DELIMITERS = (";", "\t", ",", "|")
_TIME = re.compile(r"(?:(?:(\d+):)?(\d+):)?(\d+)(?:[.,](\d+))?")
_NO_TIME = frozenset({"", "-", "--", "n/a", "\N{EN DASH}", "\N{EM DASH}"})
_LAP = frozenset(
    {"lap", "laps", "lap no", "lap nr", "lap number", "no", "nr", "number", "lap num", "round"}
)
_LAP_TIME = frozenset(
    {"lap time", "laptime", "lap times", "official", "official time", "official lap time"}
)
_TIME_WORD = frozenset({"time", "times", "t", "seconds", "duration"})
_PASSING = frozenset(
    {"time of day", "tod", "passing", "passing time", "passed", "passed at", "clock", "clock time",
     "day time", "daytime"}
)  # fmt: skip
_SECTOR = re.compile(r"(?:sector|sect|sec|s) ?(?:time )?(\d)(?: time)?")
_MILLISECONDS = re.compile(r"[\s_(\[](?:ms|milliseconds)[)\]]?\s*$", re.IGNORECASE)
_ASK = "say which with --official-columns, such as time=3 or lap=1,time=3,sector1=4"
_SUM_WITHIN_S = 0.0021
_HEADER_WITHIN = 50


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


@dataclass(frozen=True)
class _Columns:
    """Which column, from 0, holds what."""

    lap: int | None
    time: int | None
    sectors: tuple[int, ...]
    passing: int | None = None


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
        rows = _rows(decode(read_bytes(path)))
    except RecordingError as error:
        raise TrackkitError(error.what, file=name, remedy=remedy) from error
    except csv.Error as error:
        raise TrackkitError(f"is no CSV ({error})", file=name, remedy=remedy) from error
    if not rows:
        raise TrackkitError("holds no line of times", file=name, remedy=remedy)
    at, header = _header(rows, columns or {})
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
    chosen = _chosen(header, body, columns or {}, name)
    scale = [0.001 if _MILLISECONDS.search(cell) else 1.0 for cell in header]
    laps = [_lap(line, cells, chosen, place, scale, name)
            for place, (line, cells) in enumerate(body, start=1)]  # fmt: skip
    return _checked(laps, body, chosen, scale, name)


def _rows(text: str) -> list[tuple[int, list[str]]]:
    lines = [
        (number, line)
        for number, line in enumerate(text.lstrip("\ufeff").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    # Title lines above the table need not have the delimiter.
    delimiter = max(_DELIMITERS, key=lambda d: (sum(d in line for _, line in lines), -_rank(d)))
    return [
        (number, [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))])
        for number, line in lines
    ]


def _rank(delimiter: str) -> int:
    return _DELIMITERS.index(delimiter)


def _header(
    rows: Sequence[tuple[int, list[str]]], columns: Mapping[str, str]
) -> tuple[int, list[str]]:
    """Find the header: the index of the first row below it, and its cells ([] without one)."""
    wanted = {name.casefold() for name in columns.values() if not name.isdecimal()}
    for index, (_, cells) in enumerate(rows[:_HEADER_WITHIN]):
        plain = [_plain(cell) for cell in cells]
        known = any(p in _LAP_TIME | _TIME_WORD | _PASSING or _SECTOR.fullmatch(p) for p in plain)
        # A title above the table has fewer cells than the table.
        known &= len(cells) >= len(rows[min(index + 1, len(rows) - 1)][1])
        if known or wanted & {cell.casefold() for cell in cells}:
            return index + 1, cells
    _, first = rows[0]
    if not any(_seconds(cell) is not None for cell in first):
        return 1, list(first)
    return 0, []


def _plain(header: str) -> str:
    """Write a header in lower-case words, without its unit."""
    bare = re.sub(r"[(\[{].*?[)\]}]", " ", header.casefold())
    words = re.sub(r"[^\w]|_", " ", bare).split()
    while len(words) > 1 and words[-1] in ("s", "sec", "ms", "milliseconds"):
        words.pop()
    return " ".join(words)


def _chosen(
    header: Sequence[str],
    body: Sequence[tuple[int, list[str]]],
    columns: Mapping[str, str],
    file: str,
) -> _Columns:
    unknown = [role for role in columns if not re.fullmatch(r"lap|time|passing|sector\d", role)]
    if unknown:
        raise TrackkitError(
            f"official times have no {unknown[0]!r}", remedy="what can be named is lap, time, "
            "passing, sector1, sector2, ...",
        )  # fmt: skip
    named = {role: _named(header, body, column, file) for role, column in columns.items()}
    if header:
        plain = [_plain(cell) for cell in header]
        lap = _only([i for i, p in enumerate(plain) if p in _LAP], header, "lap number", file,
                    named.get("lap"))  # fmt: skip
        strong = [i for i, p in enumerate(plain) if p in _LAP_TIME]
        weak = [i for i, p in enumerate(plain) if p in _TIME_WORD]
        time = _only(strong or weak, header, "lap time", file, named.get("time"))
        passing = _only([i for i, p in enumerate(plain) if p in _PASSING], header,
                        "time of day", file, named.get("passing"))  # fmt: skip
        by_number: dict[int, list[int]] = {}
        for index, p in enumerate(plain):
            if match := _SECTOR.fullmatch(p):
                by_number.setdefault(int(match[1]), []).append(index)
    else:
        lap, time, by_number, passing = None, None, {}, named.get("passing")
        if not named:
            lap, time, by_number = _by_numbers(body, file)
        lap, time = named.get("lap", lap), named.get("time", time)
    for role, column in named.items():
        if role.startswith("sector"):
            by_number[int(role[-1])] = [column]
    sectors = [
        _only(by_number[number], header, f"time of sector {number}", file, None)
        for number in sorted(by_number)
    ]
    if time is None and not sectors and passing is None:
        listing = ", ".join(repr(cell) for cell in header) if header else f"1 to {len(body[0][1])}"
        raise TrackkitError(
            f"which of its columns holds the lap time? They are {listing}", file=file, remedy=_ASK
        )
    return _Columns(lap, time, tuple(i for i in sectors if i is not None), passing)


def _named(
    header: Sequence[str], body: Sequence[tuple[int, list[str]]], column: str, file: str
) -> int:
    folded = [cell.casefold() for cell in header]
    if folded.count(column.casefold()) == 1:
        return folded.index(column.casefold())
    width = len(header) or max(len(cells) for _, cells in body)
    if column.isdecimal() and 1 <= int(column) <= width:
        return int(column) - 1
    raise TrackkitError(
        f"has no one column {column!r}", file=file,
        remedy="its columns are " + (", ".join(header) if header else f"1 to {width}"),
    )  # fmt: skip


def _only(
    found: Sequence[int], header: Sequence[str], what: str, file: str, named: int | None
) -> int | None:
    if named is not None:
        return named
    if len(found) > 1:
        listing = " or ".join(f"{header[i]!r} (column {i + 1})" for i in found)
        raise TrackkitError(f"which holds the {what}: {listing}?", file=file, remedy=_ASK)
    return found[0] if found else None


def _by_numbers(
    body: Sequence[tuple[int, list[str]]], file: str
) -> tuple[int | None, int, dict[int, list[int]]]:
    """Tell the columns of a table without a header from what is in them."""
    width = max(len(cells) for _, cells in body)
    if width == 1:
        return None, 0, {}
    first = [cells[0] for _, cells in body]
    counts = all(cell.isdecimal() for cell in first)
    numbers = [int(cell) for cell in first] if counts else []
    lap = 0 if counts and all(a < b for a, b in pairwise(numbers)) else None
    rest = [i for i in range(width) if i != lap]
    # Whole numbers alone may be what a decimal comma has left.
    if len(rest) == 1 and any(
        re.search("[.,:']", cells[rest[0]]) for _, cells in body if cells[1:]
    ):
        return lap, rest[0], {}
    times = [[_seconds(cells[i]) if i < len(cells) else None for i in rest] for _, cells in body]
    whole = [[t for t in row if t is not None] for row in times if None not in row]
    totals = [
        place
        for place in range(len(rest))
        if whole
        and all(abs(2 * row[place] - sum(row)) <= _SUM_WITHIN_S * len(rest) for row in whole)
    ]
    if len(totals) != 1 or len(rest) <= 2:
        raise TrackkitError(
            f"has {width} columns and no header that tells: which holds the lap time?",
            file=file,
            remedy=f"{_ASK}; decimals with a comma need semicolons between columns",
        )
    sectors = [column for place, column in enumerate(rest) if place != totals[0]]
    return lap, rest[totals[0]], {n: [column] for n, column in enumerate(sectors, start=1)}


def _seconds(text: str) -> float | None:
    """Read ``m:ss.mmm``, ``h:mm:ss.mmm`` or seconds; None where it is none."""
    match = _TIME.fullmatch(text.replace("'", ":").removesuffix("s").strip())
    if match is None:
        return None
    hours, minutes, seconds, decimals = match.groups()
    if minutes is not None and (int(seconds) >= 60 or (hours is not None and int(minutes) >= 60)):
        return None
    whole = 3600 * int(hours or 0) + 60 * int(minutes or 0) + int(seconds)
    return float(f"{whole}.{decimals or 0}")


def _lap(
    line: int,
    cells: Sequence[str],
    chosen: _Columns,
    place: int,
    scale: Sequence[float],
    file: str,
) -> OfficialLap:
    def time(column: int) -> float | None:
        cell = cells[column] if column < len(cells) else ""
        if cell.casefold() in _NO_TIME:
            return None
        seconds = _seconds(cell)
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
    chosen: _Columns,
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
            remedy=f"{_ASK}; times of day are named as in passing=3",
        )  # fmt: skip
    return times


def _with_passings(
    times: OfficialTimes,
    body: Sequence[tuple[int, list[str]]],
    chosen: _Columns,
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
        if moment is None and text.casefold() not in _NO_TIME:
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
