"""NMEA 0183 sentences as rows of a table: RMC, GGA, GNS, VTG, ZDA and GST of any talker.

Ordinary sentences of a file are read many at once by `trackkit.recordings.nmea.vectorised`; every
other one, and so everything that is damaged, is read here by pynmea2, one by one, and so are those
of a stream.  Both ways give the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date

import numpy as np
from numpy.typing import NDArray

from trackkit.recordings.nmea.table import (
    FIELDS,
    KINDS,
    NO_DAY,
    ORIGIN,
    ROW,
    Rows,
    accuracy_m,
    blank_rows,
    day_of,
)
from trackkit.recordings.units import KNOT_MPS, SPEED_MPS

Values = dict[str, float | int | bool]
"""What a sentence tells, by the names of `ROW`."""


def sentence_rows(data: bytes) -> tuple[Rows, NDArray[np.intp]]:
    """Read every sentence of a kind known here.

    Anything before a sentence's `$` on its line is passed over, as are other sentences and lines
    that are none.

    Returns
    -------
    The sentences in the file's order, and the numbers of the lines of those that are damaged:
    broken, with a wrong or missing checksum, or with fields that cannot be read.
    """
    from trackkit.recordings.nmea.vectorised import ordinary_rows

    rows, rest = ordinary_rows(data)
    others, damaged = _read_singly(data, rest)
    if len(others):
        rows = np.concatenate([rows, others])
        rows = rows[np.argsort(rows["at"], kind="stable")]
    return rows, damaged


def _read_singly(data: bytes, places: NDArray[np.intp]) -> tuple[Rows, NDArray[np.intp]]:
    """Read the sentences at places, shape (n, 3): byte of the `$`, end, and line from 1."""
    blank = dict(zip(ROW.names or (), blank_rows(1)[0].item(), strict=True))
    read, damaged = [], []
    for at, end, line in places.tolist():
        sentence = data[at + 1 : end].decode("latin-1")
        try:
            values = sentence_values(sentence)
        except ValueError:
            damaged.append(line)
            continue
        values |= {
            "at": at,
            "line": line,
            "kind": KINDS.index(sentence_kind(sentence)),
            "talker": ord(sentence[0]) << 8 | ord(sentence[1]),
        }
        read.append(tuple((blank | values).values()))
    return np.array(read, dtype=ROW), np.array(damaged, dtype=np.intp)


def sentence_kind(sentence: str) -> str:
    """Give the three letters of a sentence's kind, or "" where it is none of `KINDS`."""
    kind = sentence[2:5]
    return kind if kind in KINDS and sentence[5:6] == "," else ""


def sentence_values(sentence: str) -> Values:
    """Read one sentence of `KINDS`.

    Parameters
    ----------
    sentence
        From behind its `$` to the checksum.

    Returns
    -------
    What it tells, by the names of `ROW`; what it does not tell is left out.

    Raises
    ------
    ValueError
        It is broken, has a wrong or no checksum, or a field that cannot be read.
    """
    import pynmea2

    kind = sentence_kind(sentence)
    at = FIELDS[kind]
    try:
        fields = pynmea2.parse(sentence, check=True).data
        values = _READERS[kind](fields, at)
        if "time" in at and fields[at["time"]]:
            values["time_us"] = _time_of_day_us(fields[at["time"]])
    except (IndexError, OverflowError) as error:
        raise ValueError(sentence) from error
    return values


def _rmc(fields: list[str], at: dict[str, int]) -> Values:
    if fields[at["status"]] != "A":
        return {"no_fix": True}
    date_text = fields[at["date"]]
    return {
        **_position(fields, at),
        "speed_mps": _number(fields[at["speed_knots"]]) * KNOT_MPS,
        "course_deg": _number(fields[at["course"]]),
        "day": day_of(date_text) if date_text else NO_DAY,
    }


def _gga(fields: list[str], at: dict[str, int]) -> Values:
    if fields[at["quality"]] in ("", "0"):
        return {"no_fix": True}
    return _position_and_height(fields, at)


def _gns(fields: list[str], at: dict[str, int]) -> Values:
    # One letter for each satellite system; a talker of one system may leave the position to
    # another talker's sentence, so having none here is not yet "no fix".
    return _position_and_height(fields, at) if fields[at["modes"]].strip("N") else {}


def _position_and_height(fields: list[str], at: dict[str, int]) -> Values:
    return {
        **_position(fields, at),
        "elevation_m": _number(fields[at["height"]]),
        "hdop": _hdop(fields[at["hdop"]]),
    }


def _vtg(fields: list[str], at: dict[str, int]) -> Values:
    if len(fields) > at["mode"] and fields[at["mode"]] == "N":
        return {}
    speed_mps = _number(fields[at["speed_knots"]]) * KNOT_MPS
    if math.isnan(speed_mps):
        speed_mps = _number(fields[at["speed_kmh"]]) * SPEED_MPS["km/h"]
    return {"speed_mps": speed_mps, "course_deg": _number(fields[at["course"]])}


def _zda(fields: list[str], at: dict[str, int]) -> Values:
    if not fields[at["day"]]:
        return {}
    year, month, day = (int(fields[at[part]]) for part in ("year", "month", "day"))
    return {"day": (date(year, month, day) - ORIGIN).days}


def _gst(fields: list[str], at: dict[str, int]) -> Values:
    deviations = (_number(fields[at[name]]) for name in ("north", "east", "major", "minor"))
    return {"accuracy_m": float(accuracy_m(*deviations))}


_READERS: dict[str, Callable[[list[str], dict[str, int]], Values]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "GNS": _gns,
    "VTG": _vtg,
    "ZDA": _zda,
    "GST": _gst,
}


def _position(fields: list[str], at: dict[str, int]) -> Values:
    """Turn a position into degrees; none where latitude and longitude are empty."""
    latitude, north_south, longitude, east_west = fields[at["position"] : at["position"] + 4]
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
    return float(text) if text else math.nan


def _hdop(text: str) -> float:
    # An unreadable dilution is no reason to lose the fix, which it only weighs.
    try:
        return _number(text)
    except ValueError:
        return math.nan


def _time_of_day_us(text: str) -> int:
    """Turn hhmmss.sss into microseconds since midnight."""
    hour, minute, second = int(text[:2]), int(text[2:4]), float(text[4:])
    if not (0 <= hour < 24 and 0 <= minute < 60 and 0 <= second < 61):
        raise ValueError(text)
    return (hour * 3600 + minute * 60) * 1_000_000 + round(second * 1e6)
