"""Which column of a list of official times holds what, by its header or by its numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

from trackkit.errors import TrackkitError
from trackkit.official.clock import ENDLESS_S, read_moment
from trackkit.recordings.csv.columns import (
    TIME_UNITS,
    Column,
    Vocabulary,
    any_of,
    recognise_header,
    unit_words,
)
from trackkit.recordings.csv.layout import (
    Layout,
    cells_of,
    columns_by_role,
    find_layout,
    positions_named,
)
from trackkit.remedies import Remedy

Row = tuple[int, list[str]]
"""A line's number, from 1, and its cells."""

NO_TIME = frozenset({"", "-", "--", "n/a", "\N{EN DASH}", "\N{EM DASH}"})
ASK = Remedy("say which", do="name official columns")
SUM_WITHIN_S = 0.0021
_TIME = re.compile(r"(?:(?:(\d{1,9}):)?(\d{1,9}):)?(\d{1,18})(?:[.,](\d{1,18}))?")
_ROLE = re.compile(r"lap|time|passing|sector\d")


def _sector_names(number: int) -> frozenset[str]:
    parts = product(("sector", "sect", "sec", "s"), ("", " "), ("", "time "), ("", " time"))
    return frozenset(f"{word}{gap}{time}{number}{end}" for word, gap, time, end in parts)


_NAMES = {
    "lap": any_of("lap|laps|lap no|lap nr|lap number|no|nr|number|lap num|round"),
    "time": any_of("lap time|laptime|lap times|official|official time|official lap time"),
    # These are the lap time only where no column has a clearer name.
    "perhaps time": any_of("time|times|t|seconds|duration"),
    "passing": any_of(
        "time of day|tod|to d|passing|passing time|passed|passed at|clock|clock time|day time|"
        "daytime"
    ),
    **{f"sector{number}": _sector_names(number) for number in range(10)},
}
OFFICIAL_WORDS = Vocabulary(
    names=_NAMES,
    units=dict.fromkeys(_NAMES, unit_words(TIME_UNITS)),
    brackets_hold_units=False,
)
"""What the headers of lists of official times are called."""


@dataclass(frozen=True)
class Columns:
    """Which column holds what; None where none does."""

    lap: Column | None
    time: Column | None
    sectors: tuple[Column, ...]
    passing: Column | None = None


def official_layout(lines: Sequence[str], columns: Mapping[str, str]) -> Layout:
    """Find out how a list of official times is laid out.

    Parameters
    ----------
    lines
        Those that are neither blank nor comments, at least one.
    columns
        What the user has said, by role.
    """
    layout = _layout_of_times(lines, lambda cells: _has_times(cells, columns), fewest_cells=1)
    if layout is None:
        header = cells_of(lines[0], ",")
        return Layout(",", 1, tuple(header), len(header), recognised=False)
    if layout.width == 1:
        # A line of one cell does not show what stands between cells.
        wider = _layout_of_times(lines, lambda _: False, fewest_cells=2)
        return replace(layout, delimiter=wider.delimiter) if wider else layout
    above = cells_of(lines[layout.first_row - 1], layout.delimiter) if layout.first_row else []
    if not layout.header and len(above) > 1 and not any(map(_is_time, above)):
        # Fewer names than cells: the comma of decimals may have been taken to separate columns.
        return replace(layout, header=tuple(above))
    return layout


def _layout_of_times(
    lines: Sequence[str], is_header: Callable[[Sequence[str]], bool], fewest_cells: int
) -> Layout | None:
    return find_layout(
        lines,
        is_header=is_header,
        is_value=_is_time,
        fewest_cells=fewest_cells,
        fewest_values=1,
    )


def _is_time(cell: str) -> bool:
    return read_seconds(cell) is not None or read_moment(cell) is not None


def _has_times(cells: Sequence[str], columns: Mapping[str, str]) -> bool:
    named = {name.strip().casefold() for name in columns.values() if not name.isdecimal()}
    if named & {cell.casefold() for cell in cells}:
        return True
    recognised = [recognise_header(cell, OFFICIAL_WORDS) for cell in cells]
    return any(pair is not None and pair[0] != "lap" for pair in recognised)


