"""How delimited text is laid out: its lines, its delimiter, its header, and columns by their roles.

What the columns of one kind of table are called, what a value in it looks like, and what is asked
where something is not clear, comes from those who read that kind.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from trackkit.errors import TrackkitError
from trackkit.recordings.csv.columns import (
    Column,
    Vocabulary,
    recognise_header,
    unit_in_header,
)
from trackkit.recordings.raw import counted

DELIMITERS = (",", ";", "\t", "|")
LINES_SEARCHED = 500
_COMMENT = re.compile(r"^\s*(?:#|//|%)\s*")


@dataclass(frozen=True)
class Layout:
    """How a delimited file is laid out.

    Parameters
    ----------
    delimiter
        What stands between cells.
    first_row
        Index of the first line after the header, counted from 0.
    header
        The header's cells, or () where there is none.
    width
        How many cells the header has, or the first row where there is none.
    recognised
        Whether the header is one that was looked for.
    """

    delimiter: str
    first_row: int
    header: tuple[str, ...]
    width: int
    recognised: bool


def lines_of(text: str) -> list[str]:
    """Split text into lines, whichever way they end."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def rows_of(lines: Sequence[str], first_row: int = 0) -> list[tuple[int, str]]:
    """List the lines that are neither blank nor comments, each with its number from 1."""
    return [
        (number, line)
        for number, line in enumerate(lines[first_row:], start=first_row + 1)
        if line[:1].isdigit() or (line.strip() and not _COMMENT.match(line))
    ]


def cells_of(line: str, delimiter: str) -> list[str]:
    """Split one line into stripped cells; none where one is longer than any can be."""
    try:
        rows = list(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    except csv.Error:
        return []
    return [cell.strip() for cell in rows[0]] if rows else []


def find_layout(
    lines: Sequence[str],
    *,
    is_header: Callable[[Sequence[str]], bool],
    is_value: Callable[[str], bool],
    fewest_cells: int,
    fewest_values: int,
) -> Layout | None:
    """Find delimiter and header, also below a preamble or behind a comment sign.

    The header is the last line that is one above the values.  Where none is, it is whatever stands
    above the first line of values in as many cells, if that holds no value.

    Parameters
    ----------
    lines
        The text's.
    is_header
        Says of cells whether they are a header that is looked for.
    is_value
        Says of a cell whether it holds a value.
    fewest_cells, fewest_values
        How many cells a header or a line of values has at least, and how many of the latter's are
        values.

    Returns
    -------
    None where no line is a header or holds enough values.
    """
    searched = lines[:LINES_SEARCHED]
    layout: Layout | None = None
    for index, line in enumerate(searched):
        if layout and sum(map(is_value, cells_of(line, layout.delimiter))) >= fewest_values:
            break
        bare = _COMMENT.sub("", line)
        ways = [(delimiter, cells_of(bare, delimiter)) for delimiter in DELIMITERS]
        ways = [way for way in ways if len(way[1]) >= fewest_cells and is_header(way[1])]
        if ways:
            delimiter, cells = max(ways, key=lambda way: len(way[1]))
            layout = Layout(delimiter, index + 1, tuple(cells), len(cells), recognised=True)
    return layout or _above_values(searched, is_value, fewest_cells, fewest_values)


def _above_values(
    lines: Sequence[str], is_value: Callable[[str], bool], fewest_cells: int, fewest_values: int
) -> Layout | None:
    for index, line in enumerate(lines):
        values, width, delimiter = 0, 0, ""
        for tried in DELIMITERS:
            cells = cells_of(line, tried)
            count = sum(map(is_value, cells))
            if len(cells) >= fewest_cells and (count, len(cells)) > (values, width):
                values, width, delimiter = count, len(cells), tried
        if values >= fewest_values:
            header = cells_of(_COMMENT.sub("", lines[index - 1]), delimiter) if index else []
            if len(header) != width or any(map(is_value, header)):
                header = []
            return Layout(delimiter, index, tuple(header), width, recognised=False)
    return None


def positions_named(header: Sequence[str], name: str, width: int | None = None) -> list[int]:
    """Find the columns that are called so, or have that number, counted from 1.

    Parameters
    ----------
    header
        The header's cells; empty where there is none.
    name
        What the user calls the column.
    width
        The largest number there is without a header; None where any may be.

    Returns
    -------
    Their positions from 0.
    """
    name = name.strip()
    at = [n for n, cell in enumerate(header) if cell == name] or [
        n for n, cell in enumerate(header) if cell.casefold() == name.casefold()
    ]
    if at or not name.isdecimal():
        return at
    number = int(name)
    return [number - 1] if 0 < number <= (len(header) or width or number) else []


def columns_by_role(
    layout: Layout, vocabulary: Vocabulary, named: Mapping[str, int]
) -> dict[str, tuple[Column, ...]]:
    """Say which columns hold what, by their headers or because the user has named them.

    Parameters
    ----------
    layout
        Whose header counts.
    vocabulary
        What the headers say.
    named
        Positions, from 0, of the columns the user has named; they hold nothing else.
    """
    columns: dict[str, list[Column]] = {}
    for position, header in enumerate(layout.header):
        recognised = recognise_header(header, vocabulary)
        if recognised and position not in named.values():
            columns.setdefault(recognised[0], []).append(Column(position, header, recognised[1]))
    for role, position in named.items():
        header = layout.header[position] if layout.header else f"column {position + 1}"
        columns[role] = [Column(position, header, unit_in_header(role, header, vocabulary))]
    return {role: tuple(several) for role, several in columns.items()}


def refuse_longer_row(
    header: Sequence[str],
    row: tuple[int, Sequence[str]],
    path: str | os.PathLike[str],
    error: type[TrackkitError],
) -> None:
    """Refuse a row, given with its line's number, that has more to it than the header has cells.

    Raises
    ------
    TrackkitError
        Of the class `error`.
    """
    line, cells = row
    if header and any(cells[len(header) :]):
        raise error(
            f"has {counted(len(header), 'column')} in the header but {len(cells)} in this row",
            file=path,
            place=f"line {line}",
            remedy="if decimals are written with commas, separate columns with semicolons",
        )


def listed(header: Sequence[str]) -> str:
    """Write a header's cells as they are given back to the user."""
    return ", ".join(f"'{cell}'" for cell in header)
