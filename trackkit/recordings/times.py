"""Times as text: ISO 8601, dates as people write them, seconds since 1970, elapsed time."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import RecordingError
from trackkit.recordings.raw import Times
from trackkit.recordings.units import TIME_S

EPOCH_FROM_S = 6.3e8
EPOCH_UNTIL_S = 4.2e9
"""Seconds since 1970 that can be a recording's: the years 1990 to 2103."""

_CLOCK = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?|(\d{1,3}):(\d{2}[.,]\d+)")
_COMPACT_CLOCK = re.compile(r"([01]\d|2[0-3])([0-5]\d)([0-5]\d(?:\.\d*)?)")
_ZONE = re.compile(r"(?:Z|[+-]\d{2}(?::?\d{2})?|UTC|GMT)$", re.IGNORECASE)
_DATE = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})")
_COMPACT_DATE = re.compile(r"\d{6}|\d{8}")
_ORDINARY = re.compile(
    r"(?:[12]\d{3}-\d\d-\d\d[T ](?:[01]\d|2[0-3]):\d\d:\d\d(?:\.\d{1,6})?Z?\n)+", re.ASCII
)
_CELLS_AT_ONCE = 20_000
"""A pattern that repeats remembers where each repeat began."""
TAKEN_AS_UTC = "times without a zone were taken as UTC"


@dataclass(frozen=True, eq=False)
class ReadTimes:
    """Times read from text.

    Parameters
    ----------
    value
        UTC as datetime64[ns] or seconds from some start as float64; NaT or NaN where unreadable.
    has_unit
        False where elapsed numbers have no unit, and are given as if they were seconds.
    remarks
        Sentences about what was assumed.
    """

    value: Times
    has_unit: bool = True
    remarks: tuple[str, ...] = ()


def read_times(
    text: Sequence[str], number: Floats, unit: str | None, dates: Sequence[str] | None = None
) -> ReadTimes:
    """Make times of a column of text.

    Parameters
    ----------
    text
        The cells, stripped, "" where empty.
    number
        The same cells as numbers, NaN where they are none.
    unit
        "s", "ms", "us" or "ns" where the column says so.
    dates
        The cells of a date column that goes with it.

    Raises
    ------
    RecordingError
        Dates can be read as day first or month first.
    """
    filled = sum(1 for cell in text if cell)
    numeric = int(np.count_nonzero(np.isfinite(number)))
    if unit is None and filled and _mostly_compact_clock(text, number, filled, dates is not None):
        clock = np.array([_compact_clock_s(cell) for cell in text])
        return _dated(clock, dates)
    if numeric > 0.5 * filled:
        # Beside a date these may count from midnight or from the start; durations are the same.
        return _from_numbers(number, unit)
    clock = np.array([_clock_s(cell) for cell in text])
    if dates is not None or np.count_nonzero(np.isfinite(clock)) > 0.5 * filled:
        return _dated(clock, dates)
    return _from_text(text)


def ordinary_times(text: Sequence[str]) -> ReadTimes | None:
    """Read a column in which every cell is as "2024-05-01T10:00:00.040Z", Z or fraction or not.

    This is the form most files have, and numpy reads it ten times as fast as one by one.

    Returns
    -------
    What `read_times` gives, or None where a cell has any other form or is no moment.
    """
    values, zoned = [], 0
    cells = iter(text)
    while part := list(islice(cells, _CELLS_AT_ONCE)):
        joined = "\n".join(part) + "\n"
        if not _ORDINARY.fullmatch(joined):
            return None
        zoneless = joined.replace("Z", "").splitlines()
        if len(zoneless) != len(part):
            return None
        try:
            values.append(nanoseconds(np.array(zoneless, dtype="datetime64[us]")))
        except ValueError:
            return None
        zoned += joined.count("Z")
    if not values:
        return None
    return ReadTimes(np.concatenate(values), remarks=() if zoned == len(text) else (TAKEN_AS_UTC,))


