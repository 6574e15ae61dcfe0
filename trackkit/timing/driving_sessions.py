"""Sessions: a recording parted where its vehicle stands for long or fixes are missing for long."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.runs import runs_of
from trackkit.timing.rules import GAP_S, STAND_S

STILL_MPS = 1.0
"""Slower than this, on average over `_WINDOW_S`, a vehicle stands."""
_WINDOW_S = 3.0
"""A receiver's wander and noise move a standing vehicle by much less than 3 m in this time."""
_PAUSE_S = 5.0
_PAUSE_M = 10.0
"""A vehicle that moves for less than both has stood all the while."""
_STAND_BESIDE_GAP_S = 30.0
"""A shorter stand before or after a gap is no reason of its own."""
_DRIVEN_M = 100.0
"""What never leaves this circle between two stands is pushing about in the paddock."""

Ending = Literal["stood", "gap", "recording"]


@dataclass(frozen=True)
class DrivingSession:
    """Driving in one go.

    Parameters
    ----------
    number
        From 1, in order of time.
    begin_s, end_s
        When the vehicle, or the recording, began to move and when it ceased to, seconds from the
        first fix.
    ending
        Why it ended: the vehicle stood for long, fixes were missing for long, or the recording was
        over.
    for_s
        For how long it stood, or fixes were missing, together, seconds; None at the end of the
        recording.
    without_s
        For how much of that fixes were missing, seconds.
    """

    number: int
    begin_s: float
    end_s: float
    ending: Ending
    for_s: float | None = None
    without_s: float = 0.0

    @property
    def sentence(self) -> str:
        """Why it ended, in words."""
        if self.ending == "recording" or self.for_s is None:
            return "ended with the recording"
        stood_s = self.for_s - self.without_s
        stood = f"the vehicle stood for {span_text(stood_s)}"
        without = f"there were no fixes for {span_text(self.without_s)}"
        if not self.without_s:
            return f"ended because {stood}"
        both = stood_s >= _STAND_BESIDE_GAP_S
        return f"ended because {stood} and {without}" if both else f"ended because {without}"


def span_text(span_s: float) -> str:
    """Write a length of time in words that suit it: 48 s, 12 min, 3 h 5 min."""
    if span_s < 120.0:
        return f"{span_s:.0f} s"
    minutes = round(span_s / 60.0)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"


def standing_spells(time_s: Floats, position_m: Floats, speed_mps: Floats) -> Floats:
    """Find when a vehicle stands.

    What counts is how far it gets in three seconds: speeds made of positions are too rough.

    Parameters
    ----------
    time_s
        Shape (n,), seconds, increasing.
    position_m
        Shape (n, 2), metres.
    speed_mps
        Shape (n,); tells, to the fix, when a spell begins and ends.

    Returns
    -------
    ndarray
        Begin and end of each spell, seconds, shape (k, 2).
    """
    if len(time_s) < 2:
        return np.empty((0, 2))
    before = np.maximum(time_s - 0.5 * _WINDOW_S, time_s[0])
    after = np.minimum(time_s + 0.5 * _WINDOW_S, time_s[-1])
    apart = np.hypot(
        *(
            np.interp(after, time_s, position_m[:, axis])
            - np.interp(before, time_s, position_m[:, axis])
            for axis in (0, 1)
        )
    )
    spells: list[list[float]] = []
    last_fix = 0
    for first, last in runs_of(apart < STILL_MPS * (after - before)):
        low, high = np.searchsorted(time_s, [before[first], after[last - 1]], side="left")
        slow = low + np.flatnonzero(speed_mps[low : high + 1] < STILL_MPS)
        begin, end = (first, last - 1) if len(slow) == 0 else (slow[0], slow[-1])
        if spells and _paused(time_s, position_m, last_fix, begin):
            spells[-1][1] = max(float(time_s[end]), spells[-1][1])
        else:
            spells.append([float(time_s[begin]), float(time_s[end])])
        last_fix = int(end)
    return np.array(spells).reshape(-1, 2)


def _paused(time_s: Floats, position_m: Floats, before: int, after: int) -> bool:
    short = time_s[after] - time_s[before] < _PAUSE_S
    return bool(short and np.linalg.norm(position_m[after] - position_m[before]) < _PAUSE_M)


def driving_sessions(
    time_s: Floats,
    position_m: Floats,
    spells_s: Floats,
    *,
    stand_s: float = STAND_S,
    gap_s: float = GAP_S,
) -> tuple[DrivingSession, ...]:
    """Part a recording into sessions.

    Parameters
    ----------
    time_s
        Of its fixes, shape (n,), seconds.
    position_m
        Shape (n, 2), metres.
    spells_s
        When the vehicle stood, from `standing_spells`.
    stand_s, gap_s
        A session ends where it stands, or fixes are missing, for so long, seconds.

    Returns
    -------
    tuple of DrivingSession
        At least one where there is a fix.  Between two ends, pushing about within 100 m is none.
    """
    sessions: list[DrivingSession] = []
    begin_s = float(time_s[0])
    for cut_begin_s, cut_end_s, without_s in _cuts(time_s, spells_s, stand_s, gap_s):
        if _is_driven(time_s, position_m, begin_s, cut_begin_s):
            span_s = cut_end_s - cut_begin_s
            number = len(sessions) + 1
            ending: Ending = "gap" if without_s else "stood"
            sessions.append(DrivingSession(number, begin_s, cut_begin_s, ending, span_s, without_s))
        begin_s = cut_end_s
    last_s = float(time_s[-1])
    if not sessions or _is_driven(time_s, position_m, begin_s, last_s):
        sessions.append(DrivingSession(len(sessions) + 1, begin_s, last_s, "recording"))
    return tuple(sessions)


def _cuts(
    time_s: Floats, spells_s: Floats, stand_s: float, gap_s: float
) -> Iterator[tuple[float, float, float]]:
    """List begin and end of what parts sessions, and how much of it fixes are missing.

    A gap within a stand is one with it.
    """
    stands = spells_s[spells_s[:, 1] - spells_s[:, 0] >= stand_s]
    before = np.flatnonzero(np.diff(time_s) >= gap_s)
    gaps = np.column_stack([time_s[before], time_s[before + 1]])
    every = [
        *((begin_s, end_s, 0.0) for begin_s, end_s in stands.tolist()),
        *((begin_s, end_s, end_s - begin_s) for begin_s, end_s in gaps.tolist()),
    ]
    joined: list[tuple[float, float, float]] = []
    for begin_s, end_s, without_s in sorted(every):
        if joined and begin_s <= joined[-1][1]:
            last_begin_s, last_end_s, last_without_s = joined[-1]
            joined[-1] = (last_begin_s, max(end_s, last_end_s), last_without_s + without_s)
        else:
            joined.append((begin_s, end_s, without_s))
    yield from joined


def _is_driven(time_s: Floats, position_m: Floats, begin_s: float, end_s: float) -> bool:
    low, high = np.searchsorted(time_s, [begin_s, end_s], side="left")
    part = position_m[low : high + 1]
    return len(part) > 1 and float(np.linalg.norm(part - part[0], axis=1).max()) > _DRIVEN_M
