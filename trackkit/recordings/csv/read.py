"""Delimited text (CSV): delimiter, header and units recognised, the rows read by the csv module.

The csv module splits 45,000 rows in 0.05 s, where importing pandas alone takes 0.4 s.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import islice, zip_longest
from typing import Literal

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.budgets import require
from trackkit.errors import RecordingError
from trackkit.progress import tell
from trackkit.recordings.csv.cells import ROWS_AT_ONCE, Cells
from trackkit.recordings.csv.channels import (
    ChannelColumn,
    Part,
    channel_columns,
    numbers_of,
    raw_channel,
)
from trackkit.recordings.csv.columns import Column
from trackkit.recordings.csv.fix_columns import FIX_WORDS, ask_for, fix_columns, layout_of_fixes
from trackkit.recordings.csv.infer_units import guess_speed_unit, guess_time_unit
from trackkit.recordings.csv.layout import cells_of, lines_of, refuse_longer_row, rows_of
from trackkit.recordings.detect import decode
from trackkit.recordings.raw import (
    Dropped,
    RawChannel,
    RawChannels,
    RawFixes,
    Times,
    counted,
    some_or_none,
)
from trackkit.recordings.times import ordinary_times, read_times
from trackkit.recordings.units import ANGLE_DEG, LENGTH_M, SPEED_MPS, TIME_S
from trackkit.remedies import Remedy

DEGREES_AT_MOST = 1e4
"""Positions usually above this are 1e-7 degrees; what lies between 180 and this is neither."""

SAME_WITHIN = 0.5
"""Columns that could be one and the same differ usually by less than this, in SI units."""

_HEMISPHERE = re.compile(r"([NSEWnsew])?\s*([-+]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew])?")
_SPLIT = "split it"
_LONG_TABLE = 200_000
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+")
_Chosen = Mapping[str, tuple[Column, ...]]
_Table = Mapping[int, Cells]
"""The columns that are needed, by their position from 0: stripped cells, "" where empty."""


def read_delimited(
    data: bytes, path: str | os.PathLike[str], columns: Mapping[str, str]
) -> RawFixes:
    """Read delimited text.

    Parameters
    ----------
    data
        The file's bytes.
    path
        Its name, for sentences.
    columns
        Which column holds what, by header or number from 1, where the user has said so.

    Raises
    ------
    NoTimesError
        No column holds a time.
    RecordingError
        The text is no table of fixes, or what a column holds is ambiguous.
    """
    text = decode(data)
    # Counted before they are cut apart: a line costs more than its characters.
    require("fixes", text.count("\n"), RecordingError, "holds lines for", file=path, remedy=_SPLIT)
    lines = lines_of(text)
    longest = max(map(len, lines))
    require("line_length", longest, RecordingError, "holds a line of", file=path)
    layout = layout_of_fixes(lines, columns, path)
    chosen: _Chosen = fix_columns(layout, columns, path)
    rows = rows_of(lines, layout.first_row)
    row_of_units: list[str] = []
    if rows and (units := _units_row(cells_of(rows[0][1], layout.delimiter), chosen)):
        row_of_units = cells_of(rows[0][1], layout.delimiter)
        rows, chosen = rows[1:], units
    if not rows:
        raise RecordingError("has a header but no row below it", file=path)
    number, first = rows[0]
    refuse_longer_row(
        layout.header, (number, cells_of(first, layout.delimiter)), path, RecordingError
    )
    numbers = np.array([number for number, _ in rows], dtype=np.intp)
    body = [line for _, line in rows]
    # A long file should not be in memory in all its forms at once.
    del text, lines, rows
    others, remarks = channel_columns(layout, chosen, row_of_units, len(body))
    table, channels = _table(body, layout.delimiter, chosen, others, path)
    try:
        return _fixes(table, chosen, numbers, channels, remarks)
    except RecordingError as error:
        # The questions about columns and dates are asked where the file's name is not known.
        raise type(error)(error.what, file=path, place=error.place, remedy=error.remedy) from error


def _units_row(cells: Sequence[str], chosen: _Chosen) -> _Chosen | None:
    """Take the units from a row of units below the header, if it is one."""

    def unit(role: str, column: Column) -> str | None:
        cell = cells[column.position] if column.position < len(cells) else ""
        return FIX_WORDS.units.get(role, {}).get(cell.strip(" ()[]").lower())

    if not all(unit(role, chosen[role][0]) for role in ("latitude", "longitude")):
        return None
    return {
        role: tuple(replace(c, unit=c.unit or unit(role, c)) for c in candidates)
        for role, candidates in chosen.items()
    }


def _table(
    lines: list[str],
    delimiter: str,
    chosen: _Chosen,
    others: Sequence[ChannelColumn],
    path: str | os.PathLike[str],
) -> tuple[_Table, list[RawChannel]]:
    angles = [c.position for role in ("latitude", "longitude") for c in chosen[role]]
    needed = {column.position for columns in chosen.values() for column in columns}
    both = _cells(lines, delimiter, needed, others, angles, csv.QUOTE_MINIMAL, path)
    if both is None:
        # A stray quotation mark must not swallow the lines up to the next one.
        both = _cells(lines, delimiter, needed, others, angles, csv.QUOTE_NONE, path)
    if both is None:
        raise RecordingError("its rows cannot be told apart", file=path)
    table, channels = both
    if delimiter != "," and any(_has_comma(cell) for p in angles for cell in table[p]):
        table = {position: cells.with_points() for position, cells in table.items()}
    return table, channels


def _has_comma(cell: str) -> bool:
    return "," in cell and _DECIMAL_COMMA.fullmatch(cell) is not None


def _cells(
    lines: list[str],
    delimiter: str,
    needed: Iterable[int],
    others: Sequence[ChannelColumn],
    angles: Sequence[int],
    quoting: Literal[0, 3],
    path: str | os.PathLike[str],
) -> tuple[_Table, list[RawChannel]] | None:
    """Split lines, and keep the columns that are needed, and the numbers of the others.

    None where a cell is longer than any can be, or lines run into each other.
    """
    parts: dict[int, list[str]] = {position: [] for position in needed}
    numbers: list[list[Part]] = [[] for _ in others]
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True, quoting=quoting)
    count = 0
    commas = False
    try:
        # Some rows at a time: all cells of all rows would take several times the file.
        while rows := list(islice(reader, ROWS_AT_ONCE)):
            require("columns", max(map(len, rows)), RecordingError, "holds a row of", file=path)
            # Rows may be longer than the header (a trailing delimiter) or shorter (cut off):
            # neither may shift or stop the others.
            every = list(zip_longest(*rows, fillvalue=""))
            for position, joined in parts.items():
                column = every[position] if position < len(every) else [""] * len(rows)
                joined.append("\n".join([cell.strip(' "') for cell in column]))
            commas = commas or (
                delimiter != ","
                and any(_has_comma(cell) for p in angles for cell in parts[p][-1].split("\n"))
            )
            for other, read in zip(others, numbers, strict=True):
                if other.position < len(every):
                    read.append(numbers_of(every[other.position], count, commas=commas))
            count += len(rows)
            if len(lines) > _LONG_TABLE:
                tell("reading rows", count, len(lines))
    except csv.Error:
        return None
    if count != len(lines):
        return None
    table = {position: Cells(tuple(joined), count) for position, joined in parts.items()}
    every_row = np.arange(count)
    channels = (raw_channel(*of, every_row) for of in zip(others, numbers, strict=True))
    return table, [channel for channel in channels if channel is not None]


def _numbers(text: Sequence[str]) -> Floats:
    try:
        value = np.array([float(cell) if cell else np.nan for cell in text], dtype=float)
    except ValueError:
        value = np.array([_number(cell) for cell in text], dtype=float)
    if "_" in "".join(text):
        # float() takes "1_000" for a number; files do not write numbers so.
        value[["_" in cell for cell in text]] = np.nan
    return value


def _number(cell: str) -> float:
    try:
        return float(cell) if cell else np.nan
    except ValueError:
        return np.nan


def _is_unreadable(text: Sequence[str], value: Floats) -> Flags:
    unreadable = np.isnan(value)
    if np.any(unreadable):
        unreadable &= np.fromiter((cell != "" for cell in text), dtype=bool, count=len(text))
    return unreadable


def _fixes(
    table: _Table,
    chosen: _Chosen,
    place: Indices,
    channels: Sequence[RawChannel],
    about_channels: Sequence[str],
) -> RawFixes:
    remarks = [*about_channels]
    longitude, latitude = _positions(table, chosen, remarks)
    time = _times(table, chosen, longitude, latitude, remarks)
    seconds = _as_seconds(time)
    speed, course, elevation, accuracy, hdop = (
        _optional(table, chosen, role, (seconds, longitude, latitude), remarks)
        for role in ("speed", "course", "elevation", "accuracy", "hdop")
    )
    readable = np.isfinite(longitude) & np.isfinite(latitude) & np.isfinite(seconds)
    lost = int(np.count_nonzero(~readable))
    if lost == len(place):
        raise RecordingError("no row has a readable position and time")
    dropped: tuple[Dropped, ...] = ()
    if lost:
        where = f"line {place[~readable][0]:,}"
        words = counted(lost, "row") + " without a readable position or time"
        words += f" ({where})" if lost == 1 else f" (the first at {where})"
        dropped = (Dropped("unreadable row", lost, words),)

    def picked(column: Floats | None) -> Floats | None:
        return None if column is None else some_or_none(column[readable])

    return RawFixes(
        time=time[readable],
        longitude_deg=longitude[readable],
        latitude_deg=latitude[readable],
        speed_mps=picked(speed),
        course_deg=picked(course),
        elevation_m=picked(elevation),
        accuracy_m=picked(accuracy),
        hdop=picked(hdop),
        place=place[readable],
        dropped=dropped,
        remarks=tuple(remarks),
        channels=RawChannels(time, np.cumsum(readable) - readable, tuple(channels)),
    )


def _as_seconds(time: Times) -> Floats:
    if time.dtype.kind != "M":
        return np.asarray(time, dtype=float)
    there = ~np.isnat(time)
    seconds = np.full(len(time), np.nan)
    if np.any(there):
        first = time[there][0]
        seconds[there] = (time[there] - first).astype("timedelta64[ns]").astype(np.int64) / 1e9
    return seconds


def _positions(table: _Table, chosen: _Chosen, remarks: list[str]) -> tuple[Floats, Floats]:
    angles = {}
    for role, side in (("latitude", "north or south"), ("longitude", "east or west")):
        column = chosen[role][0]
        text = table[column.position]
        value = _numbers(text)
        if np.any(_is_unreadable(text, value)):
            value = _with_hemisphere(text, value)
        if len(chosen.get(side, ())) == 1:
            letters = [cell[:1] for cell in table[chosen[side][0].position]]
            value = np.where(_is_negative(letters), -np.abs(value), value)
        if not np.any(np.isfinite(value)):
            example = next((cell for cell in text if cell), "")
            raise RecordingError(
                f"its column '{column.header}' holds no {role} in decimal degrees, "
                + (f"only such as '{example}'" if example else "it is empty")
            )
        angles[role] = value
    longitude, latitude = angles["longitude"], angles["latitude"]
    units = {role: chosen[role][0].unit for role in angles}
    large = max(float(np.nanmedian(np.abs(value))) for value in angles.values())
    if not any(units.values()) and large > DEGREES_AT_MOST:
        remarks.append("positions were taken as 1e-7 degrees from their size")
        units = dict.fromkeys(units, "1e-7 deg")
    longitude = longitude * ANGLE_DEG[units["longitude"] or "deg"]
    latitude = latitude * ANGLE_DEG[units["latitude"] or "deg"]
    if float(np.nanmedian(np.abs(latitude))) > 90.0:
        example = table[chosen["latitude"][0].position][0]
        raise RecordingError(
            f"its latitudes, such as '{example}', are neither degrees nor 1e-7 degrees",
            remedy="write positions in decimal degrees, WGS 84",
        )
    return longitude, latitude


def _with_hemisphere(text: Sequence[str], value: Floats) -> Floats:
    """Read angles with a letter for the hemisphere, such as "48.117 N"."""
    parts = [_HEMISPHERE.fullmatch(cell) for cell in text]
    letters = [(part[1] or part[3] or "") if part else "" for part in parts]
    angle = _numbers([part[2] if part else "" for part in parts])
    angle = np.where(_is_negative(letters), -np.abs(angle), angle)
    return np.where(np.isnan(value), angle, value)


def _is_negative(letters: Sequence[str]) -> Flags:
    return np.isin([letter.upper() for letter in letters], ["S", "W"])


def _times(
    table: _Table,
    chosen: _Chosen,
    longitude: Floats,
    latitude: Floats,
    remarks: list[str],
) -> Times:
    column = chosen["time"][0]
    text = table[column.position]
    dates = None
    if "date" in chosen and not (
        # A column that tells the whole moment needs no date beside it.
        _usual(text, r"\d{4}-?\d{2}-?\d{2}[T ].*") or _usual(text, r"\d{9,}(?:\.\d+)?")
    ):
        dates = table[chosen["date"][0].position]
    read = ordinary_times(text) if dates is None else None
    read = read or read_times(text, _numbers(text), column.unit, dates)
    remarks.extend(read.remarks)
    if not np.any(np.isfinite(_as_seconds(read.value))):
        example = next((cell for cell in text if cell), "")
        raise RecordingError(
            f"its column '{column.header}' holds nothing readable as a time, "
            + (f"only such as '{example}'" if example else "it is empty"),
            remedy=Remedy(
                "name the right column", do="name columns", value={"columns": {"time": "NAME"}}
            ),
        )
    if read.has_unit:
        return read.value
    elapsed = np.asarray(read.value, dtype=float)
    unit = guess_time_unit(elapsed, longitude, latitude)
    if unit is None:
        raise RecordingError(
            f"which unit its column '{column.header}' counts time in is not clear",
            remedy="write it in the header, for example time_s or time_ms",
        )
    if unit != "s":
        remarks.append(f"times were taken as {unit}, which fits how the positions move")
    return elapsed * TIME_S[unit]


def _usual(text: Sequence[str], pattern: str) -> bool:
    filled = [cell for cell in text if cell]
    whole = re.compile(pattern)
    return sum(1 for cell in filled if whole.fullmatch(cell)) > 0.5 * len(filled)


def _optional(
    table: _Table,
    chosen: _Chosen,
    role: str,
    drive: tuple[Floats, Floats, Floats],
    remarks: list[str],
) -> Floats | None:
    candidates = chosen.get(role, ())
    values = [_in_si_units(table, column, role, drive, remarks) for column in candidates]
    filled = [n for n, value in enumerate(values) if np.any(np.isfinite(value))]
    if not filled:
        return None
    first = values[filled[0]]
    for other in (values[n] for n in filled[1:]):
        difference = np.abs(first - other)
        both = difference[np.isfinite(difference)]
        if len(both) == 0 or float(np.median(both)) > SAME_WITHIN:
            options = ", ".join(f"'{candidates[n].header}'" for n in filled)
            raise RecordingError(
                f"{len(filled)} columns could be the {role}, and they differ: {options}",
                remedy=ask_for(role),
            )
    return first


def _in_si_units(
    table: _Table,
    column: Column,
    role: str,
    drive: tuple[Floats, Floats, Floats],
    remarks: list[str],
) -> Floats:
    text = table[column.position]
    value = _numbers(text)
    unreadable = int(np.count_nonzero(_is_unreadable(text, value)))
    if unreadable:
        what = counted(unreadable, "unreadable value")
        remarks.append(f"left out {what} of column '{column.header}'")
    if role in ("course", "hdop"):
        return value
    if role != "speed":
        return value * LENGTH_M[column.unit or "m"]
    if column.unit:
        return value * SPEED_MPS[column.unit]
    if not np.any(np.nan_to_num(value)):
        return value
    guess = guess_speed_unit(value, *drive)
    if guess is None:
        raise RecordingError(
            f"which unit its column '{column.header}' gives speed in is not clear: the header "
            "does not say, and the positions do not tell",
            remedy="write it in the header, for example 'speed (km/h)'",
        )
    unit, ratio = guess
    remarks.append(
        f"column '{column.header}' names no unit: taken as {unit}, which agrees with the "
        f"positions to {100 * abs(ratio - 1):.0f} %"
    )
    return value * SPEED_MPS[unit]