def read_moments(text: Sequence[str]) -> ReadTimes:
    """Read the moments that XML's formats write, as ISO 8601; NaT where a text is none."""
    return ordinary_times(text) or _from_text(text)


def _from_numbers(number: Floats, unit: str | None) -> ReadTimes:
    usual = float(np.median(np.abs(number[np.isfinite(number)])))
    for candidate in [unit] if unit else ["s", "ms", "us", "ns"]:
        scale = TIME_S[candidate]
        if EPOCH_FROM_S <= usual * scale <= EPOCH_UNTIL_S:
            value = np.full(len(number), "NaT", dtype="datetime64[ns]")
            # Beyond the year 2262 nanoseconds since 1970 do not fit in 64 bits.
            there = np.abs(np.nan_to_num(number, nan=np.inf)) * scale < 9.2e9
            microseconds = np.round(number[there] * (scale * 1e6)).astype(np.int64)
            value[there] = microseconds.astype("datetime64[us]").astype("datetime64[ns]")
            return ReadTimes(value)
    return ReadTimes(number * (TIME_S[unit] if unit else 1.0), has_unit=unit is not None)


def _mostly_compact_clock(text: Sequence[str], number: Floats, filled: int, has_date: bool) -> bool:
    """Tell hhmmss.sss, as NMEA writes it, from a count of seconds."""
    matching = sum(1 for cell in text if _COMPACT_CLOCK.fullmatch(cell))
    if matching < 0.9 * filled:
        return False
    # Six figures that never have 60 to 99 in the place of seconds or minutes are a clock's; over
    # less than a minute that could be chance, so that a date or a leading 0 is needed as well.
    finite = number[np.isfinite(number)]
    return has_date or any(cell.startswith("0") for cell in text) or float(np.ptp(finite)) >= 60.0


def _compact_clock_s(cell: str) -> float:
    match = _COMPACT_CLOCK.fullmatch(cell)
    if not match:
        return float("nan")
    return int(match[1]) * 3600 + int(match[2]) * 60 + float(match[3])


def _clock_s(cell: str) -> float:
    match = _CLOCK.fullmatch(cell)
    if match is None:
        compact = _COMPACT_CLOCK.fullmatch(cell)
        return float("nan") if compact is None else _compact_clock_s(cell)
    if match[4]:
        return int(match[4]) * 60 + float(match[5].replace(",", "."))
    return int(match[1]) * 3600 + int(match[2]) * 60 + float((match[3] or "0").replace(",", "."))


def _dated(clock_s: Floats, dates: Sequence[str] | None) -> ReadTimes:
    """Put a date to times of day, or count them on across midnights."""
    if dates is None:
        there = np.isfinite(clock_s)
        step = np.diff(clock_s[there], prepend=clock_s[there][:1])
        day = np.cumsum((step < -43_200.0).astype(int) - (step > 43_200.0))
        seconds = clock_s.copy()
        seconds[there] += 86_400.0 * day
        return ReadTimes(seconds)
    days = _dates(dates)
    value = np.full(len(clock_s), "NaT", dtype="datetime64[ns]")
    there = np.isfinite(clock_s)
    microseconds = np.round(clock_s[there] * 1e6).astype("timedelta64[us]")
    value[there] = nanoseconds(days[there].astype("datetime64[us]") + microseconds)
    return ReadTimes(value, remarks=(TAKEN_AS_UTC,))


