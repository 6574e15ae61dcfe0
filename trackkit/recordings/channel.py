"""Channels: what a recording holds besides its fixes, such as engine speed, at its own times."""

from __future__ import annotations

import math
import reprlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.errors import RecordingError

NUMBERS_SHARE = 0.5
"""What a file holds is a channel where at least this share of it is numbers."""


@dataclass(frozen=True, eq=False)
class Channel:
    """What one sensor measured while a recording was made; no time of a lap depends on it.

    Parameters
    ----------
    name
        As the file calls it.
    unit
        As the file writes it, or None where it names none.
    time_s
        When each value was measured, seconds from the recording's first fix, shape (n,), strictly
        increasing.
    value
        In that unit, shape (n,); NaN where the file has something that is no number.

    Raises
    ------
    RecordingError
        When times and values are not as many, times do not increase, or a value is infinite.

    Examples
    --------
    >>> import trackkit
    >>> revs = trackkit.Channel("revs", "1/min", [0.0, 0.5, 1.0], [6000, 7200, 8100])
    >>> revs.title, len(revs)
    ('revs [1/min]', 3)
    """

    name: str
    unit: str | None
    time_s: Floats
    value: Floats

    def __post_init__(self) -> None:
        for label in ("time_s", "value"):
            object.__setattr__(self, label, np.asarray(getattr(self, label), dtype=float))
        what = f"its channel {reprlib.repr(self.name)}"
        if self.time_s.ndim != 1 or self.time_s.shape != self.value.shape:
            raise RecordingError(f"{what} has not one value a time")
        if not (np.isfinite(self.time_s).all() and np.all(np.diff(self.time_s) > 0)):
            raise RecordingError(f"{what} has times that do not increase")
        if np.isinf(self.value).any():
            raise RecordingError(f"{what} has a value that is infinite", remedy="write NaN for it")

    def __len__(self) -> int:
        return len(self.time_s)

    def __repr__(self) -> str:
        count = f"{len(self):,} value{'' if len(self) == 1 else 's'}"
        return f"Channel({reprlib.repr(self.title)}, {count})"

    @property
    def title(self) -> str:
        """Name and unit, as in ``water temp [°C]``."""
        return channel_title(self.name, self.unit)


def channel_title(name: str, unit: str | None) -> str:
    """Write the name of a channel with its unit, as headers of tables have it."""
    return name if unit is None else f"{name} [{unit}]"


def number_of(text: str) -> float | None:
    """Read the text of a value; None where it is no number, NaN where it says so or is infinite."""
    # float() takes "1_000" for a number; files do not write numbers so.
    if "_" in text:
        return None
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else math.nan


def is_of_numbers(readable: int, value: ArrayLike) -> bool:
    """Whether enough of what a column or an element holds is numbers, and one at least finite.

    Parameters
    ----------
    readable
        How many values are numbers, NaN among them.
    value
        All of them, shape (n,), NaN where there is no number.
    """
    values = np.asarray(value, dtype=float)
    return bool(readable >= NUMBERS_SHARE * len(values) and np.isfinite(values).any())


def distinct_names(names: Iterable[str]) -> list[str]:
    """Put numbers behind names that come again: "temp", "temp 2"."""
    distinct: list[str] = []
    for name in names:
        tried, number = name, 1
        while tried in distinct:
            number += 1
            tried = f"{name} {number}"
        distinct.append(tried)
    return distinct
