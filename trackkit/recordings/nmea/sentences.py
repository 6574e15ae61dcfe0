"""NMEA 0183 sentences as rows of a table: RMC, GGA, GNS, VTG, ZDA and GST of any talker.

Two ways lead there.  Ordinary sentences are read many at once by `recordings.nmea.vectorised`;
every other one, and so everything that is damaged, is read here by pynmea2, one by one.  Both give
the same rows.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
from numpy.typing import NDArray

from trackkit.recordings.nmea.table import (
    KINDS,
    NO_DAY,
    NO_TIME,
    ORIGIN,
    ROW,
    Rows,
    accuracy_m,
    blank_rows,
    day_of,
)
from trackkit.recordings.nmea.vectorised import ordinary_rows
from trackkit.recordings.units import KNOT_MPS, SPEED_MPS

NAN = float("nan")
_Said = dict[str, float | int | bool]


def sentence_rows(data: bytes) -> tuple[Rows, NDArray[np.intp]]:
    """Read every sentence of a kind known here.

    Anything before a sentence's `$` on its line is passed over, as are other sentences and lines
    that are none.

    Returns
    -------
    The sentences in the file's order, and the numbers of the lines of those that are damaged:
    broken, with a wrong or missing checksum, or with fields that cannot be read.
    """
    rows, rest = ordinary_rows(data)
    others, damaged = _one_by_one(data, rest)
    if len(others):
        rows = np.concatenate([rows, others])
        rows = rows[np.argsort(rows["at"], kind="stable")]
    return rows, damaged


def _one_by_one(data: bytes, places: NDArray[np.intp]) -> tuple[Rows, NDArray[np.intp]]:
    """Read the sentences at places, shape (n, 3): byte of the `$`, end, and line from 1."""
    if len(places) == 0:
        return blank_rows(0), np.empty(0, dtype=np.intp)
    import pynmea2

    blank = dict(zip(ROW.names or (), blank_rows(1)[0].item(), strict=True))
    read, damaged = [], []
    for at, end, line in places.tolist():
        part = data[at + 1 : end].decode("latin-1")
        kind = part[2:5]
        try:
            fields = pynmea2.parse(part, check=True).data
            said = _READERS[kind](fields)
            time_us = None if kind == "VTG" else _time_of_day_us(fields[0])
        except (pynmea2.ParseError, ValueError, IndexError, OverflowError):
            damaged.append(line)
            continue
        said["at"], said["line"] = at, line
        said["kind"], said["talker"] = KINDS.index(kind), ord(part[0]) << 8 | ord(part[1])
        said["time_us"] = NO_TIME if time_us is None else time_us
        read.append(tuple((blank | said).values()))
    return np.array(read, dtype=ROW), np.array(damaged, dtype=np.intp)


def _rmc(fields: list[str]) -> _Said:
    if fields[1] != "A":
        return {"no_fix": True}
    return {
        **_position(fields[2:6]),
        "speed_mps": _number(fields[6]) * KNOT_MPS,
        "course_deg": _number(fields[7]),
        "day": day_of(fields[8]) if fields[8] else NO_DAY,
    }


def _gga(fields: list[str]) -> _Said:
    if fields[5] in ("", "0"):
        return {"no_fix": True}
    return {
        **_position(fields[1:5]),
        "elevation_m": _number(fields[8]),
        "hdop": _hdop(fields[7]),
    }


def _gns(fields: list[str]) -> _Said:
    # One letter for each satellite system; a talker of one system may leave the position to
    # another talker's sentence, so having none here is not yet "no fix".
    if not fields[5].strip("N"):
        return {}
    return {
        **_position(fields[1:5]),
        "elevation_m": _number(fields[8]),
        "hdop": _hdop(fields[7]),
    }


def _vtg(fields: list[str]) -> _Said:
    if len(fields) > 8 and fields[8] == "N":
        return {}
    speed = _number(fields[4]) * KNOT_MPS
    if speed != speed:
        speed = _number(fields[6]) * SPEED_MPS["km/h"]
    return {"speed_mps": speed, "course_deg": _number(fields[0])}


def _zda(fields: list[str]) -> _Said:
    if not fields[1]:
        return {}
    return {"day": (date(int(fields[3]), int(fields[2]), int(fields[1])) - ORIGIN).days}


def _gst(fields: list[str]) -> _Said:
    major, minor, north, east = (_number(fields[at]) for at in (2, 3, 5, 6))
    return {"accuracy_m": float(accuracy_m(north, east, major, minor))}


_READERS: dict[str, Callable[[list[str]], _Said]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "GNS": _gns,
    "VTG": _vtg,
    "ZDA": _zda,
    "GST": _gst,
}


def _position(fields: list[str]) -> _Said:
    """Turn ddmm.mmm, N or S, dddmm.mmm, E or W into degrees; NaN where all four are empty."""
    latitude, north_south, longitude, east_west = fields
    if not (latitude or longitude):
        return {}
    return {
        "latitude_deg": _degrees(latitude, north_south, "N", "S"),
        "longitude_deg": _degrees(longitude, east_west, "E", "W"),
    }


def _degrees(text: str, side: str, positive: str, negative: str) -> float:
    value = float(text)
    degrees = value // 100
    minutes = value - 100 * degrees
    if side not in (positive, negative) or not 0 <= minutes < 60:
        raise ValueError(text)
    angle = degrees + minutes / 60
    return angle if side == positive else -angle


def _number(text: str) -> float:
    return float(text) if text else NAN


def _hdop(text: str) -> float:
    # It only weighs a fix: one that cannot be read is no reason to lose the fix.
    try:
        return _number(text)
    except ValueError:
        return NAN


def _time_of_day_us(text: str) -> int | None:
    """Turn hhmmss.sss into microseconds since midnight."""
    if not text:
        return None
    hour, minute, second = int(text[:2]), int(text[2:4]), float(text[4:])
    if not (0 <= hour < 24 and 0 <= minute < 60 and 0 <= second < 61):
        raise ValueError(text)
    return (hour * 3600 + minute * 60) * 1_000_000 + round(second * 1e6)
