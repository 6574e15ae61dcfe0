"""Laps found in a drive before any track is known: where it comes back to itself."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.building.path import Path
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve
from trackkit.remedies import Remedy

SHORTEST_LAP_M = 120.0
RETURN_WITHIN_M = 12.0
"""A drive has come back to a place when it passes it this close, going the same way."""
SAME_WAY = 0.6
"""Least cosine between the directions of two passages of one place (about 53 degrees)."""
LAP_LENGTHS_WITHIN = 0.04
"""Laps of one layout have lengths within this share of each other."""
_COARSE_ABOVE = 4_000
_COARSE = 3
_MOST_PLACES = 100
_NESTED_M = 40.0
_CHUNK_M = 5_000.0
_AHEAD_M = 45_000.0
"""A place's first return is looked for this far ahead first, and then everywhere."""


@dataclass(frozen=True, eq=False)
class FoundLap:
    """One lap (or one run of a point-to-point course) cut out of a path: [begin, end)."""

    path: Path
    begin: int
    end: int

    @property
    def part(self) -> slice:
        """The samples of the lap."""
        return slice(self.begin, self.end)

    @property
    def length_m(self) -> float:
        """Distance driven, metres."""
        return (self.end - self.begin) * self.path.step_m

    @property
    def start_s(self) -> float:
        """When it begins, seconds from the first fix."""
        return float(self.path.time_s[self.begin])

    @property
    def end_s(self) -> float:
        """When it ends, seconds from the first fix."""
        return float(self.path.time_s[min(self.end, len(self.path.time_s) - 1)])


def most_driven(path: Path, begin: Indices, end: Indices) -> Indices:
    """Pick the pairs whose lap lengths agree and cover most ground at the highest speed.

    Returns
    -------
    ndarray
        Indices into `begin` and `end`, by rising lap length.
    """
    length = (end - begin) * path.step_m
    lasting = np.maximum(path.time_s[end] - path.time_s[begin], 1.0)
    order = np.argsort(length, kind="stable")
    length, weight = length[order], (length / lasting)[order]
    total = np.concatenate([[0.0], np.cumsum(weight)])
    upper = np.searchsorted(length, length * (1 + LAP_LENGTHS_WITHIN), side="right")
    support = total[upper] - total[np.arange(len(length))]
    best = int(np.argmax(support))
    return order[best : int(upper[best])]


def returns(path: Path) -> tuple[Indices, Indices]:
    """Pair samples with the first later passage of the same place, at its nearest point."""
    coarse = _COARSE if len(path.position_m) > _COARSE_ABOVE else 1
    taken = np.arange(0, len(path.position_m), coarse)
    ahead = round(_AHEAD_M / (coarse * path.step_m))
    chunk = round(_CHUNK_M / (coarse * path.step_m))
    passages = [
        _first_passages(path, taken[a : a + chunk], taken[a : a + chunk + ahead])
        for a in range(0, len(taken), chunk)
    ]
    begin = np.concatenate([pair[0] for pair in passages])
    end = np.concatenate([pair[1] for pair in passages])
    if len(taken) > ahead:
        alone = np.setdiff1d(taken, begin)
        for a in range(0, len(alone), chunk):
            some = alone[a : a + chunk]
            more = _first_passages(path, some, taken[taken > some[0]])
            begin, end = np.append(begin, more[0]), np.append(end, more[1])
    order = np.argsort(begin, kind="stable")
    return _innermost(path, begin[order], end[order])


def _innermost(path: Path, begin: Indices, end: Indices) -> tuple[Indices, Indices]:
    """Keep the pairs that hold no other pair.

    A place of one layout may be passed again after laps of others: what lies between is not one
    lap.
    """
    if len(begin) == 0:
        return begin, end
    soonest = np.minimum.accumulate(end[::-1])[::-1]
    within = soonest < end - round(_NESTED_M / path.step_m)
    return begin[~within], end[~within]


