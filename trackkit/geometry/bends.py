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
_WIDE_WINDOW_M = 50.0
_SLOW = 0.25
"""Share of a wide bend's mean curvature below which a stretch is no part of it."""
_NOTHING_M = 1e-6
_BEGUN_DEG = 0.5
"""A wide bend begins and ends where this much of its turn is still to come, or left."""
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
    `LEAST_TURN_DEG` in all is none.  Where the heading between corners changes by more than that,
    however wide the radius, the stretch from its least to its greatest is a corner too, or several
    with straights between them.  What lies between corners is straight.

    Returns
    -------
    bends, straights
        Each in order of chainage.
    """
    chainage = curve.chainages(min(1.0, curve.length_m / 400))
    step = float(chainage[1] - chainage[0])
    bend = smoothed_curvature(curve, chainage)
    wide = _averaged(bend, round(0.5 * _WIDE_WINDOW_M / step), closed=curve.closed)
    hand = np.where(np.abs(bend) > 1.0 / CORNER_RADIUS_M, np.sign(bend), 0.0).astype(np.intp)
    shift = _seam(hand, wide) if curve.closed else 0
    hand, bend, wide = np.roll(hand, -shift), np.roll(bend, -shift), np.roll(wide, -shift)
    turning_runs = sorted((*run, side) for side in (1, -1) for run in runs_of(hand == side))
    within = round(JOIN_WITHIN_M / step)
    heading = np.degrees(np.concatenate([[0.0], np.cumsum(bend) * step]))
    tight = [
        (begin, end, side)
        for begin, end, side in _joined(turning_runs, bend, within)
        if abs(heading[end] - heading[begin]) >= LEAST_TURN_DEG
    ]
    bend, wide = np.tile(bend, 2), np.tile(wide, 2)
    stretches = _with_wide(tight, heading, wide * step, within, closed=curve.closed)
    bends = []
    for begin, end, side in stretches:
        turned = float(np.degrees(bend[begin:end].sum() * step))
        tightness = bend[begin:end] * side
        if tightness.max() < 1.0 / CORNER_RADIUS_M:
            tightness = _within_wide(tightness, step)
        apex = _tightest(tightness)
        bends.append(
            Bend(
                entry_m=float(curve.wrap((begin + shift) * step)),
                apex_m=float(curve.wrap((begin + apex + shift) * step)),
                exit_m=float(curve.wrap((end + shift) * step)),
                turn="left" if side > 0 else "right",
                turned_deg=abs(turned),
                min_radius_m=float(1.0 / max(abs(tightness[apex]), 1e-9)),
            )
        )
    bends.sort(key=lambda b: b.apex_m)
    return bends, _between(curve, bends)


def _within_wide(tightness: Floats, step: float) -> Floats:
    """Average the curvature of a wide bend over 50 m of it: over 8 m, noise says where its apex is.

    Where it runs into a corner, it is that corner which is tight.
    """
    reach = min(round(0.5 * _WIDE_WINDOW_M / step), (len(tightness) - 1) // 4)
    edge = min(round(_CURVATURE_WINDOW_M / step), reach)
    inside = tightness[edge : len(tightness) - edge]
    share = np.full(2 * reach + 1, 1.0 / (2 * reach + 1))
    mean = np.convolve(np.pad(inside, reach, mode="reflect"), share, mode="valid")
    return np.pad(mean, edge, mode="edge")


def _tightest(bend: Floats) -> int:
    """Index of the middle of the stretch that is as tight as the tightest place."""
    peak = int(np.argmax(bend))
    slacker = np.flatnonzero(bend < _AS_TIGHT * bend[peak])
    after = int(np.searchsorted(slacker, peak))
    first = int(slacker[after - 1]) + 1 if after else 0
    last = int(slacker[after]) - 1 if after < len(slacker) else len(bend) - 1
    return (first + last) // 2


def _averaged(values: Floats, reach: int, *, closed: bool) -> Floats:
    padded = np.pad(values, reach, mode="wrap" if closed else "edge")
    return np.convolve(padded, np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), mode="valid")


def _with_wide(
    tight: list[tuple[int, int, int]],
    heading_deg: Floats,
    wide: Floats,
    within: int,
    *,
    closed: bool,
) -> list[tuple[int, int, int]]:
    """Add the wide bends between corners, as (begin, end, hand); ends may lie beyond a lap."""
    count = len(heading_deg) - 1
    turn = heading_deg[-1]
    round_again = np.concatenate([heading_deg[:-1], heading_deg + turn])
    if closed and tight:
        # Begun behind a corner, no straight is cut.
        begins = [end for _, end, _ in tight]
        ends = [begin for begin, _, _ in tight[1:]] + [tight[0][0] + count]
    else:
        begins = [0, *(end for _, end, _ in tight)]
        ends = [*(begin for begin, _, _ in tight), count]
    stretches = list(tight)
    for begin, end in zip(begins, ends, strict=True):
        stretches += _swings(round_again, wide, begin, end, within)
    return sorted((b % count, b % count + e - b, side) for b, e, side in stretches)


def _swings(
    heading_deg: Floats, wide: Floats, begin: int, end: int, within: int
) -> list[tuple[int, int, int]]:
    """Find wide bends in a stretch, until its heading stays within `LEAST_TURN_DEG` between."""
    heading = heading_deg[begin : end + 1]
    if end <= begin or np.ptp(heading) <= LEAST_TURN_DEG:
        return []
    low, high = sorted((int(np.argmin(heading)), int(np.argmax(heading))))
    low, high = low + begin, high + begin
    turned = heading_deg[high] - heading_deg[low]
    side = 1 if turned > 0 else -1
    # A straight between two bends of one hand turns more slowly than they do.
    turns = side * wide[low:high] > _SLOW * abs(np.radians(turned)) / (high - low)
    runs = [(low + first, low + last) for first, last in runs_of(np.asarray(turns))]
    runs = [
        run for run in runs if side * (heading_deg[run[1]] - heading_deg[run[0]]) > LEAST_TURN_DEG
    ]
    stretches, after = [], begin
    for first, last in runs or [(low, high)]:
        first, last = _begun(side * heading_deg, first, last)
        first = after if first - after < within else first
        last = end if end - last < within else last
        stretches += [*_swings(heading_deg, wide, after, first, within), (first, last, side)]
        after = last
    return [*stretches, *_swings(heading_deg, wide, after, end, within)]


def _begun(turned_deg: Floats, begin: int, end: int) -> tuple[int, int]:
    """Leave out what of a bend does not turn yet, or no longer does."""
    done = turned_deg[begin : end + 1] - turned_deg[begin]
    first = int(np.flatnonzero(done <= _BEGUN_DEG)[-1])
    last = int(np.flatnonzero(done >= done[-1] - _BEGUN_DEG)[0])
    return begin + first, begin + max(last, first + 1)


def _seam(hand: Indices, wide: Floats) -> int:
    """Index at which to cut a closed line open so that no corner is cut: where it is straightest.

    Without a straight it is where one hand follows the other, and 0 where there is but one hand.
    """
    if not hand.all():
        return int(np.argmin(np.where(hand == 0, np.abs(wide), np.inf)))
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
    return [s for s in straights if 0 < s.length_m < curve.length_m - _NOTHING_M]
