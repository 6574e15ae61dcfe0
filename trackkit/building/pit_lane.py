"""The pit lane: where laps leave the line, run slowly beside it and join it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from trackkit.arrays import Flags, Floats
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


class Along(NamedTuple):
    """A path as seen from a line, shape (n,) each.

    Parameters
    ----------
    where_m, offset_m
        Chainage and distance to the left, metres.
    facing
        Cosine of the angle between the path and the line.
    """

    where_m: Floats
    offset_m: Floats
    facing: Floats


@dataclass(frozen=True, eq=False)
class Visit:
    """One passage of a pit lane.

    Parameters
    ----------
    position_m
        From where it leaves the line to where it is back, metres, shape (k, 2).
    leaves_m, joins_m
        Chainages of those two places, metres.
    aside_m
        Its median distance to the left of the line, metres.
    stopped, steady
        Whether the car stood in it, and whether it kept its speed.
    """

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
    curve = fitted.curve
    if not curve.closed:
        return None
    visits: list[Visit] = []
    for path in paths:
        along = along_line(curve, path)
        usual = np.interp(along.where_m, fitted.chainage_m, fitted.speed_mps, period=curve.length_m)
        off = np.abs(along.offset_m) > OFF_LINE_M
        visits.extend(visits_of(curve, path, along, off=off, usual_mps=usual))
    return lane_of(curve, visits)


def along_line(curve: Curve, path: Path) -> Along:
    """See a path from a line on the same plane."""
    where, offset = curve.project(path.position_m, path.direction)
    return Along(where, offset, np.einsum("ij,ij->i", path.direction, curve.direction(where)))


def lane_of(curve: Curve, visits: Sequence[Visit]) -> FoundPitLane | None:
    """Average the visits of the place that has most; None where all could as well be offs."""
    groups: list[list[Visit]] = []
    for visit in visits:
        for group in groups:
            if _same_lane(curve, group[0], visit):
                group.append(visit)
                break
        else:
            groups.append([visit])
    groups = [g for g in groups if len(g) > 1 or g[0].stopped or g[0].steady]
    if not groups:
        return None
    lane = max(groups, key=lambda group: (len(group), len(group[0].position_m)))
    return FoundPitLane(_averaged(lane), len(lane))


def visits_of(
    curve: Curve, path: Path, along: Along, *, off: Flags, usual_mps: Floats
) -> list[Visit]:
    """Find the visits of a pit lane in a drive, as `find_pit_lane` describes them.

    Parameters
    ----------
    curve
        The line of the track.
    path, along
        The whole drive, and as it is seen from the line.
    off
        Where it is clear of the line, shape (n,).
    usual_mps
        At what speed cars pass there, shape (n,).
    """
    visits = []
    for begin, end in runs_of(off | (along.facing < _PARALLEL)):
        if begin == 0 or end == len(off):
            continue
        first, last = _extended(along.offset_m, along.facing, path.step_m, begin, end - 1)
        visit = visit_between(curve, path, along, first, last)
        inside = slice(first, last + 1)
        slow = np.median(path.speed_mps[inside]) <= SLOW_SHARE * np.median(usual_mps[inside])
        if visit is not None and slow:
            visits.append(visit)
    return visits


def visit_between(curve: Curve, path: Path, along: Along, first: int, last: int) -> Visit | None:
    """Take a stretch of a drive as a visit, where it runs beside the line as a pit lane does."""
    inside = slice(first, last + 1)
    offset = along.offset_m[inside]
    driven = (last - first) * path.step_m
    ahead = float(curve.along(along.where_m[first], along.where_m[last]))
    beside = bool(
        driven >= SHORTEST_M
        and ahead < 0.5 * curve.length_m
        and 0.6 < driven / max(ahead, 1.0) < 1.6
        and OFF_LINE_M < np.abs(offset).max() <= FARTHEST_M
        and np.mean(along.facing[inside]) > _PARALLEL
    )
    if not beside:
        return None
    speed = path.speed_mps[inside]
    begun, ended = path.time_s[first], path.time_s[last]
    middle = speed[len(speed) // 4 : -len(speed) // 4]
    return Visit(
        position_m=path.position_m[inside],
        leaves_m=float(along.where_m[first]),
        joins_m=float(along.where_m[last]),
        aside_m=float(np.median(offset)),
        stopped=any(begun < when < ended for when, _ in path.stops),
        steady=bool(driven > 2 * SHORTEST_M and np.ptp(middle) < STEADY_SHARE * np.median(middle)),
    )


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


def _same_lane(curve: Curve, visit: Visit, other: Visit) -> bool:
    ends: Floats = curve.separation(
        [visit.leaves_m, visit.joins_m], [other.leaves_m, other.joins_m]
    )
    return bool(ends.max() < 2 * _REACH_M and abs(visit.aside_m - other.aside_m) < _SAME_LANE_M)


def _averaged(lane: Sequence[Visit]) -> Curve:
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


def how_it_was_found(track: Track, line: Curve, visits: int) -> str:
    """Say from how many visits a pit lane was found, and where it leaves the line and joins it."""
    ends, _ = track.curve.project(line.position([0.0, line.length_m]))
    middle = line.position(0.5 * line.length_m)
    _, side = track.curve.project(middle, line.direction(0.5 * line.length_m))
    return (
        f"pit lane of {line.length_m:.0f} m found from {visits} visit{'s' if visits > 1 else ''}: "
        f"on the {'left' if side > 0 else 'right'}, it leaves the line at {ends[0]:.0f} m and "
        f"joins it at {ends[1]:.0f} m"
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
    remarks: tuple[str, ...] = (how_it_was_found(track, line, lane.visits),)
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
