"""Speeds and lengths as people read them: in km/h and metres, or in mph and feet.

Files, tables for programs and JSON are in SI units whatever people read.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

UnitsName = Literal["metric", "imperial"]

_FOOT_M = 0.3048
_MILE_M = 5280 * _FOOT_M
"""International foot and mile (international yard and pound agreement, 1959)."""


@dataclass(frozen=True)
class Units:
    """Units for people.

    Parameters
    ----------
    speed, length, long_length
        Their names; the last is for distances from `long_from_m` on.
    speed_per_mps, length_per_m, long_per_m
        How many of them are one metre a second, and one metre.
    long_from_m
        Metres.
    """

    speed: str
    speed_per_mps: float
    length: str
    length_per_m: float
    long_length: str
    long_per_m: float
    long_from_m: float

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
    "metric": Units("km/h", 3.6, "m", 1.0, "km", 1e-3, 1_000.0),
    "imperial": Units("mph", 3600.0 / _MILE_M, "ft", 1.0 / _FOOT_M, "mi", 1.0 / _MILE_M, _MILE_M),
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