def _from_text(text: Iterable[str]) -> ReadTimes:
    text = list(text)
    value = np.full(len(text), "NaT", dtype="datetime64[us]")
    no_zone = False
    others: list[int] = []
    for i, cell in enumerate(text):
        if not cell:
            continue
        moment = iso_moment(cell)
        if moment is None:
            others.append(i)
            continue
        no_zone = no_zone or moment.tzinfo is None
        value[i] = np.datetime64(in_utc(moment), "us")
    if others:
        split = [re.split(r"[T ]+", _ZONE.sub("", text[i]).strip(), maxsplit=1) for i in others]
        halves = [part if len(part) == 2 else ["", ""] for part in split]
        dated = _dated(
            np.array([_clock_s(half[1].strip()) for half in halves]), [half[0] for half in halves]
        )
        zoned = [bool(_ZONE.search(text[i])) for i in others]
        for i, moment_us, has_zone in zip(others, dated.value, zoned, strict=True):
            # A numeric zone would have to be subtracted; only UTC can simply be left off.
            if has_zone and not text[i].upper().endswith(("Z", "UTC", "GMT")):
                continue
            value[i] = moment_us.astype("datetime64[us]")
            no_zone = no_zone or not (has_zone or np.isnat(moment_us))
    return ReadTimes(nanoseconds(value), remarks=(TAKEN_AS_UTC,) if no_zone else ())


def nanoseconds(
    value: np.ndarray[tuple[int], np.dtype[np.datetime64]],
) -> np.ndarray[tuple[int], np.dtype[np.datetime64]]:
    """Turn moments in microseconds into nanoseconds; NaT where 64 bits do not hold them.

    They hold the years 1678 to 2261 whole; beyond, numpy would wrap around without a word.
    """
    with np.errstate(invalid="ignore"):
        held = (value >= np.datetime64("1678-01-01")) & (value < np.datetime64("2262-01-01"))
    return np.where(held, value, np.datetime64("NaT", "us")).astype("datetime64[ns]")


def in_utc(moment: datetime) -> datetime | None:
    """Leave off a moment's zone; None where the moment in UTC is in no calendar.

    Midnight at the beginning of year 1 east of Greenwich is in no year that there is.
    """
    if moment.tzinfo is None:
        return moment
    try:
        return moment.astimezone(UTC).replace(tzinfo=None)
    except (OverflowError, ValueError):
        return None


def iso_moment(cell: str) -> datetime | None:
    """Read one ISO 8601 moment; None where it is none."""
    try:
        return datetime.fromisoformat(cell)
    except ValueError:
        pass
    bare = re.sub(r"\s*(?:UTC|GMT)$", "+00:00", cell, flags=re.IGNORECASE).replace(" +", "+")
    try:
        return datetime.fromisoformat(bare) if bare != cell else None
    except ValueError:
        return None


def _dates(text: Sequence[str]) -> np.ndarray[tuple[int], np.dtype[np.datetime64]]:
    matches = {cell: _DATE.fullmatch(cell) for cell in set(text)}
    slashed = [m for m in matches.values() if m and len(m[1]) < 4 and m[2] in "/-"]
    day_first = any(int(m[1]) > 12 for m in slashed)
    month_first = any(int(m[3]) > 12 for m in slashed)
    if slashed and day_first == month_first:
        raise RecordingError(
            f"its dates, such as {slashed[0][0]}, can be read day first or month first",
            remedy="write them as year-month-day",
        )
    days = {cell: _day(cell, match, month_first) for cell, match in matches.items()}
    return np.array([days[cell] for cell in text], dtype="datetime64[D]")


def _day(cell: str, match: re.Match[str] | None, month_first: bool) -> np.datetime64:
    try:
        if match is None:
            if not _COMPACT_DATE.fullmatch(cell):
                return np.datetime64("NaT", "D")
            # Eight figures are ISO 8601's basic form; six are NMEA's ddmmyy.
            form = "%Y%m%d" if len(cell) == 8 else "%d%m%y"
            return np.datetime64(datetime.strptime(cell, form).replace(tzinfo=UTC).date(), "D")
        first, second, third = int(match[1]), int(match[3]), int(match[4])
        if len(match[1]) == 4:
            year, month, day = first, second, third
        elif month_first and match[2] != ".":
            year, month, day = third, first, second
        else:
            year, month, day = third, second, first
        year += 2000 if year < 70 else 1900 if year < 100 else 0
        return np.datetime64(datetime(year, month, day, tzinfo=UTC).date(), "D")
    except ValueError:
        return np.datetime64("NaT", "D")
