"""Official passing times of day: read, and tied to the clock of a recording."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np

from trackkit.errors import TrackkitError

DAY_S = 86_400.0
ENDLESS_S = 1e11
"""No clock counts so far: seconds since 1970 will for three thousand years be fewer."""
ZONE_STEP_S = 900.0
"""Local times differ from UTC by whole quarters of an hour (common practice; the IANA zones)."""
_CLOCK = re.compile(
    r"(?:(\d{4}-\d{2}-\d{2})[T ]\s*)?(\d{1,2}):(\d{2}):(\d{2})(?:[.,](\d{1,9}))?\s*"
    r"(Z|[+-]\d{2}:?\d{2})?"
)
_SECONDS = re.compile(r"\d+(?:[.,]\d+)?")


def read_moment(text: str, scale: float = 1.0) -> tuple[float, date | None] | None:
    """Read a time of day, with or without a date, as seconds from midnight.

    Times are ``hh:mm:ss.mmm``, ISO 8601 with a date and perhaps an offset from UTC, which is
    taken off, or seconds since midnight.

    Returns
    -------
    seconds, date or None
        Seconds from the midnight of that date; None where the text is no time of day.
    """
    match = _CLOCK.fullmatch(text)
    if match is None:
        if not _SECONDS.fullmatch(text):
            return None
        seconds_of_day = float(text.replace(",", ".")) * scale
        return (seconds_of_day, None) if seconds_of_day < ENDLESS_S else None
    day, hours, minutes, seconds, decimals, zone = match.groups()
    if int(hours) > 24 or int(minutes) > 59 or int(seconds) > 60:
        return None
    total = 3600 * int(hours) + 60 * int(minutes) + float(f"{seconds}.{decimals or 0}")
    if zone and zone != "Z":
        sign = -1 if zone[0] == "-" else 1
        total -= sign * (3600 * int(zone[1:3]) + 60 * int(zone[-2:]))
    try:
        return total, None if day is None else date.fromisoformat(day)
    except ValueError:
        return None


def follow_days(
    moments: Sequence[tuple[float, date | None] | None],
) -> tuple[list[float | None], date | None]:
    """Count moments on from the first one's midnight, over midnights that follow.

    Parameters
    ----------
    moments
        From `read_moment`, in order; None where a line has none.

    Returns
    -------
    seconds, date or None
        Seconds from the midnight of the first moment, None where there is none; and the date of
        that midnight, None where the first moment has none.
    """
    first = next((moment[1] for moment in moments if moment is not None), None)
    out: list[float | None] = []
    before = None
    for moment in moments:
        if moment is None:
            out.append(None)
            continue
        seconds, day = moment
        if day is not None and first is not None:
            seconds += DAY_S * (day - first).days
        elif before is not None:
            seconds += DAY_S * round((before - seconds) / DAY_S)
        before = seconds
        out.append(seconds)
    return out, first


def lap_ends(
    numbers: Sequence[int],
    times_s: Sequence[float | None],
    passed_s: Sequence[float | None],
    within_s: float,
) -> tuple[list[float | None], str]:
    """Tell whether moments are those at which laps ended or began; return when each ended.

    Parameters
    ----------
    numbers, times_s, passed_s
        Lap number, lap time, and moment of each line.
    within_s
        How well they may be expected to agree.

    Raises
    ------
    TrackkitError
        When they agree with the lap times neither way.
    """
    ended = began = tried = 0
    for i in range(1, len(numbers)):
        here, there = passed_s[i], passed_s[i - 1]
        if here is None or there is None or numbers[i] != numbers[i - 1] + 1:
            continue
        own, before = times_s[i], times_s[i - 1]
        if own is None or before is None:
            continue
        tried += 1
        ended += abs(here - there - own) <= within_s
        began += abs(here - there - before) <= within_s
    if tried and max(ended, began) < 0.5 * tried:
        raise TrackkitError(
            f"its passing times and its lap times do not agree: of {tried} laps {ended} fit times "
            f"at which laps end and {began} times at which they begin",
            remedy="keep the laps of one driver, or leave one of the two columns out",
        )
    if began > ended:
        ends = [
            None if p is None or t is None else p + t
            for p, t in zip(passed_s, times_s, strict=True)
        ]
        return ends, "passing times are taken to be those at which laps begin, as they fit so"
    return list(passed_s), ""


def clock_difference(
    moments_s: Sequence[float], recorded_s: Sequence[float], day: date | None, start: datetime
) -> tuple[float, float]:
    """Find what to take off moments to have seconds from a recording's first fix.

    Parameters
    ----------
    moments_s
        From midnight.
    recorded_s
        The same passings, from the first fix.
    day
        Date of that midnight; None where the list has none.
    start
        Time of day of the first fix.

    Returns
    -------
    base_s, zone_s
        What to take off; and which part of it is the official clock's time zone.

    Raises
    ------
    TrackkitError
        When the list is of another day.
    """
    utc = start.astimezone(UTC) if start.tzinfo else start
    from_midnight = utc.hour * 3600.0 + utc.minute * 60.0 + utc.second + utc.microsecond * 1e-6
    ahead = float(np.median(np.asarray(moments_s) - np.asarray(recorded_s))) - from_midnight
    # Zones reach from 12 hours behind UTC to 14 ahead, which is more than a day (IANA zones): a
    # clock that could be 10 hours behind or 14 ahead is taken to be ahead, but for a list's date.
    turns = DAY_S * float(np.ceil((ahead - 14.25 * 3600.0) / DAY_S))
    if day is not None:
        turns = -DAY_S * (day - utc.date()).days
        if abs(ahead - turns) > 15 * 3600.0:
            raise TrackkitError(
                f"its passing times are of {day.isoformat()}, the recording of "
                f"{utc.date().isoformat()}",
                remedy="give the times of the day that was recorded",
            )
    zone = ZONE_STEP_S * round((ahead - turns) / ZONE_STEP_S)
    return from_midnight + turns + zone, zone
