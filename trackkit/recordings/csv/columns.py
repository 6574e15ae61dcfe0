"""Tell from a column's header what it holds and in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass


def _any_of(words: str) -> frozenset[str]:
    return frozenset(words.split("|"))


ROLES: dict[str, frozenset[str]] = {
    "time": _any_of(
        "time|timestamp|time stamp|utc|utctime|datetime|date time|epoch|epoch time|unix|unixtime|"
        "unix time|unix timestamp|posix time|elapsed|elapsed time|elapsed seconds|seconds|"
        "milliseconds|t|recorded at"
    ),
    "date": frozenset({"date", "utcdate"}),
    "latitude": frozenset({"lat", "latitude", "latit"}),
    "longitude": frozenset({"lon", "lng", "long", "longitude"}),
    "speed": _any_of(
        "speed|velocity|sog|speed over ground|ground speed|groundspeed|gspeed|g speed|spd|speed 2d"
    ),
    "course": _any_of(
        "course|cog|course over ground|heading|bearing|true course|heading of motion|head mot|"
        "track angle|direction|azimuth|hdg"
    ),
    "elevation": _any_of(
        "elevation|ele|elev|altitude|alt|height|hmsl|h msl|height msl|altitude msl|msl"
    ),
    "accuracy": _any_of(
        "accuracy|hacc|h acc|horizontal accuracy|horizontal acc|position accuracy|eph"
    ),
    "hdop": frozenset({"hdop", "h dop", "horizontal dilution of precision", "horizontal dop"}),
    "north or south": frozenset({"n/s", "ns", "lat dir", "latitude direction", "lat hemisphere"}),
    "east or west": frozenset({"e/w", "ew", "lon dir", "longitude direction", "lon hemisphere"}),
}

_ANGLES = {
    "deg": "deg|degree|degrees|°|dd|decimal degrees|decimal",
    "1e-7 deg": "e7|1e7|1e-7|1e-07|1e-7 deg|1e-7deg|1e-7 degrees|deg e7|deg*1e7|deg e-7|10^-7 deg|"
    "1e-7°|°e-7",
}
_LENGTHS = {
    "m": "m|meter|metre|meters|metres",
    "mm": "mm",
    "cm": "cm",
    "ft": "ft|feet|foot",
}
_UNITS: dict[str, dict[str, str]] = {
    "time": {
        "s": "s|sec|secs|second|seconds",
        "ms": "ms|msec|millis|milliseconds|millisecond",
        "us": "us|µs|μs|usec|micros|microseconds",
        "ns": "ns|nsec|nanos|nanoseconds",
    },
    "latitude": _ANGLES,
    "longitude": _ANGLES,
    "speed": {
        "m/s": "m/s|mps|ms|m s|m/sec|m.s-1|m s-1|ms-1|meters/second|metres/second|m per s",
        "km/h": "km/h|kmh|kph|kmph|km h|km/hr|kmh-1",
        "mph": "mph|mi/h|miles/h|mi h",
        "knots": "kn|kt|kts|knot|knots",
        "mm/s": "mm/s|mm s",
    },
    "course": {"deg": "deg|degree|degrees|°|deg true|true"},
    "elevation": _LENGTHS,
    "accuracy": _LENGTHS,
    "hdop": {},
}
UNIT_WORDS: dict[str, dict[str, str]] = {
    role: {word: unit for unit, words in units.items() for word in words.split("|")}
    for role, units in _UNITS.items()
}
"""For every role, what its units may be written as."""

_NOISE = frozenset({"gps", "gnss", "wgs84", "wgs", "84", "pos", "position"})
_NO_UNIT = frozenset(
    ("", "utc", "gmt", "wgs84", "wgs 84", "gps", "gnss", "iso", "iso8601", "iso 8601", "unix", "-")
)
_IN_BRACKETS = re.compile(r"^(.*?)\s*[(\[{]\s*(.*?)\s*[)\]}]\s*(.*)$")


@dataclass(frozen=True)
class Column:
    """A column whose header was recognised.

    Parameters
    ----------
    position
        Counted from 0.
    header
        As the file writes it.
    unit
        A key of the tables in `trackkit.recordings.units`, or None where the header names none.
    """

    position: int
    header: str
    unit: str | None = None


def recognise_header(header: str) -> tuple[str, str | None] | None:
    """Tell role and unit from one header, or None where it is none of ours.

    The unit may stand in brackets ("Speed (km/h)") or at the end ("speed_kmh", "lat_e7").
    A header in brackets with a unit its role does not have, such as "lat (g)", is none of ours.
    """
    base, bracketed = _split_brackets(header)
    words = _words(base)
    plain = " ".join(words)
    for role, names in ROLES.items():
        units = UNIT_WORDS.get(role, {})
        if plain in names or (not words and role == "time" and "utc" in base.lower()):
            if bracketed in _NO_UNIT:
                return role, _implied_unit(role, plain)
            return (role, units[bracketed]) if bracketed in units else None
        if bracketed in _NO_UNIT:
            for length in (1, 2, 3):
                name, ending = " ".join(words[:-length]), " ".join(words[-length:])
                if name in names and ending in units:
                    return role, units[ending]
    return None


def unit_in_header(role: str, header: str) -> str | None:
    """Find the unit in a header that was named by the user for a role."""
    recognised = recognise_header(header)
    if recognised and recognised[0] == role:
        return recognised[1]
    base, bracketed = _split_brackets(header)
    units = UNIT_WORDS[role]
    if bracketed in units:
        return units[bracketed]
    words = _words(base)
    for length in (2, 1):
        ending = " ".join(words[-length:])
        if len(words) > length and ending in units:
            return units[ending]
    return None


def _split_brackets(header: str) -> tuple[str, str]:
    match = _IN_BRACKETS.match(header)
    if not match:
        return header, ""
    return f"{match[1]} {match[3]}".strip(), match[2].strip().lower()


def _words(base: str) -> list[str]:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", base).lower()
    words = [word for word in re.split(r"[\s_.:,;#*-]+", spaced) if word]
    words = [re.sub(r"^(?:gps|gnss)(?=[a-z])", "", word) for word in words]
    words = [word for word in words if word not in _NOISE]
    # "utc" says the zone when it stands beside another word, and is the time when alone.
    return words if words == ["utc"] else [word for word in words if word != "utc"]


def _implied_unit(role: str, plain: str) -> str | None:
    if role != "time":
        return None
    if plain.endswith("milliseconds"):
        return "ms"
    return "s" if plain.endswith("seconds") else None
