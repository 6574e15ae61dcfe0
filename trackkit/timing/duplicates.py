"""Recordings of the same driving: copies under other names, parts of each other, two receivers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.geometry.runs import runs_of
from trackkit.recordings.recording import Recording

_SAME_S = 0.006
_SAME_M = 0.35
"""Formats round positions to a tenth of a metre or so; receivers differ by more."""
_MOST = 0.98
_ALIKE_M = 15.0
"""So near each other all the time, two receivers were in one vehicle."""
_ALIKE_SHARE = 0.9
_LEAST_S = 30.0
"""Less in common tells nothing."""
_LEAST_MOVED_M = 100.0
_M_PER_DEGREE = 111_195.0
_GAP_S = 5.0


@dataclass(frozen=True, eq=False)
class Sketch:
    """What is kept of a recording to know it again: a fix a second.

    Parameters
    ----------
    name
        Of the recording.
    time_s
        Seconds since 1970, or since the first fix where the recording only counts seconds, shape
        (n,).
    longitude_deg, latitude_deg
        Degrees, shape (n,).
    dated
        Whether it knows the time of day.
    """

    name: str
    time_s: Floats
    longitude_deg: Floats
    latitude_deg: Floats
    dated: bool


def sketch(recording: Recording) -> Sketch:
    """Keep of a recording the first fix of each second."""
    begin = 0.0 if recording.start is None else recording.start.timestamp()
    time = begin + recording.time_s
    _, first = np.unique(np.floor(time + _SAME_S), return_index=True)
    return Sketch(
        recording.name,
        time[first],
        recording.longitude_deg[first],
        recording.latitude_deg[first],
        recording.start is not None,
    )


@dataclass(frozen=True)
class Shared:
    """Driving that two recordings both hold.

    Parameters
    ----------
    first, second
        Names of the recordings, in the order they were given.
    kind
        "same" fixes, or those of two "receivers".
    begin_s, end_s
        When, in the time of their sketches.
    whole
        Whether it is all of the second, which then tells nothing new.
    apart_m
        Median distance between the two, metres.
    """

    first: str
    second: str
    kind: Literal["same", "receivers"]
    begin_s: float
    end_s: float
    whole: bool
    apart_m: float

    @property
    def sentence(self) -> str:
        """What it is, in words."""
        span = f"{(self.end_s - self.begin_s) / 60.0:.0f} min"
        if self.kind == "receivers":
            return (
                f"{self.second} and {self.first} are recordings of one drive by two receivers, "
                f"{self.apart_m:.1f} m apart over {span}: each is timed, and what both hold is "
                "summed up once"
            )
        if self.whole:
            return (
                f"{self.second} holds nothing but fixes of {self.first}, and is not counted again"
            )
        return (
            f"{self.second} holds {span} of the fixes of {self.first} again: laps in both are "
            f"counted in {self.first}"
        )


def shared_with(earlier: Sequence[Sketch], second: Sketch) -> tuple[Shared, ...]:
    """Find what a recording has in common with those before it.

    Recordings that only count seconds are compared with their like, from the first fix on.  What is
    wholly in another is told as a copy of the first that holds it, and of no other.

    Parameters
    ----------
    earlier
        Of the recordings that were given before it.
    second
        Of the recording.
    """
    every = [shared for first in earlier for shared in _shared(first, second)]
    return next(((shared,) for shared in every if shared.whole), tuple(every))


def _shared(first: Sketch, second: Sketch) -> Iterator[Shared]:
    if first.dated != second.dated or len(first.time_s) < 2 or not _overlap(first, second):
        return
    after = np.clip(np.searchsorted(first.time_s, second.time_s), 1, len(first.time_s) - 1)
    before_is_nearer = second.time_s - first.time_s[after - 1] < first.time_s[after] - second.time_s
    nearest = after - before_is_nearer
    apart = _apart_m(
        second.latitude_deg,
        first.longitude_deg[nearest] - second.longitude_deg,
        first.latitude_deg[nearest] - second.latitude_deg,
    )
    same = (np.abs(first.time_s[nearest] - second.time_s) < _SAME_S) & (apart < _SAME_M)
    stretches = [run for run in _stretches(second.time_s, same) if same[slice(*run)].mean() > _MOST]
    whole = bool(same.mean() > _MOST) and _is_all(second.time_s, stretches)
    for low, high in stretches:
        yield Shared(
            first.name,
            second.name,
            "same",
            float(second.time_s[low]),
            float(second.time_s[high - 1]),
            whole,
            float(np.median(apart[low:high])),
        )
    if not stretches:
        yield from _two_receivers(first, second)


def _is_all(time_s: Floats, stretches: list[tuple[int, int]]) -> bool:
    """Tell whether nothing long enough to tell lies before, between or after some stretches."""
    begins = [float(time_s[low]) for low, _ in stretches] + [float(time_s[-1])]
    ends = [float(time_s[0])] + [float(time_s[high - 1]) for _, high in stretches]
    return all(begin - end < _LEAST_S for begin, end in zip(begins, ends, strict=True))


def _overlap(first: Sketch, second: Sketch) -> bool:
    apart = first.time_s[-1] < second.time_s[0] or second.time_s[-1] < first.time_s[0]
    return not apart


def _two_receivers(first: Sketch, second: Sketch) -> Iterator[Shared]:
    begin = max(first.time_s[0], second.time_s[0])
    end = min(first.time_s[-1], second.time_s[-1])
    inside = (second.time_s >= begin) & (second.time_s <= end)
    if end - begin < _LEAST_S or np.count_nonzero(inside) < _LEAST_S / 2 or not first.dated:
        return
    time = second.time_s[inside]
    longitude, latitude = second.longitude_deg[inside], second.latitude_deg[inside]
    moved = _apart_m(latitude, longitude - longitude[0], latitude - latitude[0])
    if moved.max() < _LEAST_MOVED_M:
        return
    apart = _apart_m(
        latitude,
        np.interp(time, first.time_s, first.longitude_deg) - longitude,
        np.interp(time, first.time_s, first.latitude_deg) - latitude,
    )
    if (apart < _ALIKE_M).mean() > _ALIKE_SHARE:
        median = float(np.median(apart))
        yield Shared(first.name, second.name, "receivers", float(begin), float(end), False, median)


def _apart_m(latitude_deg: Floats, east_deg: Floats, north_deg: Floats) -> Floats:
    """Distance of near places, metres, on a sphere: it only has to be told from others."""
    east = (east_deg + 180.0) % 360.0 - 180.0
    return np.asarray(_M_PER_DEGREE * np.hypot(east * np.cos(np.radians(latitude_deg)), north_deg))


def _stretches(time_s: Floats, same: Flags) -> list[tuple[int, int]]:
    """List the runs of equal fixes that are long enough to tell, over single ones that differ."""
    runs: list[tuple[int, int]] = []
    for low, high in runs_of(same):
        if runs and time_s[low] - time_s[runs[-1][1] - 1] < _GAP_S:
            runs[-1] = (runs[-1][0], high)
        else:
            runs.append((low, high))
    return [run for run in runs if time_s[run[1] - 1] - time_s[run[0]] >= _LEAST_S]
