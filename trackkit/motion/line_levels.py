"""Levels of a repeated line and of the laps about it, read from the laps themselves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from trackkit.arrays import Flags, robust_spread
from trackkit.motion.line_model import Knots, LineLevels, Sideways
from trackkit.motion.noise_levels import highest
from trackkit.motion.repeated_line import Eliminated, RepeatedLine

_WINDOW_M = 900.0
_MOST_NODES = 400
"""Levels are read from so long a part of the track, on so many nodes: more tell little more."""
_APART_M = 45.0
"""Those of deviations from nodes about so far apart.  Over less way than they are forgotten in
deviations are smoother than their model; levels that had to fit there would take them to last half
as long again as they do, and it is how long they last that parts them from a drive's error."""
_KNOT_M, _FEWEST_KNOTS, _MOST_KNOTS = 12.0, 12, 100
_SWEEPS = 2
_USUAL = LineLevels(1.0, 120.0, None)
_STEPS = {
    "deviation_m": (1.5, 0.05, 5.0, 2.0),
    "deviation_over_m": (1.6, 8.0, 300.0, 1.7),
    "repeated_m": (1.6, 0.05, 20.0, 2.5),
    "repeated_over_m": (1.6, 8.0, 200.0, 1.7),
}
"""Of each level: the step of its search, as a factor, its bounds, and how far it usually is from
the usual, as a factor (common practice, no source)."""
_OF_CHAIN = ("deviation_m", "deviation_over_m")
_FAR_SIGMAS = 5.0
_LEAST_SCALE_M = 0.35
"""Laps scatter by this much at least, one sigma, before any is taken to have left the line."""
_OFF_SIGMAS = 4.5
_MARGIN_M = 15.0


def likeliest(side: Sideways, levels: LineLevels, length_m: float, *, closed: bool) -> LineLevels:
    """Find the levels that make what is seen beside a centreline likeliest.

    They are searched one after the other, by steps and a parabola, under log-normal priors about
    the usual ones.  A part of the track whose bends face in most directions is looked at, and at
    most `_MOST_NODES` nodes there, lap after lap: for deviations nodes about `_APART_M` apart, for
    the repeated line, which may turn within less, all.

    Parameters
    ----------
    side
        The drive beside the centreline.
    levels
        To begin from; those of the drive's error stay, since smoothing has taken out of it what
        would tell them here.
    length_m, closed
        Of the centreline.

    Returns
    -------
    LineLevels
        The likeliest ones.
    """
    part, knots = _part(side, length_m, closed=closed)
    usual_m = float(np.median(np.diff(part.way_m))) if len(part.way_m) > 1 else _APART_M
    every = max(round(_APART_M / max(usual_m, 1.0)), 1)
    parts = {every: part.only(np.arange(0, len(part.way_m), every)[:_MOST_NODES])}
    parts.setdefault(1, part.only(np.arange(min(len(part.way_m), _MOST_NODES))))
    basis = {n: knots.basis(nodes.chainage_m, nodes.left) for n, nodes in parts.items()}
    eliminated: dict[tuple[float, ...], Eliminated] = {}

    def score(candidate: LineLevels, each: int) -> float:
        key = (each, *(getattr(candidate, name) for name in _OF_CHAIN))
        if key not in eliminated:
            eliminated[key] = Eliminated.of(parts[each], candidate, knots, basis=basis[each])
        doubt = 0.0
        for name, (_, _, _, factor) in _STEPS.items():
            away = np.log(getattr(candidate, name) / getattr(_USUAL, name)) / np.log(factor)
            doubt += 0.5 * float(away) ** 2
        return eliminated[key].likelihood(knots.covariance(candidate)) - doubt

    for _ in range(_SWEEPS):
        for name, (step, low, high, _) in _STEPS.items():
            each = every if name in _OF_CHAIN else 1
            levels = _searched(partial(score, each=each), levels, name, step, (low, high))
    return levels


def _searched(
    score: Callable[[LineLevels], float],
    levels: LineLevels,
    name: str,
    step: float,
    bounds: tuple[float, float],
) -> LineLevels:
    def with_level(value: float) -> LineLevels:
        return replace(levels, **{name: value})

    start = float(np.clip(getattr(levels, name), *bounds))
    return with_level(highest(lambda value: score(with_level(value)), start, step, bounds))