def chosen_columns(
    layout: Layout, body: Sequence[Row], columns: Mapping[str, str], file: str
) -> Columns:
    """Settle which column holds what.

    Parameters
    ----------
    layout
        How the list is laid out.
    body
        The rows below the header.
    columns
        What the user has said, by role.
    file
        For the sentence of an error.

    Raises
    ------
    TrackkitError
        With a question where the columns are not clear.
    """
    unknown = [role for role in columns if not _ROLE.fullmatch(role)]
    if unknown:
        raise TrackkitError(
            f"official times have no {unknown[0]!r}",
            remedy="what can be named is lap, time, passing, sector1, sector2, ...",
        )
    width = max(len(cells) for _, cells in body)
    named = {role: _named(layout.header, name, width, file) for role, name in columns.items()}
    if layout.header or named:
        chosen = columns_by_role(layout, OFFICIAL_WORDS, named)
    else:
        chosen = {
            role: (Column(position, f"column {position + 1}"),)
            for role, position in _by_numbers(body, file).items()
        }
    lap = _only(chosen.get("lap"), "lap number", file)
    time = _only(chosen.get("time") or chosen.get("perhaps time"), "lap time", file)
    passing = _only(chosen.get("passing"), "time of day", file)
    numbers = sorted(int(role[6:]) for role in chosen if role.startswith("sector"))
    sectors = [_only(chosen[f"sector{n}"], f"time of sector {n}", file) for n in numbers]
    if time is None and not sectors and passing is None:
        header = layout.header
        listing = ", ".join(repr(cell) for cell in header) if header else f"1 to {len(body[0][1])}"
        raise TrackkitError(
            f"which of its columns holds the lap time? They are {listing}", file=file, remedy=ASK
        )
    return Columns(lap, time, tuple(column for column in sectors if column), passing)


def _named(header: Sequence[str], name: str, width: int, file: str) -> int:
    positions = positions_named(header, name, width)
    if len(positions) == 1:
        return positions[0]
    raise TrackkitError(
        f"has no one column {name!r}",
        file=file,
        remedy="its columns are " + (", ".join(header) if header else f"1 to {width}"),
    )


def _only(columns: Sequence[Column] | None, what: str, file: str) -> Column | None:
    if not columns:
        return None
    if len(columns) > 1:
        listing = " or ".join(f"{c.header!r} (column {c.position + 1})" for c in columns)
        raise TrackkitError(f"which holds the {what}: {listing}?", file=file, remedy=ASK)
    return columns[0]


def _by_numbers(body: Sequence[Row], file: str) -> dict[str, int]:
    """Find out from its numbers what the columns of a table without a header hold.

    Lap numbers count up, and the lap time is the one column or the sum of all others.
    """
    width = max(len(cells) for _, cells in body)
    if width == 1:
        return {"time": 0}
    first = [cells[0] for _, cells in body]
    counts = all(cell.isdecimal() for cell in first)
    counts = counts and all(a < b for a, b in pairwise(int(cell) for cell in first))
    lap = {"lap": 0} if counts else {}
    rest = [i for i in range(width) if i not in lap.values()]
    # A time split at a decimal comma leaves whole numbers in two columns.
    if len(rest) == 1 and any(
        re.search("[.,:']", cells[rest[0]]) for _, cells in body if cells[1:]
    ):
        return {**lap, "time": rest[0]}
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
    time = rest.pop(totals[0])
    sectors = {f"sector{number}": position for number, position in enumerate(rest, start=1)}
    return {**lap, "time": time, **sectors}


def read_seconds(text: str) -> float | None:
    """Read ``m:ss.mmm``, ``h:mm:ss.mmm`` or seconds; None where it is none."""
    match = _TIME.fullmatch(text.replace("'", ":").removesuffix("s").strip())
    if match is None:
        return None
    hours, minutes, seconds, decimals = match.groups()
    if minutes is not None and (int(seconds) >= 60 or (hours is not None and int(minutes) >= 60)):
        return None
    whole = 3600 * int(hours or 0) + 60 * int(minutes or 0) + int(seconds)
    return float(f"{whole}.{decimals or 0}") if whole < ENDLESS_S else None
