"""The columns of a table that are nothing of a fix: their names, their units and their numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.budgets import budgets
from trackkit.recordings.channel import distinct_names, is_of_numbers, number_of
from trackkit.recordings.csv.columns import Column, recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS
from trackkit.recordings.csv.layout import Layout
from trackkit.recordings.raw import RawChannel, counted

_UNIT_AT_END = re.compile(r"(.*\S)\s*[(\[{]\s*([^()\[\]{}]+?)\s*[)\]}]")
_OF_A_FIX = ("time", "date", "latitude", "longitude", "north or south", "east or west")


@dataclass(frozen=True)
class ChannelColumn:
    """A column that may be a channel, and where it stands, counted from 0."""

    position: int
    name: str
    unit: str | None


class Part(NamedTuple):
    """The numbers of some rows of a column.

    `row` has those that have something in it, None where all have; `readable` how many of these
    are numbers, "nan" among them.
    """

    row: Indices | None
    first_row: int
    value: Floats
    readable: int


def channel_columns(
    layout: Layout,
    chosen: Mapping[str, Sequence[Column]],
    units: Sequence[str],
    row_count: int,
) -> tuple[list[ChannelColumn], list[str]]:
    """List the columns that may be channels: all that are neither a fix's nor a time.

    Parameters
    ----------
    layout
        Whose header names them.
    chosen
        The columns of fixes.
    units
        The cells of a row of units below the header; empty where there is none.
    row_count
        How many rows there are, for the limit on values.

    Returns
    -------
    The columns, and what to remark where there are too many.
    """
    taken = {column.position for columns in chosen.values() for column in columns}
    positions = []
    for position in range(len(layout.header) or layout.width):
        header = layout.header[position] if layout.header else ""
        recognised = recognise_header(header, FIX_WORDS)
        if position not in taken and (recognised is None or recognised[0] not in _OF_A_FIX):
            positions.append(position)
    most = budgets().channel_values // max(row_count, 1)
    remarks = []
    if len(positions) > most:
        what = counted(len(positions) - most, "other column")
        remarks.append(
            f"left out the last {what}: their values are more than the limit channel_values"
        )
        positions = positions[:most]
    named = [_name_and_unit(layout, units, position) for position in positions]
    names = distinct_names(name for name, _ in named)
    columns = [
        ChannelColumn(position, name, unit)
        for position, name, (_, unit) in zip(positions, names, named, strict=True)
    ]
    return columns, remarks


def _name_and_unit(layout: Layout, units: Sequence[str], position: int) -> tuple[str, str | None]:
    header = " ".join(layout.header[position].split()) if layout.header else ""
    name = header or f"column {position + 1}"
    below = units[position].strip(" ()[]") if position < len(units) else ""
    if below:
        return name, below
    with_unit = _UNIT_AT_END.fullmatch(name)
    return (with_unit[1], with_unit[2]) if with_unit else (name, None)


def numbers_of(cells: Sequence[str], first_row: int, *, commas: bool) -> Part:
    """Read some cells of a column as numbers.

    Parameters
    ----------
    cells
        As the file has them, perhaps with blanks and quotation marks around.
    first_row
        The row of the first, counted from 0.
    commas
        Whether decimals are written with commas.
    """
    try:
        value = np.array([float(cell) for cell in cells])
    except ValueError:
        pass
    else:
        # float() takes "1_000" for a number; files do not write numbers so.
        if "_" not in "".join(cells):
            value[np.isinf(value)] = np.nan
            return Part(None, first_row, value, len(value))
    # Texts and blanks are few and come again and again: each is looked at once.
    stripped = [cell.strip(' "') for cell in cells]
    read = {cell: number_of(cell.replace(",", ".") if commas else cell) for cell in set(stripped)}
    row = np.flatnonzero([cell != "" for cell in stripped]) + first_row
    filled = [read[cell] for cell in stripped if cell]
    value = np.array([math.nan if number is None else number for number in filled], dtype=float)
    return Part(row, first_row, value, sum(number is not None for number in filled))


def raw_channel(
    column: ChannelColumn, parts: Sequence[Part], every_row: Indices
) -> RawChannel | None:
    """Join the parts of a column, `every_row` being all rows; None where it is not of numbers."""
    if not parts:
        return None
    value = np.concatenate([part.value for part in parts])
    readable = sum(part.readable for part in parts)
    if not is_of_numbers(readable, value):
        return None
    if len(value) == len(every_row):
        return RawChannel(column.name, column.unit, every_row, value)
    rows = [
        part.first_row + np.arange(len(part.value)) if part.row is None else part.row
        for part in parts
    ]
    return RawChannel(column.name, column.unit, np.concatenate(rows), value)
