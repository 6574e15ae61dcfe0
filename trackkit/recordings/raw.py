"""The fixes as the file holds them, before any is removed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats
from trackkit.remedies import Remedy

AS_A_LINE = Remedy("build from it as a drawn line", do="build from line")
"""What to do with positions that have no times."""
Times: TypeAlias = NDArray[np.datetime64] | Floats
"""UTC as datetime64[ns] with NaT, or seconds from some start as float64 with NaN."""

COLUMNS = (
    "speed_mps",
    "course_deg",
    "elevation_m",
    "accuracy_m",
    "speed_accuracy_mps",
    "hdop",
)
"""What a fix may have besides a time and a position."""

Reason = Literal[
    "no fix",
    "unreadable row",
    "bad position",
    "position at 0, 0",
    "no time",
    "duplicate time",
    "time going backwards",
    "repeated position",
    "jump",
]
"""Why fixes are removed, in this order: the first two by readers, the others by `clean`.
docs/methods.md has the rules."""


@dataclass(frozen=True)
class Dropped:
    """Fixes that were removed for one reason.

    Parameters
    ----------
    reason
        The plain key under which they are counted.
    count
        How many fixes.
    words
        The same for the one-line remark, for example "2 duplicate times".
    """

    reason: Reason
    count: int
    words: str


@dataclass(frozen=True, eq=False)
class RawChannel:
    """A column of numbers that are nothing of a fix.

    Parameters
    ----------
    name, unit
        As in `Channel`; no two of a file have the same name.
    row
        The rows that have something in it, shape (k,), counted from 0, increasing.
    value
        What they have, shape (k,), NaN where it is no number.
    """

    name: str
    unit: str | None
    row: NDArray[np.intp]
    value: Floats


@dataclass(frozen=True, eq=False)
class RawChannels:
    """The channels of a file; a row may have values and no position.

    Parameters
    ----------
    time
        Of each row in the file's order, shape (m,), as the times of `RawFixes`.
    fixes_before
        How many of the fixes stand before each row, shape (m,); of a row that is a fix, its index.
    columns
        The channels.
    """

    time: Times
    fixes_before: NDArray[np.intp]
    columns: tuple[RawChannel, ...]


@dataclass(frozen=True, eq=False)
class RawFixes:
    """The fixes of a file in the file's order, before any is removed.

    Parameters
    ----------
    time
        Times, shape (n,): UTC as datetime64[ns] (NaT where missing) or seconds from a start as
        float64 (NaN where missing).
    longitude_deg, latitude_deg
        WGS 84 positions, degrees, shape (n,), NaN where missing.
    speed_mps, course_deg, elevation_m, accuracy_m, speed_accuracy_mps, hdop
        As in `Recording`: shape (n,) with NaN where missing, or None.
    segment
        Number of the stretch each fix belongs to, shape (n,), non-decreasing; None for one stretch.
    place
        Where in the file each fix stands, shape (n,), counted from 1.
    place_kind
        What `place` counts, for example "line" or "track point".
    dropped
        What the reader itself already had to leave out.
    remarks
        Sentences about what looked odd.
    accuracy_of
        As in `Recording`.
    channels
        What the file holds besides, or None.
    """

    time: Times
    longitude_deg: Floats
    latitude_deg: Floats
    speed_mps: Floats | None = None
    course_deg: Floats | None = None
    elevation_m: Floats | None = None
    accuracy_m: Floats | None = None
    hdop: Floats | None = None
    segment: NDArray[np.intp] | None = None
    place: NDArray[np.intp] | None = None
    place_kind: str = "line"
    dropped: tuple[Dropped, ...] = ()
    remarks: tuple[str, ...] = ()
    accuracy_of: Literal["radius", "axis"] = "radius"
    speed_accuracy_mps: Floats | None = None
    channels: RawChannels | None = None

    def __len__(self) -> int:
        return len(self.time)

    def picked(self, index: NDArray[np.intp]) -> RawFixes:
        """Take some of the fixes, in another order, as one stretch."""
        taken: dict[str, Any] = {}
        for name in (*COLUMNS, "place"):
            column = getattr(self, name)
            taken[name] = None if column is None else column[index]
        return replace(
            self,
            time=self.time[index],
            longitude_deg=self.longitude_deg[index],
            latitude_deg=self.latitude_deg[index],
            segment=None,
            **taken,
        )

    def with_remarks(self, remarks: Iterable[str]) -> RawFixes:
        """Say more about the same fixes."""
        return replace(self, remarks=(*self.remarks, *remarks))


def some_or_none(column: Floats) -> Floats | None:
    """Turn a column in which no fix has a value into None."""
    return column if bool(np.any(np.isfinite(column))) else None


def single_line(error: BaseException) -> str:
    """Give a library's message on one line, to stand inside a sentence of trackkit's."""
    return " ".join(str(error).split())


def counted(count: int, singular: str, plural: str | None = None) -> str:
    """Write a count with its noun: "1 jump", "5,120 fixes"."""
    return f"{count:,} {singular if count == 1 else plural or singular + 's'}"
