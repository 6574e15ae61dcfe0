"""Fixes from NMEA 0183 sentences as they come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

_METRES_PER_KNOT_S = 1852.0 / 3600.0


def fixes_of_nmea(lines: Iterable[bytes], left_out: Counter[str]) -> Iterator[Fix]:
    """Read fixes from lines of NMEA 0183, as they come.

    RMC tells position, speed and course; as soon as one has come, GGA and GNS, which tell the
    position alone, are passed over.  Sentences without a fix give none.

    Parameters
    ----------
    lines
        Anything before a sentence's `$` is passed over, and so are lines that are none.
    left_out
        Counts what was: "damaged" or "no fix".
    """
    import pynmea2

    parse: Any = pynmea2.parse

    has_rmc = False
    for line in lines:
        at = line.find(b"$")
        if at < 0:
            continue
        text = line[at:].strip().decode("ascii", "replace")
        kind = text.partition(",")[0][3:]
        if kind not in ("RMC", "GGA", "GNS"):
            continue
        try:
            sentence = parse(text, check=True)
            fix = _fix_from(sentence, kind)
        except (pynmea2.ParseError, ValueError, TypeError, AttributeError):
            left_out["damaged"] += 1
            continue
        has_rmc |= kind == "RMC"
        if fix is None:
            left_out["no fix"] += 1
        elif kind == "RMC" or not has_rmc:
            yield fix


def _fix_from(sentence: Any, kind: str) -> Fix | None:
    if kind == "RMC":
        valid = sentence.status == "A"
    elif kind == "GGA":
        valid = int(sentence.gps_qual or 0) > 0
    else:
        valid = any(mode != "N" for mode in sentence.mode_indicator)
    if not valid or not sentence.lat or not sentence.lon:
        return None
    longitude, latitude = float(sentence.longitude), float(sentence.latitude)
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        raise ValueError("outside the Earth")
    speed = course = None
    if kind == "RMC":
        knots, course = sentence.spd_over_grnd, sentence.true_course
        speed = None if knots is None else float(knots) * _METRES_PER_KNOT_S
        course = None if course is None else float(course)
    return Fix(longitude, latitude, speed, course)


@dataclass(frozen=True)
class Fix:
    """One fix as a receiver tells it: degrees, metres a second, degrees from true north.

    What it does not tell is None or NaN.
    """

    longitude_deg: float
    latitude_deg: float
    speed_mps: float | None = None
    course_deg: float | None = None
