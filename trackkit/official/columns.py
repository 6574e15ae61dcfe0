"""Which column of a list of official times holds what."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from trackkit.errors import TrackkitError
from trackkit.remedies import Remedy

_DELIMITERS = (";", "\t", ",", "|")
TIME = re.compile(r"(?:(?:(\d+):)?(\d+):)?(\d+)(?:[.,](\d+))?")
NO_TIME = frozenset({"", "-", "--", "n/a", "\N{EN DASH}", "\N{EM DASH}"})
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
ASK = Remedy("say which", do="name official columns")
SUM_WITHIN_S = 0.0021
_HEADER_WITHIN = 50


@dataclass(frozen=True)
class Columns:
    """Which column, from 0, holds what."""

    lap: int | None
    time: int | None
    sectors: tuple[int, ...]
    passing: int | None = None


def rows_of(text: str) -> list[tuple[int, list[str]]]:
    """Split delimited text into cells, each row with its line number; comments left out."""
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


def find_header(
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
    if not any(read_seconds(cell) is not None for cell in first):
        return 1, list(first)
    return 0, []


def _plain(header: str) -> str:
    """Write a header in lower-case words, without its unit."""
    bare = re.sub(r"[(\[{].*?[)\]}]", " ", header.casefold())
    words = re.sub(r"[^\w]|_", " ", bare).split()
    while len(words) > 1 and words[-1] in ("s", "sec", "ms", "milliseconds"):
        words.pop()
    return " ".join(words)


def chosen_columns(
    header: Sequence[str],
    body: Sequence[tuple[int, list[str]]],
    columns: Mapping[str, str],
    file: str,
) -> Columns:
    """Settle which column holds what.

    Parameters
    ----------
    header
        Cells of the header line; empty where there is none.
    body
        Line numbers and cells of the rows.
    columns
        What the user has said, by role.
    file
        For the sentence of an error.

    Raises
    ------
    TrackkitError
        With a question where the columns are not clear.
    """
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
            f"which of its columns holds the lap time? They are {listing}", file=file, remedy=ASK
        )
    return Columns(lap, time, tuple(i for i in sectors if i is not None), passing)


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
        raise TrackkitError(f"which holds the {what}: {listing}?", file=file, remedy=ASK)
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
    times = [
        [read_seconds(cells[i]) if i < len(cells) else None for i in rest] for _, cells in body
    ]
    whole = [[t for t in row if t is not None] for row in times if None not in row]
    totals = [
        place
        for place in range(len(rest))
        if whole
        and all(abs(2 * row[place] - sum(row)) <= SUM_WITHIN_S * len(rest) for row in whole)
    ]
    if len(totals) != 1 or len(rest) <= 2:
        raise TrackkitError(
            f"has {width} columns and no header that tells: which holds the lap time?",
            file=file,
            remedy=Remedy(
                "decimals with a comma need semicolons between columns; or say which",
                do="name official columns",
            ),
        )
    sectors = [column for place, column in enumerate(rest) if place != totals[0]]
    return lap, rest[totals[0]], {n: [column] for n, column in enumerate(sectors, start=1)}


def read_seconds(text: str) -> float | None:
    """Read ``m:ss.mmm``, ``h:mm:ss.mmm`` or seconds; None where it is none."""
    match = TIME.fullmatch(text.replace("'", ":").removesuffix("s").strip())
    if match is None:
        return None
    hours, minutes, seconds, decimals = match.groups()
    if minutes is not None and (int(seconds) >= 60 or (hours is not None and int(minutes) >= 60)):
        return None
    whole = 3600 * int(hours or 0) + 60 * int(minutes or 0) + int(seconds)
    return float(f"{whole}.{decimals or 0}")