def _part(side: Sideways, length_m: float, *, closed: bool) -> tuple[Sideways, Knots]:
    """Cut out what levels are read from, and knots for it."""
    window = min(_WINDOW_M, length_m)
    begin = 0.0
    whole = window > 0.8 * length_m
    if whole:
        window = length_m
    else:
        begin = _bends_begin(side, length_m, window)
    ahead = (side.chainage_m - begin) % length_m
    inside = np.flatnonzero(ahead < window)
    chosen = side.only(inside)
    part = replace(chosen, chainage_m=ahead[inside])
    count = int(np.clip(window / _KNOT_M, _FEWEST_KNOTS, _MOST_KNOTS))
    around = whole and closed
    knot = np.linspace(0.0, window, count, endpoint=not around)
    order = np.argsort(part.chainage_m)
    left = np.stack(
        [np.interp(knot, part.chainage_m[order], axis) for axis in part.left[order].T], axis=1
    )
    return part, Knots(knot, left, window, around)


def _bends_begin(side: Sideways, length_m: float, window_m: float) -> float:
    """Find where a window begins in which the track faces in most directions."""
    bins = int(np.ceil(length_m / 20.0))
    place = np.minimum((side.chainage_m / length_m * bins).astype(np.intp), bins - 1)
    facing = np.zeros((bins, 3))
    east, north = side.left.T
    for column, value in enumerate((east * east, north * north, east * north)):
        facing[:, column] = np.bincount(place, value, minlength=bins)
    total = np.concatenate([[np.zeros(3)], np.cumsum(np.concatenate([facing, facing]), axis=0)])
    reach = int(window_m / length_m * bins)
    ee, nn, en = (total[reach : reach + bins] - total[:bins]).T
    least = 0.5 * (ee + nn) - np.hypot(0.5 * (ee - nn), en)
    return float(np.argmax(least) * length_m / bins)


def far_off(side: Sideways, length_m: float) -> Flags:
    """Mark nodes where a lap is far from where most laps are: an off, an overtake, the pit lane.

    Parameters
    ----------
    side
        The drive beside the centreline.
    length_m
        Of the centreline.

    Returns
    -------
    ndarray
        Shape (n,).
    """
    bins = max(int(length_m / 20.0), 4)
    place = np.minimum((side.chainage_m / length_m * bins).astype(np.intp), bins - 1)
    order = np.lexsort((side.offset_m, place))
    count = np.bincount(place, minlength=bins)
    begin = np.cumsum(count) - count
    sorted_m = side.offset_m[order]
    low = np.minimum(begin + (np.maximum(count, 1) - 1) // 2, len(order) - 1)
    high = np.minimum(begin + np.maximum(count, 1) // 2, len(order) - 1)
    away = np.abs(side.offset_m - 0.5 * (sorted_m[low] + sorted_m[high])[place])
    scale = max(float(robust_spread(away, about=0.0)), _LEAST_SCALE_M)
    return _with_margin(side, away > _FAR_SIGMAS * scale)


def off_line(line: RepeatedLine) -> Flags:
    """Mark nodes where a lap deviates from the repeated line by more than laps do."""
    most = _OFF_SIGMAS * line.levels.deviation_m
    return _with_margin(line.side, np.abs(line.deviation_m) > most)


def _with_margin(side: Sideways, off: Flags) -> Flags:
    """Mark what is close to marked nodes too."""
    if not off.any():
        return off
    way = side.way_m[off]
    after = np.searchsorted(way, side.way_m)
    behind = np.abs(side.way_m - way[np.maximum(after - 1, 0)])
    ahead = np.abs(side.way_m - way[np.minimum(after, len(way) - 1)])
    return np.asarray(np.minimum(behind, ahead) <= _MARGIN_M)


def without(side: Sideways, off: Flags) -> Sideways:
    """Let the offsets of some nodes say nothing."""
    return replace(side, sigma_m=np.where(off, np.inf, side.sigma_m))