def _first_passages(path: Path, of: Indices, among: Indices) -> tuple[Indices, Indices]:
    """Pair some samples with their first later passage among others."""
    from scipy.spatial import cKDTree

    pairs = cKDTree(path.position_m[of]).sparse_distance_matrix(
        cKDTree(path.position_m[among]), RETURN_WITHIN_M, output_type="ndarray"
    )
    begin, end, away = of[pairs["i"]], among[pairs["j"]], pairs["v"]
    keep = (end - begin) * path.step_m >= SHORTEST_LAP_M
    begin, end, away = begin[keep], end[keep], away[keep]
    keep = np.einsum("ij,ij->i", path.direction[begin], path.direction[end]) > SAME_WAY
    begin, end, away = begin[keep], end[keep], away[keep]
    order = np.lexsort([end, begin])
    begin, end, away = begin[order], end[order], away[order]
    firsts = np.searchsorted(begin, begin, side="left")
    passage = end <= end[firsts] + round(2 * RETURN_WITHIN_M / path.step_m)
    begin, end, away = begin[passage], end[passage], away[passage]
    order = np.lexsort([away, begin])
    begin, end = begin[order], end[order]
    nearest = np.append([True], np.diff(begin) > 0)[: len(begin)]
    return begin[nearest], end[nearest]


def cut(
    path: Path,
    begin: Indices,
    end: Indices,
    every: tuple[Indices, Indices],
) -> list[FoundLap]:
    """Cut laps where both passages lie closest, agree best and are driven straight and fast.

    Parameters
    ----------
    path
        The path.
    begin, end
        Pairs of places, a lap of one length apart.
    every
        All pairs of places, whatever their lap length (from `returns`): laps of other layouts that
        pass the place of the cut are cut as well.
    """
    direction = path.direction
    away = np.linalg.norm(path.position_m[begin] - path.position_m[end], axis=1)
    aside = 1.0 - np.einsum("ij,ij->i", direction[begin], direction[end])
    # Only what lies within the lap matters: what follows its beginning and precedes its end.
    reach = max(1, round(15.0 / path.step_m))
    after = 1.0 - np.einsum("ij,ij->i", direction[begin], direction[begin + reach])
    before = 1.0 - np.einsum("ij,ij->i", direction[end], direction[end - reach])
    speed = np.minimum(path.speed_mps[begin], path.speed_mps[end])
    slow = 1.0 - np.minimum(speed / np.median(path.speed_mps), 1.0)
    typical = float(np.median(end - begin))
    # How many whole laps a place cuts depends on where in the first and last of them it lies.
    room = (end.max() - begin.min() - (begin - begin.min()) % typical) / typical
    whole = np.floor(room + 2.0 / typical)
    lost = 1.0 - whole / max(float(whole.max()), 1.0)
    # A place that few of the laps pass, since it belongs to one layout of several, cuts few.
    rare = 1.0 - _popularity(path, begin)
    # One unit of cost: 3 m apart, 25 degrees of difference, a bend of 45 degrees in 15 m, or a
    # twelfth of the laps, or a sixth of the passages.
    cost = away / 3.0 + aside / 0.1 + (after + before) / 0.3 + 2.0 * slow + 12.0 * lost + 6.0 * rare
    best = int(np.argmin(cost))
    here = int(begin[best])
    passages = _passages(path, path.position_m[here], direction[here])
    bounds = list(pairwise(passages.tolist()))
    laps = [
        FoundLap(path, a, b)
        for a, b in bounds
        if abs((b - a) / typical - 1.0) <= LAP_LENGTHS_WITHIN
    ]
    # Of any length, it is one lap where no place inside it is passed twice.
    soonest = np.minimum.accumulate(every[1][::-1])[::-1]
    nested = round(_NESTED_M / path.step_m)
    usual_bounds = {(lap.begin, lap.end) for lap in laps}
    for a, b in bounds:
        first = int(np.searchsorted(every[0], a))
        whole = first < len(soonest) and soonest[first] >= b - nested
        if whole and (a, b) not in usual_bounds and (b - a) * path.step_m >= SHORTEST_LAP_M:
            laps.append(FoundLap(path, a, b))
    return laps or [FoundLap(path, here, int(end[best]))]


