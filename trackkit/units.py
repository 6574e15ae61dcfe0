"""Speeds and lengths as people read them: in km/h and metres, or in mph and feet.

Files, tables for programs and JSON are in SI units whatever people read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

UnitsName = Literal["metric", "imperial"]

_NUMBER = r"[-+]?\d[\d,]*(?:\.\d+)?"
_MEASURE = re.compile(
    rf"(?<![\w.,:/])({_NUMBER})(?:( to | and | → |-)({_NUMBER}))?"
    r" (km/h|m/s²|m/s|km|metres|m)(?![\w/²³])"
)
"""A measure as sentences have it, or two with a unit for both: ``25 m``, ``from 30 to 40 m``."""
_FOOT_M = 0.3048
_MILE_M = 5280 * _FOOT_M
"""International foot and mile (international yard and pound agreement, 1959)."""


@dataclass(frozen=True)
class Units:
    """Units for people.

    Parameters
    ----------
    speed, length, long_length
        Their symbols; the last is for distances from `long_from_m` on.
    speed_per_mps, length_per_m, long_per_m
        How many of them are one metre a second, and one metre.
    long_from_m
        Metres.
    length_name
        The name of the unit of length, in the plural.
    """

    speed: str
    speed_per_mps: float
    length: str
    length_per_m: float
    long_length: str
    long_per_m: float
    long_from_m: float
    length_name: str

    def as_row(self) -> dict[str, str | float]:
        """Write what pages need of it as JSON."""
        return {
            "speed": self.speed,
            "speed_per_mps": self.speed_per_mps,
            "length": self.length,
            "length_name": self.length_name,
            "length_per_m": self.length_per_m,
            "long_length": self.long_length,
            "long_per_m": self.long_per_m,
        }

    def speed_text(self, speed_mps: float, decimals: int = 0) -> str:
        """Write a speed with its unit."""
        return f"{self.speed_figure(speed_mps, decimals)} {self.speed}"

    def speed_figure(self, speed_mps: float, decimals: int = 0) -> str:
        """Write a speed without its unit."""
        return f"{speed_mps * self.speed_per_mps:,.{decimals}f}"

    def length_text(self, length_m: float, decimals: int = 0) -> str:
        """Write a length with its unit."""
        return f"{length_m * self.length_per_m:,.{decimals}f} {self.length}"

    def length_figure(self, length_m: float, decimals: int = 0) -> str:
        """Write a length without its unit, as in a column that names it."""
        return f"{length_m * self.length_per_m:.{decimals}f}"

    def distance_text(self, distance_m: float, decimals: int = 1) -> str:
        """Write a distance that may be long, from `long_from_m` on in the long unit."""
        if distance_m < self.long_from_m:
            return self.length_text(distance_m, decimals)
        return f"{distance_m * self.long_per_m:,.2f} {self.long_length}"


UNITS: dict[UnitsName, Units] = {
    "metric": Units("km/h", 3.6, "m", 1.0, "km", 1e-3, 1_000.0, "metres"),
    "imperial": Units(
        "mph", 3600.0 / _MILE_M, "ft", 1.0 / _FOOT_M, "mi", 1.0 / _MILE_M, _MILE_M, "feet"
    ),
}

_units: ContextVar[Units] = ContextVar("units", default=UNITS["metric"])


def units() -> Units:
    """Return the units that people read now."""
    return _units.get()


@contextmanager
def shown_in(name: UnitsName) -> Iterator[None]:
    """Let people read other units inside."""
    token = _units.set(UNITS[name])
    try:
        yield
    finally:
        _units.reset(token)


def as_read(sentence: str, names: Iterable[str] = ()) -> str:
    """Write the lengths and speeds of a sentence in the units that people read now.

    What is wrong with a track or a lap is kept as text, in metres, for files and programs; this is
    for where such text is shown.  Decimals stay as many as they were.

    Parameters
    ----------
    sentence
        With measures in metres, kilometres, km/h, m/s or m/s².
    names
        What a person called something, which stays as it is: a gate may be called "50 m board".

    Returns
    -------
    str
        The same sentence where people read metres.
    """
    if units() is UNITS["metric"]:
        return sentence
    kept = sorted({name for name in names if _MEASURE.search(name)}, key=len, reverse=True)
    parts = re.split(f"({'|'.join(map(re.escape, kept))})", sentence) if kept else [sentence]
    # Between the names are the parts of even places.
    parts[::2] = [_MEASURE.sub(_measure, part) for part in parts[::2]]
    return "".join(parts)


def _measure(match: re.Match[str]) -> str:
    first, between, second, unit = match.groups()
    shown = units()
    factor, name = {
        "km/h": (shown.speed_per_mps / 3.6, shown.speed),
        "m/s²": (shown.length_per_m, f"{shown.length}/s²"),
        "m/s": (shown.length_per_m, f"{shown.length}/s"),
        "km": (1e3 * shown.long_per_m, shown.long_length),
        "metres": (shown.length_per_m, shown.length_name),
        "m": (shown.length_per_m, shown.length),
    }[unit]
    figures = _converted(first, factor)
    if between is not None:
        figures += between + _converted(second, factor)
    return f"{figures} {name}"


def _converted(figure: str, factor: float) -> str:
    sign = figure[0] if figure[0] in "+-" else ""
    digits = figure.removeprefix(sign)
    decimals = len(digits.partition(".")[2])
    return f"{sign}{factor * float(digits.replace(',', '')):,.{decimals}f}"
