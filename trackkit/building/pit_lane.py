"""The pit lane: where laps leave the line, run slowly beside it and join it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.fit import FittedLine
from trackkit.building.path import Path
from trackkit.gates.placement import PIT_GATE_HALF_M, pit_gate_half_m, with_gate
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.runs import runs_of
from trackkit.geometry.smoothing import smoothed_curve
from trackkit.motion.noise import RECEIVER_ACCURACY_M
from trackkit.track.features import GateKind, PitLane
from trackkit.track.model import Track, new_id
from trackkit.track.places import Place

OFF_LINE_M = 4.0
"""A car has left the line when it is this far from it, or runs another way."""
SHORTEST_M, FARTHEST_M = 80.0, 80.0
"""How long a pit lane is at least, and how far from the line at most."""
SLOW_SHARE = 0.75
"""In the pit lane cars go at this share of the speed they pass it at, or slower."""
STEADY_SHARE = 0.5
_BACK_ON_M = 1.0
_REACH_M = 80.0
_SAME_LANE_M = 6.0
_PARALLEL = 0.8


@dataclass(frozen=True, eq=False)
class FoundPitLane:
    """A pit lane on the plane of its build.

    Parameters
    ----------
    curve
        The line through it, from where the laps leave to where they join.
    visits
        From how many visits it was found.
    """

    curve: Curve
    visits: int


@dataclass(frozen=True, eq=False)
class _Visit:
    position_m: Floats
    leaves_m: float
    joins_m: float
    aside_m: float
    stopped: bool
    steady: bool


def find_pit_lane(fitted: FittedLine, paths: Sequence[Path]) -> FoundPitLane | None:
    """Find the pit lane from laps that leave the line and join it again.

    A visit runs `SHORTEST_M` or more off the line but beside it, the same way, slower than
    `SLOW_SHARE` of what cars do there, and comes back after about the distance it left out.  What
    only one car did could as well be an off: it counts with a stop, or at a steady speed.  Of
    several places the one with most visits is taken.

    Parameters
    ----------
    fitted
        The line of the track.
    paths
        Whole drives, with what lies between their laps.
    """
    if not fitted.curve.closed:
        return None
    visits = [visit for path in paths for visit in _visits(fitted, path)]
    groups: list[list[_Visit]] = []
    for visit in visits:
        for group in groups:
            if _same_lane(fitted.curve, group[0], visit):
                group.append(visit)
                break
        else:
            groups.append([visit])
    groups = [g for g in groups if len(g) > 1 or g[0].stopped or g[0].steady]
    if not groups:
        return None
    lane = max(groups, key=lambda group: (len(group), len(group[0].position_m)))
    return FoundPitLane(_averaged(lane), len(lane))


def _visits(fitted: FittedLine, path: Path) -> list[_Visit]:
    curve = fitted.curve
    where, offset = curve.project(path.position_m, path.direction)
    facing = np.einsum("ij,ij->i", path.direction, curve.direction(where))
    off = (np.abs(offset) > OFF_LINE_M) | (facing < _PARALLEL)
    usual = np.interp(where, fitted.chainage_m, fitted.speed_mps, period=curve.length_m)
    visits = []
    for begin, end in runs_of(off):
        if begin == 0 or end == len(off):
            continue
        first, last = _extended(offset, facing, path.step_m, begin, end - 1)
        inside = slice(first, last + 1)
        driven = (last - first) * path.step_m
        ahead = float(curve.along(where[first], where[last]))
        aside = float(np.median(offset[inside]))
        beside = bool(
            driven >= SHORTEST_M
            and ahead < 0.5 * curve.length_m
            and 0.6 < driven / max(ahead, 1.0) < 1.6
            and OFF_LINE_M < np.abs(offset[inside]).max() <= FARTHEST_M
            and np.mean(facing[inside]) > _PARALLEL
        )
        speed = path.speed_mps[inside]
        if not beside or np.median(speed) > SLOW_SHARE * np.median(usual[inside]):
            continue
        begun, ended = path.time_s[first], path.time_s[last]
        middle = speed[len(speed) // 4 : -len(speed) // 4]
        visits.append(
            _Visit(
                position_m=path.position_m[inside],
                leaves_m=float(where[first]),
                joins_m=float(where[last]),
                aside_m=aside,
                stopped=any(begun < when < ended for when, _ in path.stops),
                steady=bool(
                    driven > 2 * SHORTEST_M and np.ptp(middle) < STEADY_SHARE * np.median(middle)
                ),
            )
        )
    return visits


def _extended(
    offset: Floats, facing: Floats, step_m: float, first: int, last: int
) -> tuple[int, int]:
    """Follow a stretch outward to where it left the line and where it is back on it."""
    reach = round(_REACH_M / step_m)
    on = (np.abs(offset) < _BACK_ON_M) & (facing > _PARALLEL)

    def outward(at: int, way: int) -> int:
        for further in range(1, reach):
            here = at + way * further
            if not 0 <= here < len(offset):
                return at
            if on[here]:
                return here
        return at + way

    return outward(first, -1), outward(last, 1)


def _same_lane(curve: Curve, visit: _Visit, other: _Visit) -> bool:
    ends: Floats = curve.separation(
        [visit.leaves_m, visit.joins_m], [other.leaves_m, other.joins_m]
    )
    return bool(ends.max() < 2 * _REACH_M and abs(visit.aside_m - other.aside_m) < _SAME_LANE_M)


def _averaged(lane: Sequence[_Visit]) -> Curve:
    """Average visits about the one of median length."""
    ordered = sorted(lane, key=lambda visit: len(visit.position_m))
    curve = Curve.through(ordered[len(ordered) // 2].position_m, closed=False)
    chainage = curve.chainages(1.0)
    rows = []
    for visit in lane:
        where, offset = curve.project(visit.position_m)
        order = np.argsort(where)
        rows.append(np.interp(chainage, where[order], offset[order]))
    aside = np.median(rows, axis=0)
    return smoothed_curve(
        curve.position(chainage) + aside[:, None] * curve.left(chainage), closed=False
    )


def with_pit_lane(
    track: Track, lane: FoundPitLane, plane: LocalPlane, *, gates: bool
) -> tuple[Track, tuple[str, ...]]:
    """Write a pit lane into a track, with pit-entry and pit-exit gates across it if wanted.

    The gates lie where the lane is first and last clear of the track: a gate reaches
    `PIT_GATE_HALF_M` to either side and stays a receiver's accuracy away from the centreline.

    Parameters
    ----------
    track
        The track, with its gates.
    lane, plane
        The pit lane and the plane it lies on.
    gates
        Whether to place the two gates.

    Returns
    -------
    track, remarks
    """
    longitude, latitude = plane.to_geographic(lane.curve.position(lane.curve.sampled()))
    vertex = track.plane.to_plane(longitude, latitude)
    line = Curve.through(vertex, closed=False)
    ends, _ = track.curve.project(line.position([0.0, line.length_m]))
    middle = line.position(0.5 * line.length_m)
    _, side = track.curve.project(middle, line.direction(0.5 * line.length_m))
    plural = "s" if lane.visits > 1 else ""
    lane_remark = (
        f"pit lane of {line.length_m:.0f} m found from {lane.visits} visit{plural}: on the "
        f"{'left' if side > 0 else 'right'}, it leaves the line at {ends[0]:.0f} m and joins it "
        f"at {ends[1]:.0f} m"
    )
    remarks: tuple[str, ...] = (lane_remark,)
    place = f"{longitude[0]:.5f},{latitude[0]:.5f}"
    feature = PitLane(new_id(track, "pit-lane", place), longitude, latitude)
    track = replace(track, pit_lanes=(*track.pit_lanes, feature))
    if not gates:
        return track, remarks
    chainage = line.chainages(1.0)
    _, offset = track.curve.project(line.position(chainage), line.direction(chainage))
    away = np.abs(offset)
    clear = np.flatnonzero(
        away >= min(PIT_GATE_HALF_M + RECEIVER_ACCURACY_M, 0.9 * float(away.max()))
    )
    kinds: tuple[GateKind, GateKind] = ("pit-entry", "pit-exit")
    for kind, index in zip(kinds, (clear[0], clear[-1]), strict=True):
        half = pit_gate_half_m(track, line, float(chainage[index]))
        at, aside = line.position(chainage[index]), line.left(chainage[index])
        east, north = track.plane.to_geographic(np.stack([at + half * aside, at - half * aside]))
        left, right = zip(east.tolist(), north.tolist(), strict=True)
        track, gate, gate_remarks = with_gate(track, kind, Place(ends=(left, right)))
        plain = replace(gate, surveyed=False)
        track = replace(
            track, gates=tuple(plain if other.id == gate.id else other for other in track.gates)
        )
        remarks += (
            f"{kind} gate placed across the pit lane at {gate.chainage_m:.0f} m",
            *gate_remarks,
        )
    return track, remarks