def _popularity(path: Path, place: Indices) -> Floats:
    """Count how often the path passes each place, as a share of the most often passed one."""
    from scipy.spatial import cKDTree

    few = place[:: max(1, len(place) // _MOST_PLACES)]
    with_heading = np.hstack([path.position_m, RETURN_WITHIN_M * path.direction])
    near = np.asarray(
        cKDTree(with_heading).query_ball_point(
            with_heading[few], RETURN_WITHIN_M, return_length=True
        )
    )
    order = np.argsort(few, kind="stable")
    return np.asarray(np.interp(place, few[order], near[order] / near.max()))


def _passages(path: Path, place_m: Floats, direction: Floats) -> Indices:
    """Find the samples at which the path passes a place the given way."""
    away = path.position_m - place_m
    along = away @ direction
    aside = np.abs(away[:, 0] * direction[1] - away[:, 1] * direction[0])
    passes = (along[:-1] < 0) & (along[1:] >= 0) & (aside[1:] <= RETURN_WITHIN_M)
    passes &= path.direction[1:] @ direction > SAME_WAY
    # The place itself is a sample of the path, at which rounding may hide the change of sign.
    samples = set((np.flatnonzero(passes) + 1).tolist())
    samples.add(int(np.argmin(np.linalg.norm(away, axis=1))))
    ordered = np.array(sorted(samples), dtype=np.intp)
    apart = np.concatenate([[True], np.diff(ordered) * path.step_m > 0.5 * SHORTEST_LAP_M])
    return np.asarray(ordered[apart])


def no_lap(path: Path, name: str) -> NoLapError:
    """Say that a path passes no place twice."""
    start, end = path.position_m[0], path.position_m[-1]
    apart = float(np.linalg.norm(end - start))
    driven = (len(path.position_m) - 1) * path.step_m
    return NoLapError(
        f"holds no whole lap: its end lies {apart:,.0f} m from its start after {driven:,.0f} m, "
        f"and it passes no place twice the same way",
        file=name,
        remedy=Remedy(
            "record at least one whole lap and drive on a little past the place where it began, or "
            "build a course from one point to another",
            do="build open",
        ),
    )


def find_runs(path: Path, name: str) -> list[FoundLap]:
    """Find the runs of a point-to-point course.

    The path is cut at stops.  Stretches that begin and end within 50 m of each other are runs of
    one course; the course that covers most ground at the highest speed is taken, so that the way
    back between two runs is not.

    Raises
    ------
    NoLapError
        When the longest stretch is shorter than `SHORTEST_LAP_M`.
    """
    edges = [int(np.searchsorted(path.time_s, when)) for when, _ in path.stops]
    edges = sorted({0, len(path.time_s), *edges})
    stretches = [FoundLap(path, a, b) for a, b in pairwise(edges) if b > a]
    longest = max(stretches, key=lambda lap: lap.length_m)
    if longest.length_m < SHORTEST_LAP_M:
        raise NoLapError(
            f"its longest stretch without a stop is {longest.length_m:,.0f} m",
            file=name,
            remedy=f"record the whole course, {SHORTEST_LAP_M:.0f} m or more",
        )
    long_enough = [lap for lap in stretches if lap.length_m >= SHORTEST_LAP_M]
    ends = path.position_m[[(lap.begin, lap.end - 1) for lap in long_enough]]
    apart = np.linalg.norm(ends[:, None] - ends, axis=-1).max(axis=-1)
    weight = [lap.length_m**2 / max(lap.end_s - lap.start_s, 1.0) for lap in long_enough]
    course = apart[int(np.argmax((apart <= 50.0) @ np.array(weight)))] <= 50.0
    return [lap for lap, runs_it in zip(long_enough, course, strict=True) if runs_it]


def follows(away_m: Floats) -> bool:
    """Whether a lap follows a line, by its distances from it.

    It does within 15 m everywhere and within 8 m for 95 % of the way.
    """
    return bool(away_m.max() <= 15.0 and np.quantile(away_m, 0.95) <= 8.0)


def _away(lap: FoundLap, curve: Curve) -> Floats:
    # Every second sample, 6 m apart, misses no excursion.
    part = slice(lap.begin, lap.end, 2)
    _, offset = curve.project(lap.path.position_m[part], lap.path.direction[part])
    return np.abs(offset)


def sort_out(
    laps: list[FoundLap], curve: Curve
) -> tuple[list[FoundLap], list[tuple[FoundLap, str]]]:
    """Part the laps that follow a line from those that leave it.

    Returns
    -------
    kept, rejected
        Laps that follow the line (`follows`); and each of the others with a sentence.
    """
    kept, rejected = [], []
    for lap in laps:
        away = _away(lap, curve)
        if follows(away):
            kept.append(lap)
        else:
            reason = (
                f"the lap at {lap.start_s:,.0f} s leaves the line by {away.max():.0f} m "
                "and was not used"
            )
            rejected.append((lap, reason))
    return kept, rejected
