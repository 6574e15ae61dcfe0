"""Tables whose columns have types already, read by the words of CSV headers.

Their columns are recognised, named and asked about as those of a CSV file are.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import RecordingError
from trackkit.recordings.csv.cells import NumberCells
from trackkit.recordings.csv.channels import Part, channel_columns, numbers_of, raw_channel
from trackkit.recordings.csv.columns import Column, recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS, fix_columns, position_question
from trackkit.recordings.csv.fixes import fixes_of_columns
from trackkit.recordings.csv.layout import Layout
from trackkit.recordings.raw import RawChannel, RawFixes

PLACES = ("longitude", "latitude", "elevation")


def fixes_of_table(
    names: Sequence[str],
    values: Sequence[NDArray[np.generic]],
    columns: Mapping[str, str],
    path: str | os.PathLike[str],
    *,
    positions: Mapping[str, Floats] | None = None,
    place_kind: str = "row",
) -> RawFixes:
    """Read fixes from columns.

    Parameters
    ----------
    names
        What the columns are called.
    values
        What they hold, shape (n,) each: numbers, moments (datetime64, UTC) or texts.
    columns
        Which column holds what, by role, where the user has said so.
    path
        The file, for sentences.
    positions
        Positions by themselves, in degrees and metres, by `PLACES`; columns that look like
        positions are then passed over.
    place_kind
        What the rows are called in sentences.

    Raises
    ------
    NoTimesError
        No column holds a time.
    RecordingError
        What a column holds is ambiguous, or no row has a position and a time.
    """
    header = list(names)
    cells: dict[int, Sequence[str]] = {}
    named = dict(columns)
    if positions is not None:
        kept = [n for n, name in enumerate(names) if _role(name) not in PLACES]
        # Their own names are not in the way of those made up here.
        header = [*(names[n] for n in kept), *positions]
        values = [*(values[n] for n in kept), *positions.values()]
    layout = Layout("", 0, tuple(header), len(header), recognised=True)
    require("columns", len(header), RecordingError, "holds", file=path)
    count = len(values[0]) if values else 0
    require("fixes", count, RecordingError, "holds rows for", file=path, remedy="split it")
    recognised = {_role(name) for name in header} | set(named)
    if not {"latitude", "longitude"} <= recognised:
        raise position_question(layout, path)
    chosen = fix_columns(layout, named, path)
    for position in {column.position for several in chosen.values() for column in several}:
        cells[position] = cells_of_array(values[position])
    channels, remarks = _channels(layout, chosen, values, count)
    try:
        return fixes_of_columns(
            cells,
            chosen,
            np.arange(1, count + 1),
            place_kind=place_kind,
            channels=channels,
            remarks=remarks,
        )
    except RecordingError as error:
        # The questions about columns and dates are asked where the file's name is not known.
        raise type(error)(error.what, file=path, place=error.place, remedy=error.remedy) from error


def _channels(
    layout: Layout,
    chosen: Mapping[str, Sequence[Column]],
    values: Sequence[NDArray[np.generic]],
    count: int,
) -> tuple[list[RawChannel], list[str]]:
    """Take the columns of numbers that are nothing of a fix, as those of a CSV file are."""
    others, remarks = channel_columns(layout, chosen, (), count)
    every_row = np.arange(count)
    parts = [_numbers(values[other.position]) for other in others]
    channels = [
        raw_channel(other, [] if part is None else [part], every_row)
        for other, part in zip(others, parts, strict=True)
    ]
    return [channel for channel in channels if channel is not None], remarks


def _numbers(value: NDArray[np.generic]) -> Part | None:
    """Read a column as numbers; a row that is missing in one of numbers has no value."""
    kind = value.dtype.kind
    if kind in "iuf":
        number = value.astype(float)
        there = np.flatnonzero(~np.isnan(number))
        number = np.where(np.isinf(number), np.nan, number)
        whole = len(there) == len(number)
        return Part(None if whole else there, 0, number[there], len(there))
    if kind not in "OUS":
        return None
    return numbers_of(cells_of_array(value), 0, commas=False)


def _role(name: str) -> str | None:
    recognised = recognise_header(name, FIX_WORDS)
    return recognised[0] if recognised else None


def cells_of_array(value: NDArray[np.generic]) -> Sequence[str]:
    """Give a column as cells: numbers as they are, moments and texts written out."""
    kind = value.dtype.kind
    if kind in "iuf":
        return NumberCells(value.astype(float))
    if kind == "M":
        text = np.datetime_as_string(value.astype("datetime64[us]"))
        missing = np.isnat(value)
        return ["" if gone else f"{cell}Z" for cell, gone in zip(text, missing, strict=True)]
    return ["" if cell is None else str(cell).strip() for cell in value.tolist()]
