"""Corners and straights, read from the curvature of the line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.geometry.curve import Curve
from trackkit.geometry.runs import runs_of

CORNER_RADIUS_M = 200.0
"""The line is in a corner where its radius is smaller than this."""
LEAST_TURN_DEG = 20.0
"""A bend that turns less in all counts as part of a straight."""
WORTH_TELLING_M = 20.0
"""Straights shorter than this are not listed for people."""
JOIN_WITHIN_M = 15.0
"""Bends of the same hand closer together than this are one corner."""
NEVER_STRAIGHT_RADIUS_M = 400.0
"""Bends of the same hand between which the radius stays under this are one corner too: a long
corner near the limit of `CORNER_RADIUS_M` is not split where noise takes it over the limit."""
_CURVATURE_WINDOW_M = 8.0
_AS_TIGHT = 0.95
"""Share of the largest curvature from which a place counts as equally tight."""


@dataclass(frozen=True)
class Bend:
    """A stretch of line that turns one way: where it begins, is tightest, and ends (metres).

    Where it is equally tight for a while, as on an arc of a circle, the apex is in the middle.
    """

    entry_m: float
    apex_m: float
    exit_m: float
    turn: Literal["left", "right"]
    turned_deg: float
    min_radius_m: float


@dataclass(frozen=True)
class Straight:
    """A stretch of line between corners; it may run across the datum of a closed line."""

    start_m: float
    length_m: float

    def as_row(self) -> dict[str, float]:
        """Return the straight as JSON; to a centimetre."""
        return {"start_m": round(self.start_m, 2), "length_m": round(self.length_m, 2)}


def smoothed_curvature(curve: Curve, chainage_m: Floats) -> Floats:
    """Curvature, 1/m, averaged over 8 m of line; `chainage_m` is evenly spaced along all of it.

    The average of the curvature over a stretch is the heading turned in it over its length, which
    is what a corner of that length or longer is to a driver; vertex noise averages out.
    """
    half = 0.5 * _CURVATURE_WINDOW_M
    low, high = chainage_m - half, chainage_m + half
    if not curve.closed:
        low, high = curve.wrap(low), curve.wrap(high)
    before, after = curve.direction(low), curve.direction(high)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = np.einsum("ij,ij->i", before, after)
    return np.asarray(np.arctan2(cross, dot) / (high - low))


def find_bends(curve: Curve) -> tuple[list[Bend], list[Straight]]:
    """Find corners and straights.

    The rule: a corner is a stretch whose smoothed radius stays under `CORNER_RADIUS_M`; stretches
    of the same hand less than `JOIN_WITHIN_M` apart, or between which the radius stays under
    `NEVER_STRAIGHT_RADIUS_M`, are one; a stretch that turns by less than
    `LEAST_TURN_DEG` in all is none.  What lies between corners is straight.

    Returns
    -------
    bends, straights
        Each in order of chainage.
    """
    chainage = curve.chainages(min(1.0, curve.length_m / 400))
    step = float(chainage[1] - chainage[0])
    bend = smoothed_curvature(curve, chainage)
    hand = np.where(np.abs(bend) > 1.0 / CORNER_RADIUS_M, np.sign(bend), 0.0).astype(np.intp)
    shift = _seam(hand) if curve.closed else 0
    hand, bend = np.roll(hand, -shift), np.roll(bend, -shift)
    turning_runs = sorted((*run, side) for side in (1, -1) for run in runs_of(hand == side))
    stretches = _joined(turning_runs, bend, round(JOIN_WITHIN_M / step))
    bends = []
    for begin, end, side in stretches:
        turned = float(np.degrees(bend[begin:end].sum() * step))
        if abs(turned) < LEAST_TURN_DEG:
            continue
        apex = begin + _tightest(bend[begin:end] * side)
        bends.append(
            Bend(
                entry_m=float(curve.wrap((begin + shift) * step)),
                apex_m=float(curve.wrap((apex + shift) * step)),
                exit_m=float(curve.wrap((end + shift) * step)),
                turn="left" if side > 0 else "right",
                turned_deg=abs(turned),
                min_radius_m=float(1.0 / max(abs(bend[apex]), 1e-9)),
            )
        )
    bends.sort(key=lambda b: b.apex_m)
    return bends, _between(curve, bends)


def _tightest(bend: Floats) -> int:
    """Index of the middle of the stretch that is as tight as the tightest place."""
    peak = int(np.argmax(bend))
    slacker = np.flatnonzero(bend < _AS_TIGHT * bend[peak])
    after = int(np.searchsorted(slacker, peak))
    first = int(slacker[after - 1]) + 1 if after else 0
    last = int(slacker[after]) - 1 if after < len(slacker) else len(bend) - 1
    return (first + last) // 2


def _seam(hand: Indices) -> int:
    """Index at which to cut a closed line open so that no corner is cut: in its longest straight.

    Without a straight it is where one hand follows the other, and 0 where there is but one hand.
    """
    turning = np.flatnonzero(hand)
    if len(turning) == 0:
        return 0
    gap = np.diff(turning, append=turning[0] + len(hand))
    if gap.max() > 1:
        return int(turning[np.argmax(gap)] + 1) % len(hand)
    return int(np.argmax(hand != np.roll(hand, 1)))


def _joined(
    runs: list[tuple[int, int, int]], bend: Floats, within: int
) -> list[tuple[int, int, int]]:
    """Join runs of one hand, as (begin, end, hand), that are one corner."""
    joined: list[tuple[int, int, int]] = []
    for begin, end, side in runs:
        between = bend[joined[-1][1] : begin] if joined else bend[:0]
        close = len(between) < within or bool(np.all(side * between > 1 / NEVER_STRAIGHT_RADIUS_M))
        if joined and joined[-1][2] == side and close:
            joined[-1] = (joined[-1][0], end, side)
        else:
            joined.append((begin, end, side))
    return joined


def _between(curve: Curve, bends: list[Bend]) -> list[Straight]:
    if not bends:
        return [Straight(0.0, curve.length_m)]
    straights = []
    for here, following in zip(bends, [*bends[1:], bends[0]], strict=True):
        length = float(curve.along(here.exit_m, following.entry_m))
        if curve.closed or following is not bends[0]:
            straights.append(Straight(here.exit_m, max(length, 0.0)))
    if not curve.closed:
        straights.insert(0, Straight(0.0, bends[0].entry_m))
        straights.append(Straight(bends[-1].exit_m, curve.length_m - bends[-1].exit_m))
    return [s for s in straights if 0 < s.length_m < curve.length_m]
