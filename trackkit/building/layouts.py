"""Laps of several layouts in the same recordings: which lap fits which, and which is built."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.building.find_laps import (
    SAME_WAY,
    FoundLap,
    cut,
    follows,
    most_driven,
    no_lap,
    returns,
)
from trackkit.building.fit import first_guess
from trackkit.building.path import Path
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve
from trackkit.remedies import Remedy

ASKED_WITHIN = 0.03
"""A layout is the one asked for when its lap is within this share of the length asked for."""
_NEAR_M = 15.0
_COVERED = 0.97
_ALIKE = 0.7
"""A single lap that shares so much of a layout is a lap of it that left the line."""
_SLOW = 0.8
_PARALLEL = 0.95
_LEAST_PACE = 0.4
_BIN_M = 10.0


@dataclass(frozen=True, eq=False)
class Layout:
    """Laps that follow the same line.

    Parameters
    ----------
    laps
        The laps, in order of recording and time.
    strays
        Laps of it that leave its line: an off, a visit to the pits.
    """

    laps: tuple[FoundLap, ...]
    strays: tuple[FoundLap, ...] = ()

    @property
    def length_m(self) -> float:
        """Median length of the laps, metres."""
        return float(np.median([lap.length_m for lap in self.laps]))

    @property
    def pace_mps(self) -> float:
        """Median speed of the laps as a whole, m/s."""
        return float(np.median([lap.length_m / (lap.end_s - lap.start_s) for lap in self.laps]))

    @property
    def driven(self) -> float:
        """How much it was driven: ground covered, weighed with the pace."""
        return self.pace_mps * sum(lap.length_m for lap in self.laps)


def all_laps(path: Path, name: str) -> list[FoundLap]:
    """Cut a path into laps of whatever layouts it holds.

    The most driven lap length is cut out first, then what is left, until nothing that comes back
    to itself is left.

    Parameters
    ----------
    path
        From `trackkit.building.path.path_driven`.
    name
        What to call the recording in an error.

    Raises
    ------
    NoLapError
        When the path comes back to no place it has passed.
    """
    every = returns(path)
    begin, end = every
    if len(begin) == 0:
        raise no_lap(path, name)
    taken = np.zeros(len(path.position_m) + 1, dtype=bool)
    laps: list[FoundLap] = []
    while len(begin):
        group = most_driven(path, begin, end)
        new_laps = [
            lap for lap in cut(path, begin[group], end[group], every) if not taken[lap.part].any()
        ]
        for lap in new_laps:
            taken[lap.part] = True
        laps += new_laps
        if not new_laps:
            taken[begin[group]] = True
        used = np.concatenate([[0], np.cumsum(taken)])
        free = used[end] == used[begin]
        begin, end = begin[free], end[free]
    return sorted(laps, key=lambda lap: lap.begin)


def layouts_of(laps: Sequence[FoundLap]) -> list[Layout]:
    """Sort laps into layouts, the most driven first.

    Laps belong together when one follows the line of the other
    (`trackkit.building.find_laps.follows`) and covers all of it.  A lap on its own that shares most
    of a layout's line is a lap of that layout that left it, and so are several that leave it
    slowly, for the pits.  What was driven at less than four tenths of the most driven layout's
    pace (a loop in the paddock) is none.
    """
    groups: list[tuple[Curve, list[FoundLap]]] = []
    for lap in sorted(laps, key=lambda member: _oddness(member, laps)):
        for curve, members in groups:
            if _same(curve, lap):
                members.append(lap)
                break
        else:
            groups.append((first_guess(lap, closed=True), [lap]))
    candidates = [(curve, Layout(tuple(members))) for curve, members in groups]
    candidates.sort(key=lambda pair: pair[1].driven, reverse=True)
    kept: list[tuple[Curve, Layout]] = []
    for curve, layout in candidates:
        home = next(
            (i for i, (other, _) in enumerate(kept) if _strayed(other, kept[i][1], layout)), None
        )
        if home is not None:
            other, whole = kept[home]
            kept[home] = (other, Layout(whole.laps, (*whole.strays, *layout.laps)))
        elif not kept or layout.pace_mps >= _LEAST_PACE * kept[0][1].pace_mps:
            kept.append((curve, layout))
    return [_in_order(layout, laps) for _, layout in kept]


def _in_order(layout: Layout, laps: Sequence[FoundLap]) -> Layout:
    place = {id(lap): number for number, lap in enumerate(laps)}
    return Layout(
        tuple(sorted(layout.laps, key=lambda lap: place[id(lap)])),
        tuple(sorted(layout.strays, key=lambda lap: place[id(lap)])),
    )


def _oddness(lap: FoundLap, laps: Sequence[FoundLap]) -> float:
    """Rank a lap by how few others are of its length: the usual ones come first."""
    lengths = np.array([other.length_m for other in laps])
    return float(-(np.abs(lengths / lap.length_m - 1.0) < 0.01).sum())


def _beside(curve: Curve, lap: FoundLap) -> tuple[Floats, Floats, Flags, float]:
    """Find where and how far off a line a lap is, whether it is near, and what share it covers."""
    position, ahead = lap.path.position_m[lap.part], lap.path.direction[lap.part]
    where, offset = curve.project(position, ahead)
    same_way = np.einsum("ij,ij->i", ahead, curve.direction(where)) > SAME_WAY
    near = (np.abs(offset) <= _NEAR_M) & same_way
    bins = np.zeros(int(curve.length_m / _BIN_M) + 1, dtype=bool)
    bins[(where[near] / _BIN_M).astype(np.intp)] = True
    return where, offset, near, float(bins.mean())


def share_of(curve: Curve, lap: FoundLap) -> float:
    """Return the share of a line a lap covers, or of the lap that is near it: the smaller one."""
    _, _, near, covered = _beside(curve, lap)
    return float(min(near.mean(), covered))


def _same(curve: Curve, lap: FoundLap) -> bool:
    if not 0.9 < lap.length_m / curve.length_m < 1.1:
        return False
    _, offset, near, covered = _beside(curve, lap)
    return bool(near.mean() >= _COVERED and covered >= _COVERED and follows(np.abs(offset)))


def _strayed(curve: Curve, main: Layout, layout: Layout) -> bool:
    """Whether the laps of a layout are laps of another one that left its line."""
    usual = main.laps[0]
    there, _ = curve.project(usual.path.position_m[usual.part], usual.path.direction[usual.part])
    order = np.argsort(there)
    speed = usual.path.speed_mps[usual.part][order]
    slow = []
    for lap in layout.laps:
        where, _, near, covered = _beside(curve, lap)
        if min(near.mean(), covered) < _ALIKE:
            return False
        away = ~near
        if not away.any():
            continue
        facing = np.einsum(
            "ij,ij->i", lap.path.direction[lap.part][away], curve.direction(where[away])
        )
        pace = np.interp(where[away], there[order], speed, period=curve.length_m)
        share = float(np.median(lap.path.speed_mps[lap.part][away] / np.maximum(pace, 1.0)))
        # The pit lane runs beside the track; a chicane, slow as it is, does not.
        slow.append(share if facing.mean() > _PARALLEL else 1.0)
    return len(layout.laps) == 1 or len(slow) == 0 or float(np.median(slow)) < _SLOW


def chosen(layouts: Sequence[Layout], lap_length_m: float | None) -> Layout:
    """Choose the most driven layout, or the one whose lap is nearest a length.

    Raises
    ------
    NoLapError
        When no lap is within `ASKED_WITHIN` of the length asked for.
    """
    if lap_length_m is None:
        return layouts[0]
    nearest = min(layouts, key=lambda layout: abs(layout.length_m - lap_length_m))
    if abs(nearest.length_m / lap_length_m - 1.0) > ASKED_WITHIN:
        lengths = ", ".join(f"{layout.length_m:,.0f} m" for layout in layouts)
        raise NoLapError(
            f"no lap is about {lap_length_m:,.0f} m long",
            remedy=f"ask for one of the layouts there are: {lengths}",
        )
    return nearest


def layout_remarks(
    layouts: Sequence[Layout], built: Layout, laps: Sequence[Sequence[FoundLap]], names: list[str]
) -> tuple[str, ...]:
    """Say which laps fit which layout.

    Parameters
    ----------
    layouts, built
        All of them, and the one that is built.
    laps, names
        Laps and name of each recording; laps are numbered in each from 1.
    """
    if len(layouts) < 2:
        return ()
    remarks = [f"the recordings hold laps of {len(layouts)} layouts"]
    for layout in layouts:
        mine = {id(lap) for lap in (*layout.laps, *layout.strays)}
        where = []
        for name, recording_laps in zip(names, laps, strict=True):
            numbers = [n for n, lap in enumerate(recording_laps, start=1) if id(lap) in mine]
            if numbers:
                of = f" of {name}" if len(names) > 1 else ""
                where.append(f"{_ranges(numbers)}{of}")
        use = "built" if layout is built else "not used"
        plural = "s" if len(mine) > 1 else ""
        remarks.append(
            f"{len(mine)} lap{plural} of {layout.length_m:,.0f} m (lap{plural} "
            f"{', '.join(where)}): {use}"
        )
    return tuple(remarks)


def other_layouts(layouts: Sequence[Layout], built: Layout) -> tuple[Remedy, ...]:
    """List how each layout that is not built can be."""
    return tuple(
        Remedy(
            f"build the layout of {layout.length_m:,.0f} m",
            do="build layout",
            value={"lap_length_m": round(layout.length_m)},
        )
        for layout in layouts
        if layout is not built
    )


def _ranges(numbers: list[int]) -> str:
    """Write 1, 2, 3, 5 as 1-3, 5."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)
