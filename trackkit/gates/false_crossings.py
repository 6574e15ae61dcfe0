"""How probable it is that noise makes a crossing, or hides one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.geometry.runs import runs_of
from trackkit.geometry.vectors import distance_along, gate_axes, left_of
from trackkit.motion.gauss_markov import transition
from trackkit.motion.noise import USUAL
from trackkit.track.features import Gate
from trackkit.track.model import Track

RECEIVER_M = float(np.hypot(USUAL.wander_m, USUAL.white_m))
"""One sigma of a position of the usual receiver on one axis, metres."""
DRIVEN_M = 0.5
"""One sigma of a driven line to the side, metres (common practice, no source)."""
FARTHEST_M = 40.0
"""Track farther than this from a gate's ends is never taken for the gate."""
_STEP_M = 0.5
_BEYOND_M = 30.0
_NODE, _WEIGHT = np.polynomial.hermite_e.hermegauss(15)
_PARKED_NODES = 601
_PARKED_SIGMAS = 6.0


@dataclass(frozen=True)
class Passage:
    """A path that comes near a gate.

    Parameters
    ----------
    chainage_m
        Where on the track, or None for the pit lane.
    lane
        Id of the pit lane, or None.
    probability
        That one passage along it counts as a crossing of the gate.
    """

    chainage_m: float | None
    lane: str | None
    probability: float


