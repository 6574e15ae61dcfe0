"""Delimited text (CSV): delimiter, header and units recognised, the table read by pandas."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from trackkit.errors import RecordingError
from trackkit.geodesy import Floats
from trackkit.readers.columns import UNIT_WORDS, Column
from trackkit.readers.fixes import Dropped, RawFixes, Times, counted, some_or_none
from trackkit.readers.layout import COMMENT, Layout, cells_of, choose_columns, find_layout
from trackkit.readers.sniffing import decode
from trackkit.readers.speeds import guess_speed_unit, guess_time_unit
from trackkit.readers.times import read_times
from trackkit.readers.units import ANGLE_DEG, LENGTH_M, SPEED_MPS, TIME_S

if TYPE_CHECKING:
    import pandas as pd

DEGREES_AT_MOST = 1e4
"""Positions usually above this are 1e-7 degrees; what lies between 180 and this is neither."""

SAME_WITHIN = 0.5
"""Columns that could be one and the same differ usually by less than this, in SI units."""

_HEMISPHERE = r"^([NSEWnsew])?\s*([-+]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew])?$"
_Chosen = Mapping[str, tuple[Column, ...]]


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
    lines = decode(data).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    layout = find_layout(lines, columns, path)
    chosen: _Chosen = choose_columns(layout, columns, path)
    kept = [
        (number, line)
        for number, line in enumerate(lines[layout.first_row :], start=layout.first_row + 1)
        if line.strip() and not COMMENT.match(line)
    ]
    if kept and (units := _units_row(cells_of(kept[0][1], layout.delimiter), chosen)):
        kept, chosen = kept[1:], units
    if not kept:
        raise RecordingError("has a header but no row below it", file=path)
    _refuse_split_decimals(kept[0], layout, path)
    table = _table([line for _, line in kept], layout.delimiter, chosen, path)
    try:
        return _fixes(table, chosen, [number for number, _ in kept])
    except RecordingError as error:
        # The questions about columns and dates are asked where the file's name is not known.
        raise type(error)(error.what, file=path, place=error.place, remedy=error.remedy) from error


def _units_row(cells: Sequence[str], chosen: _Chosen) -> _Chosen | None:
    """Take the units from a row of units below the header, if it is one."""

    def unit(role: str, column: Column) -> str | None:
        cell = cells[column.position] if column.position < len(cells) else ""
        return UNIT_WORDS.get(role, {}).get(cell.strip(" ()[]").lower())

    if not all(unit(role, chosen[role][0]) for role in ("latitude", "longitude")):
        return None
    return {
        role: tuple(replace(c, unit=c.unit or unit(role, c)) for c in candidates)
        for role, candidates in chosen.items()
    }


def _refuse_split_decimals(
    first: tuple[int, str], layout: Layout, path: str | os.PathLike[str]
) -> None:
    extra = cells_of(first[1], layout.delimiter)[len(layout.header) :]
    if layout.header and any(extra):
        raise RecordingError(
            f"has {counted(len(layout.header), 'column')} in the header but "
            f"{len(layout.header) + len(extra)} in this row",
            file=path,
            place=f"line {first[0]}",
            remedy="if decimals are written with commas, separate columns with semicolons",
        )


def _table(
    lines: list[str], delimiter: str, chosen: _Chosen, path: str | os.PathLike[str]
) -> pd.DataFrame:
    """Read the columns needed as text, numbered from 0."""
    needed = sorted({column.position for columns in chosen.values() for column in columns})
    table = _rows(lines, delimiter, needed, csv.QUOTE_MINIMAL)
    if table is None or len(table) != len(lines):
        # A stray quotation mark must not swallow the lines up to the next one.
        table = _rows(lines, delimiter, needed, csv.QUOTE_NONE)
    if table is None or len(table) != len(lines):
        raise RecordingError("its rows cannot be told apart", file=path)
    for position in needed:
        table[position] = table[position].fillna("").str.strip(' "')
    if delimiter != ",":
        angles = [c.position for role in ("latitude", "longitude") for c in chosen[role]]
        if any(table[p].str.fullmatch(r"[-+]?\d+,\d+").any() for p in angles):
            for position in needed:
                table[position] = table[position].str.replace(",", ".", regex=False)
    return table


def _rows(
    lines: list[str], delimiter: str, needed: list[int], quoting: Literal[0, 3]
) -> pd.DataFrame | None:
    """Split lines with pandas; None where its parser finds no end of a quotation."""
    import pandas as pd

    quoted = quoting == csv.QUOTE_MINIMAL

    def cell_count(line: str) -> int:
        return (
            len(cells_of(line, delimiter)) if quoted and '"' in line else line.count(delimiter) + 1
        )

    # Rows may be longer than the header (a trailing delimiter) or shorter (cut off): neither
    # may shift or stop the others.
    width = max(needed[-1] + 1, *map(cell_count, lines))
    try:
        return pd.read_csv(
            io.StringIO("\n".join(lines)),
            sep=delimiter,
            header=None,
            names=list(range(width)),
            usecols=needed,
            index_col=False,
            dtype=str,
            na_filter=False,
            skipinitialspace=True,
            skip_blank_lines=False,
            quoting=quoting,
        )
    except (pd.errors.ParserError, ValueError):
        return None


def _numbers(text: pd.Series[str]) -> Floats:
    import pandas as pd

    return np.array(pd.to_numeric(text, errors="coerce"), dtype=float)


def _fixes(table: pd.DataFrame, chosen: _Chosen, numbers: list[int]) -> RawFixes:
    remarks: list[str] = []
    longitude, latitude = _positions(table, chosen, remarks)
    time = _times(table, chosen, longitude, latitude, remarks)
    seconds = _as_seconds(time)
    speed, course, elevation, accuracy = (
        _optional(table, chosen, role, (seconds, longitude, latitude), remarks)
        for role in ("speed", "course", "elevation", "accuracy")
    )
    place = np.array(numbers, dtype=np.intp)
    readable = np.isfinite(longitude) & np.isfinite(latitude) & np.isfinite(seconds)
    lost = int(np.count_nonzero(~readable))
    if lost == len(table):
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
        place=place[readable],
        dropped=dropped,
        remarks=tuple(remarks),
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


def _positions(table: pd.DataFrame, chosen: _Chosen, remarks: list[str]) -> tuple[Floats, Floats]:
    angles = {}
    for role, side in (("latitude", "north or south"), ("longitude", "east or west")):
        column = chosen[role][0]
        text = table[column.position]
        value = _numbers(text)
        if np.any(np.isnan(value) & (text != "").to_numpy()):
            value = _with_hemisphere(text, value)
        if len(chosen.get(side, ())) == 1:
            letter = table[chosen[side][0].position].str.upper().str[:1]
            value = np.where(letter.isin(["S", "W"]).to_numpy(), -np.abs(value), value)
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
        example = table[chosen["latitude"][0].position].iloc[0]
        raise RecordingError(
            f"its latitudes, such as '{example}', are neither degrees nor 1e-7 degrees",
            remedy="write positions in decimal degrees, WGS 84",
        )
    return longitude, latitude


def _with_hemisphere(text: pd.Series[str], value: Floats) -> Floats:
    """Read angles with a letter for the hemisphere, such as "48.117 N"."""
    parts = text.str.extract(_HEMISPHERE)
    letter = parts[0].fillna(parts[2]).fillna("").str.upper()
    angle = _numbers(parts[1])
    angle = np.where(letter.isin(["S", "W"]).to_numpy(), -np.abs(angle), angle)
    return np.where(np.isnan(value), angle, value)


def _times(
    table: pd.DataFrame,
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
        dates = table[chosen["date"][0].position].tolist()
    read = read_times(text.tolist(), _numbers(text), column.unit, dates)
    remarks.extend(read.remarks)
    if not np.any(np.isfinite(_as_seconds(read.value))):
        example = next((cell for cell in text if cell), "")
        raise RecordingError(
            f"its column '{column.header}' holds nothing readable as a time, "
            + (f"only such as '{example}'" if example else "it is empty"),
            remedy="name the right column with --columns time=NAME",
        )
    if read.unit_known:
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


def _usual(text: pd.Series[str], pattern: str) -> bool:
    filled = text[text != ""]
    return bool(len(filled)) and float(filled.str.fullmatch(pattern).mean()) > 0.5


def _optional(
    table: pd.DataFrame,
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
                remedy=f"say which with --columns {role}=NAME",
            )
    return first


def _in_si_units(
    table: pd.DataFrame,
    column: Column,
    role: str,
    drive: tuple[Floats, Floats, Floats],
    remarks: list[str],
) -> Floats:
    text = table[column.position]
    value = _numbers(text)
    unreadable = int(np.count_nonzero(np.isnan(value) & (text != "").to_numpy()))
    if unreadable:
        what = counted(unreadable, "unreadable value")
        remarks.append(f"left out {what} of column '{column.header}'")
    if role == "course":
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
