"""Tell from a column's header what it holds and in which unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

_NO_UNIT = frozenset(
    ("", "utc", "gmt", "wgs84", "wgs 84", "gps", "gnss", "iso", "iso8601", "iso 8601", "unix", "-")
)
_IN_BRACKETS = re.compile(r"^(.*?)\s*[(\[{]\s*(.*?)\s*[)\]}]\s*(.*)$")

TIME_UNITS = {
    "s": "s|sec|secs|second|seconds",
    "ms": "ms|msec|millis|milliseconds|millisecond",
    "us": "us|µs|μs|usec|micros|microseconds",
    "ns": "ns|nsec|nanos|nanoseconds",
}
"""Keys of `trackkit.recordings.units.TIME_S`, and how headers write them."""


@dataclass(frozen=True)
class Vocabulary:
    """What the headers of a kind of table say.

    Parameters
    ----------
    names
        For every role what its columns may be called, in lower-case words.
    units
        For some roles how units may be written, and which key of `trackkit.recordings.units` each
        is.
    noise
        Words that may stand beside a name and say nothing.
    brackets_hold_units
        Whether a header is none of these where its brackets hold no unit that its role has: "lat
        (g)" is no latitude.  Otherwise such brackets are passed over.
    """

    names: Mapping[str, frozenset[str]]
    units: Mapping[str, Mapping[str, str]]
    noise: frozenset[str] = frozenset()
    brackets_hold_units: bool = True


@dataclass(frozen=True)
class Column:
    """A column that was recognised or named.

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


def any_of(words: str) -> frozenset[str]:
    """Make a set of what is written with bars between."""
    return frozenset(words.split("|"))


def unit_words(units: Mapping[str, str]) -> dict[str, str]:
    """Turn units and how they are written, with bars between, the other way round."""
    return {word: unit for unit, words in units.items() for word in words.split("|")}


def recognise_header(header: str, vocabulary: Vocabulary) -> tuple[str, str | None] | None:
    """Tell role and unit from one header, or None where it is none of the vocabulary's.

    The unit may stand in brackets ("Speed (km/h)") or at the end ("speed_kmh", "lat_e7").
    """
    base, bracketed = _split_brackets(header)
    words = _words(base, vocabulary.noise)
    plain = " ".join(words)
    for role, names in vocabulary.names.items():
        units = vocabulary.units.get(role, {})
        inside = bracketed if vocabulary.brackets_hold_units or bracketed in units else ""
        if plain in names or (not words and role == "time" and "utc" in base.lower()):
            if inside in _NO_UNIT:
                return role, _implied_unit(units, plain)
            return (role, units[inside]) if inside in units else None
        if inside in _NO_UNIT:
            for length in (1, 2, 3):
                name, ending = " ".join(words[:-length]), " ".join(words[-length:])
                if name in names and ending in units:
                    return role, units[ending]
    return None


def unit_in_header(role: str, header: str, vocabulary: Vocabulary) -> str | None:
    """Find the unit in a header that was named by the user for a role."""
    recognised = recognise_header(header, vocabulary)
    if recognised and recognised[0] == role:
        return recognised[1]
    base, bracketed = _split_brackets(header)
    units = vocabulary.units.get(role, {})
    if bracketed in units:
        return units[bracketed]
    words = _words(base, vocabulary.noise)
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


def _words(base: str, noise: frozenset[str]) -> list[str]:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", base).lower()
    words = [word for word in re.split(r"[\s_.:,;#*-]+", spaced) if word]
    words = [re.sub(r"^(?:gps|gnss)(?=[a-z])", "", word) for word in words]
    words = [word for word in words if word not in noise]
    # "utc" says the zone when it stands beside another word, and is the time when alone.
    return words if words == ["utc"] else [word for word in words if word != "utc"]


def _implied_unit(units: Mapping[str, str], plain: str) -> str | None:
    """Take the unit from a name such as "elapsed seconds"."""
    last = plain.rpartition(" ")[2]
    return units.get(last) if last in ("seconds", "milliseconds") else None