def passage_probability(
    path_m: Floats, left_m: Floats, right_m: Floats, *, receiver_m: float, line_m: float
) -> float:
    """Probability that one passage along a path counts as a crossing of a gate.

    The passage lies beside the path by a normal amount (the line driven), and the receiver shifts
    it as a whole by a normal amount on each axis: its wander lasts far longer than a passage.  The
    shift along the gate is integrated in closed form (normal distribution function), the others
    by Gauss-Hermite quadrature.

    Parameters
    ----------
    path_m
        Positions a metre or less apart in the direction driven, shape (n, 2).
    left_m, right_m
        The gate's ends, shape (2,).
    receiver_m, line_m
        One sigma of each.
    """
    from scipy.special import ndtr

    across, forward, width = gate_axes(left_m, right_m)
    node, weight = _NODE, _WEIGHT / _WEIGHT.sum()
    tangent = np.gradient(path_m, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    aside = left_of(tangent)
    total = 0.0
    for side, side_weight in zip(node, weight, strict=True):
        line = path_m + line_m * side * aside - left_m
        ahead, along = line @ forward, line @ across
        counted = _counted(ahead + receiver_m * node[:, None], along, width, receiver_m, ndtr)
        total += side_weight * float(weight @ counted)
    return float(np.clip(total, 0.0, 1.0))


def _counted(
    ahead: Floats, along: Floats, width_m: float, receiver_m: float, ndtr: np.ufunc
) -> Floats:
    """Probability that a path crosses between the ends, from behind, the shift along being free.

    Parameters
    ----------
    ahead
        How far the path is in front of the gate, for each of some shifts, shape (k, n).
    along
        How far along the gate it is from the left end, shape (n,).

    Returns
    -------
    ndarray
        Shape (k,).
    """
    shift, index = np.nonzero((ahead[:, :-1] < 0) & (ahead[:, 1:] >= 0))
    before, after = ahead[shift, index], ahead[shift, index + 1]
    where = along[index] - before / (after - before) * (along[index + 1] - along[index])
    # The shifts for which it meets the gate, joined over the places where it meets its line.
    low, high = -where / receiver_m, (width_m - where) / receiver_m
    if len(np.unique(shift)) == len(shift):
        once = np.zeros(len(ahead))
        once[shift] = ndtr(high) - ndtr(low)
        return once
    total, reached = np.zeros(len(ahead)), np.full(len(ahead), -np.inf)
    for n in np.argsort(low).tolist():
        row = shift[n]
        if high[n] > reached[row]:
            total[row] += ndtr(high[n]) - ndtr(max(low[n], reached[row]))
            reached[row] = high[n]
    return total


def missed_probability(
    track: Track,
    gate: Gate,
    chainage_m: float,
    *,
    receiver_m: float = RECEIVER_M,
    line_m: float = DRIVEN_M,
) -> float:
    """Probability, per lap, that a passage along the centreline is not counted by a gate on it."""
    left, right = track.gate_ends(gate)
    path = _stretch(track, chainage_m - _BEYOND_M, chainage_m + _BEYOND_M)
    return 1.0 - passage_probability(path, left, right, receiver_m=receiver_m, line_m=line_m)


def passages_nearby(
    track: Track,
    gate: Gate,
    chainage_m: float,
    *,
    receiver_m: float = RECEIVER_M,
    line_m: float = DRIVEN_M,
) -> list[Passage]:
    """List the other pieces of track, and pit lanes, that come near a gate.

    Parameters
    ----------
    track
        The track.
    gate
        The gate.
    chainage_m
        Where it crosses the centreline; track within `_BEYOND_M` of there is its own.
    receiver_m, line_m
        One sigma of the receiver's position on one axis, and of the driven line.
    """
    curve = track.curve
    left, right = track.gate_ends(gate)
    passages = []
    chainage = curve.chainages(_STEP_M)
    own = curve.separation(chainage, chainage_m) <= _BEYOND_M + 0.5 * gate.width_m
    away = _distance_to_gate(curve.position(chainage), left, right)
    near = (away < FARTHEST_M) & ~own
    for begin, end in runs_of(near, closed=curve.closed):
        first = float(chainage[begin])
        last = first + (end - 1 - begin) * float(chainage[1] - chainage[0])
        path = _stretch(track, first, last)
        probability = passage_probability(path, left, right, receiver_m=receiver_m, line_m=line_m)
        nearest = int(np.argmin(_distance_to_gate(path, left, right)))
        where = first + (last - first) * nearest / max(len(path) - 1, 1)
        passages.append(Passage(float(curve.wrap(where)), None, probability))
    for lane in track.pit_lanes:
        line = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
        if _distance_to_gate(_dense(line), left, right).min() < FARTHEST_M:
            probability = passage_probability(
                _dense(line), left, right, receiver_m=receiver_m, line_m=line_m
            )
            passages.append(Passage(None, lane.id, probability))
    return passages


def _stretch(track: Track, begin_m: float, end_m: float) -> Floats:
    """Positions along the centreline, going straight on beyond the ends of an open course."""
    count = max(2, int(np.ceil((end_m - begin_m) / _STEP_M)) + 1)
    chainage = np.linspace(begin_m, end_m, count)
    return track.curve.extended_position(chainage)


def _dense(line_m: Floats) -> Floats:
    along = distance_along(line_m)
    wanted = np.linspace(0.0, along[-1], max(2, int(np.ceil(along[-1] / _STEP_M)) + 1))
    return np.stack([np.interp(wanted, along, line_m[:, axis]) for axis in (0, 1)], axis=1)


def _distance_to_gate(position_m: Floats, left_m: Floats, right_m: Floats) -> Floats:
    span = right_m - left_m
    share = np.clip((position_m - left_m) @ span / float(span @ span), 0.0, 1.0)
    return np.asarray(np.linalg.norm(position_m - left_m - share[:, None] * span, axis=1))


def parked_probability(
    behind_m: float,
    seconds: float,
    *,
    interval_s: float = 1.0,
    wander_m: float = USUAL.wander_m,
    wander_time_s: float = USUAL.wander_time_s,
) -> float:
    """Probability that a vehicle standing on the track is carried over a gate by the wander.

    It stands so far behind the gate's line (negative: in front of it) and well within its ends;
    see `creeping_probability`.

    Parameters
    ----------
    behind_m
        Distance to the line, metres.
    seconds
        How long it stands.
    interval_s
        Between fixes.
    wander_m, wander_time_s
        Of the receiver.
    """
    fixes = round(seconds / interval_s) + 1
    return creeping_probability(
        np.full(fixes, behind_m),
        interval_s=interval_s,
        wander_m=wander_m,
        wander_time_s=wander_time_s,
    )


def creeping_probability(
    behind_m: ArrayLike,
    *,
    interval_s: float = 1.0,
    wander_m: float = USUAL.wander_m,
    wander_time_s: float = USUAL.wander_time_s,
) -> float:
    """Probability that a slow vehicle's recorded position goes over a gate's line.

    It is well within the gate's ends.  The wander is a first-order Gauss-Markov process; its
    distribution is followed on a grid from fix to fix, and what goes from behind the line to in
    front of it is taken out and counted.  The line, seen from the vehicle, moves over the grid.
    Velocities make it less; this is what positions alone say.

    Parameters
    ----------
    behind_m
        How far behind the line the vehicle is in truth at each fix, metres, shape (n,); negative
        in front.
    interval_s
        Between fixes.
    wander_m, wander_time_s
        Of the receiver.
    """
    from scipy.special import ndtr

    level = np.asarray(behind_m, dtype=float) / wander_m
    kept, fresh = (float(part) for part in transition(interval_s, wander_time_s))
    spread = float(np.sqrt(fresh))
    edge = _edges_at(float(level[0]))
    mass = np.diff(ndtr(edge))
    mass /= mass.sum()
    counted = 0.0
    step: tuple[float, float] | None = None
    for before, after in pairwise(level.tolist()):
        if step != (before, after):
            step, edge = (before, after), _edges_at(before)
            middle = 0.5 * (edge[:-1] + edge[1:])
            following = _edges_at(after)
            move = np.diff(ndtr((following[None, :] - kept * middle[:, None]) / spread), axis=1)
            behind = middle < before
            in_front = 0.5 * (following[:-1] + following[1:]) >= after
            over = move[:, in_front].sum(axis=1)
            move[np.ix_(behind, in_front)] = 0.0
        counted += float(mass[behind] @ over[behind])
        mass = mass @ move
    return float(min(counted, 1.0))


def _edges_at(level: float) -> Floats:
    """Lay out cells of the wander, in sigmas, so that a level is an edge and no cell straddles it.

    A level beyond the grid straddles none.
    """
    edge = np.linspace(-_PARKED_SIGMAS, _PARKED_SIGMAS, _PARKED_NODES + 1)
    if abs(level) < _PARKED_SIGMAS - 1.0:
        edge += level - edge[int(np.argmin(np.abs(edge - level)))]
    return edge
