"""Find out how delimited text is laid out, and which column holds what; ask where unclear."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.csv.columns import Column, recognise_header, unit_in_header
from trackkit.recordings.raw import counted
from trackkit.remedies import Remedy

DELIMITERS = (",", ";", "\t", "|")
LINES_SEARCHED = 500
COMMENT = re.compile(r"^\s*(?:#|//|%)\s*")


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
    """

    delimiter: str
    first_row: int
    header: tuple[str, ...]


def cells_of(line: str, delimiter: str) -> list[str]:
    """Split one line into stripped cells."""
    try:
        rows = list(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    except csv.Error:
        return []
    return [cell.strip() for cell in rows[0]] if rows else []


def find_layout(
    lines: Sequence[str], columns: Mapping[str, str], path: str | os.PathLike[str]
) -> Layout:
    """Find the header line, also below a preamble or behind a comment sign.

    The header is the last line above the numbers that has a latitude and a longitude, recognised
    or named.  Where none has, rows of numbers are looked for, which need columns named by number.

    Raises
    ------
    RecordingError
        The text is no table, or a question which columns hold the position.
    """
    layout: Layout | None = None
    for index, line in enumerate(lines[:LINES_SEARCHED]):
        if layout and sum(map(_is_number, cells_of(line, layout.delimiter))) >= 2:
            break
        for delimiter in DELIMITERS:
            cells = cells_of(COMMENT.sub("", line), delimiter)
            if len(cells) >= 3 and _tells_position(cells, columns):
                layout = Layout(delimiter, index + 1, tuple(cells))
                break
    if layout:
        return layout
    index, delimiter, width = _first_numbers(lines, path)
    header = cells_of(COMMENT.sub("", lines[index - 1]), delimiter) if index else []
    if len(header) != width or any(_is_number(cell) for cell in header):
        header = []
    if columns.get("latitude", "").isdigit() and columns.get("longitude", "").isdigit():
        return Layout(delimiter, index, tuple(header))
    listing = f"its columns are {_listed(header)}" if header else f"it has {width} columns"
    raise RecordingError(
        f"which columns are latitude and longitude is not clear: {listing}"
        + ("" if header else " and no header"),
        file=path,
        remedy=Remedy(
            f"say which, by {'name or by number from 1' if header else 'number from 1'}",
            do="name columns",
            value={"columns": dict.fromkeys(("time", "latitude", "longitude"), "...")},
        ),
    )


def ask_for(role: str) -> Remedy:
    """Ask which column holds what."""
    return Remedy("say which", do="name columns", value={"columns": {role: "NAME"}})


def _tells_position(cells: Sequence[str], columns: Mapping[str, str]) -> bool:
    recognised = {found[0] for cell in cells if (found := recognise_header(cell))}
    folded = {cell.casefold() for cell in cells}
    position = ("latitude", "longitude")
    told = [
        columns[role].strip().casefold() in folded if role in columns else role in recognised
        for role in position
    ]
    numbered = [columns.get(role, "").strip().isdigit() for role in position]
    # Numbers alone would make a header of any line.
    return any(told) and all(a or b for a, b in zip(told, numbered, strict=True))


def _first_numbers(lines: Sequence[str], path: str | os.PathLike[str]) -> tuple[int, str, int]:
    for index, line in enumerate(lines[:LINES_SEARCHED]):
        for delimiter in DELIMITERS:
            cells = cells_of(line, delimiter)
            if len(cells) >= 3 and sum(_is_number(cell) for cell in cells) >= 2:
                return index, delimiter, len(cells)
    raise RecordingError(
        "is text, but no table of fixes",
        file=path,
        remedy="trackkit reads GPX, NMEA 0183, CSV and GeoJSON",
    )


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?", cell) is not None


def _listed(header: Sequence[str]) -> str:
    return ", ".join(f"'{cell}'" for cell in header)


def choose_columns(
    layout: Layout, columns: Mapping[str, str], path: str | os.PathLike[str]
) -> dict[str, tuple[Column, ...]]:
    """Say which columns hold what.

    Returns
    -------
    For every role found its columns: exactly one for latitude, longitude and time; for the others
    perhaps several, which are one if they agree.

    Raises
    ------
    NoTimesError
        No column holds a time.
    RecordingError
        A question: a column named is not there, or several could be the one.
    """
    found: dict[str, list[Column]] = {}
    for position, header in enumerate(layout.header):
        recognised = recognise_header(header)
        if recognised:
            found.setdefault(recognised[0], []).append(Column(position, header, recognised[1]))
    for role, wanted in columns.items():
        found[role] = [_named(layout, role, wanted, path)]
    taken = {found[role][0].position for role in columns}
    for role in set(found) - set(columns):
        found[role] = [column for column in found[role] if column.position not in taken]
    chosen = {role: tuple(candidates) for role, candidates in found.items() if candidates}
    if "time" not in chosen and "date" in chosen:
        chosen["time"] = chosen.pop("date")
    for role in ("latitude", "longitude", "time", "date"):
        if len(chosen.get(role, ())) > 1:
            options = _listed([column.header for column in chosen[role]])
            raise RecordingError(
                f"{len(chosen[role])} columns could be the {role}: {options}",
                file=path,
                remedy=ask_for("time" if role == "date" else role),
            )
    if "time" not in chosen:
        listing = f"its columns are {_listed(layout.header)}" if layout.header else "no header"
        raise NoTimesError(
            f"no column is recognised as the time ({listing})",
            file=path,
            remedy=ask_for("time"),
        )
    for role in ("latitude", "longitude"):
        if role not in chosen:
            raise RecordingError(
                f"no column is left for the {role}", file=path, remedy=ask_for(role)
            )
    return chosen


def _named(layout: Layout, role: str, wanted: str, path: str | os.PathLike[str]) -> Column:
    name = wanted.strip()
    at = [n for n, cell in enumerate(layout.header) if cell == name] or [
        n for n, cell in enumerate(layout.header) if cell.casefold() == name.casefold()
    ]
    if len(at) > 1:
        raise RecordingError(
            f"{counted(len(at), 'column')} are called '{name}'",
            file=path,
            remedy=f"give the number of the one that is the {role}, counted from 1",
        )
    if at:
        header = layout.header[at[0]]
        return Column(at[0], header, unit_in_header(role, header))
    if name.isdigit() and 0 < int(name) <= (len(layout.header) or int(name)):
        position = int(name) - 1
        header = layout.header[position] if layout.header else f"column {name}"
        return Column(position, header, unit_in_header(role, header))
    listing = _listed(layout.header) if layout.header else "numbered from 1"
    raise RecordingError(
        f"has no column '{name}' for the {role}; its columns are {listing}", file=path
    )
