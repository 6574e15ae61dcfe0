"""Fixes made of the columns of a table: units, hemispheres, dates, and what is left out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.errors import RecordingError
from trackkit.recordings.csv.cells import NumberCells
from trackkit.recordings.csv.columns import Column
from trackkit.recordings.csv.fix_columns import ask_for
from trackkit.recordings.csv.infer_units import guess_speed_unit, guess_time_unit
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
Chosen = Mapping[str, tuple[Column, ...]]
"""The columns that hold what a fix has, by role."""
Table = Mapping[int, Sequence[str]]
"""The columns that are needed, by their position from 0: stripped cells, "" where empty."""


def _numbers(text: Sequence[str]) -> Floats:
    if isinstance(text, NumberCells):
        return text.value
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


def fixes_of_columns(
    table: Table,
    chosen: Chosen,
    place: Indices,
    *,
    place_kind: str = "line",
    channels: Sequence[RawChannel] = (),
    remarks: Sequence[str] = (),
) -> RawFixes:
    """Make fixes of the columns of a table.

    Parameters
    ----------
    table
        Its columns.
    chosen
        Which of them hold what.
    place
        Where each row stands in the file, counted from 1, shape (n,).
    place_kind
        What that counts.
    channels
        What else the rows hold.
    remarks
        Sentences about that.

    Raises
    ------
    RecordingError
        What a column holds is ambiguous, or no row has a position and a time.  Names no file.
    """
    sentences = [*remarks]
    longitude, latitude = _positions(table, chosen, sentences)
    time = _times(table, chosen, longitude, latitude, sentences)
    seconds = _as_seconds(time)
    speed, course, elevation, accuracy, speed_accuracy, hdop = (
        _optional(table, chosen, role, (seconds, longitude, latitude), sentences)
        for role in ("speed", "course", "elevation", "accuracy", "speed_accuracy", "hdop")
    )
    readable = np.isfinite(longitude) & np.isfinite(latitude) & np.isfinite(seconds)
    lost = int(np.count_nonzero(~readable))
    if lost == len(place):
        raise RecordingError("no row has a readable position and time")
    dropped: tuple[Dropped, ...] = ()
    if lost:
        where = f"{place_kind} {place[~readable][0]:,}"
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
        place_kind=place_kind,
        dropped=dropped,
        remarks=tuple(sentences),
        speed_accuracy_mps=picked(speed_accuracy),
        channels=RawChannels(time, np.cumsum(readable) - readable, tuple(channels))
        if channels
        else None,
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


def _positions(table: Table, chosen: Chosen, remarks: list[str]) -> tuple[Floats, Floats]:
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
    # The mean of the two in the middle may be more than a float holds.
    with np.errstate(over="ignore"):
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
    table: Table,
    chosen: Chosen,
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
    table: Table,
    chosen: Chosen,
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
    table: Table,
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
    if role == "speed_accuracy":
        return value * SPEED_MPS[column.unit or "m/s"]
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
