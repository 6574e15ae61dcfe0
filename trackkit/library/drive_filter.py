"""Which circuit, layout and direction a drive is on: a probability for each, fix by fix.

A forward filter over a hidden Markov model (Rabiner 1989; the same kind of model with which fixes
are matched to roads, Newson and Krumm 2009; both from memory).  The hidden state is the step of
about 10 m that the vehicle is on, of one of the lines near by in one of two directions; or off the
line it was on; or on no known line at all.  From one fix to the next it moves along the line as far
as the fixes are apart, which is what "order along the line" means here.  A step is as likely as its
distance from the fix and its heading's from the course say.

Fixes count every 10 m and with half their weight, because errors of neighbouring fixes, and the
driver's place on the track, are alike: 20 m is about how far they stay so.  All figures are common
practice, no source; tests/bench/bench_locate.py holds them to what they are for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.ellipsoid import DEGREE_M
from trackkit.library.hypotheses import Ground, ground_at
from trackkit.library.known import Candidate, Known
from trackkit.recordings.nmea.stream import Fix

SURE = 0.95
"""A hypothesis this probable is the answer."""
DOUBTFUL = 0.8
"""An answer less probable than this is open again."""
NEAR_M = 1_000.0
"""Lines this near are hypotheses."""

_MOVED_M = 10.0
_WEIGHT = 0.5
_SIGMA_M = 6.0
_STRAY_M = 20.0
_STRAY_SHARE = 0.03
_COURSE_DEG = 12.0
_STRAY_COURSE = 0.05
_OFF_DENSITY = 1.0 / 400.0**2
"""Fixes on no line are anywhere on premises about this wide."""
_SLOW_MPS = 2.0
"""Slower than this, a receiver's course says little."""
_AGAINST = 0.02
"""How probable it is, beforehand, that a drive goes against a file's racing direction."""
_UNKNOWN = 0.5
_LEAVES, _RETURNS, _FORGETS, _JOINS, _JUMPS, _CHANGES = 0.005, 0.1, 0.01, 0.05, 0.02, 1e-4
"""Probabilities of one fix to the next: to leave the line; off it, to come back to it, or to be
nowhere known any more; on no line, to be on one; to be elsewhere on the line than fixes say; to be
on another layout, which is opened, or had seemed ruled out."""
_GAP_M = 150.0
"""Beyond this the way between two fixes is not known."""
_TAPS = np.arange(-3, 4)

Nearby = Callable[[float, float, float], Sequence[Known]]
"""Longitude, latitude, metres to the tracks known there: `Library.near` or `Atlas.near`."""


@dataclass(frozen=True)
class Judgement:
    """Which line the fixes so far are probably on.

    Parameters
    ----------
    candidates
        Most probable first; the distance is that of the last fix.
    unknown
        Probability that the drive is on no known line.
    settled
        The answer, once it is `SURE` and while it is not `DOUBTFUL`.
    still_open
        What the answer is among, if it is not settled: all that make up 95 % of what is known.
    part_at_m
        Where ahead the first two of these part, chainage on the first; None where they never do.
    """

    candidates: tuple[Candidate, ...]
    unknown: float
    settled: Candidate | None
    still_open: tuple[Candidate, ...]
    part_at_m: float | None


NOTHING = Judgement((), 1.0, None, (), None)


class Locator:
    """Follows a drive fix by fix; the time for a fix does not grow with their number.

    Parameters
    ----------
    near
        Where the tracks near a place come from; asked at the first fix, and again only where the
        drive has gone far from every line it got.
    """

    def __init__(self, near: Nearby) -> None:
        self._near = near
        self._ground: Ground | None = None
        self._asked: tuple[float, float] | None = None
        self._last: Fix | None = None
        self._place: Floats = np.zeros(2)
        self._on: Floats = np.zeros(0)
        self._off: Floats = np.zeros(0)
        self._prior: Floats = np.zeros(0)
        self._unknown = 1.0
        self._settled: int | None = None
        self._judgement = NOTHING
        self.counted = 0
        """How many fixes have counted: those 10 m or more from the one before."""

    @property
    def circuits(self) -> tuple[Known, ...]:
        """The tracks among which it judges."""
        ground = self._ground
        return () if ground is None else tuple(h.circuit for h in ground.hypotheses[::2])

    def update(self, fix: Fix) -> Judgement:
        """Take in one fix, and return the judgement after it."""
        has_position = math.isfinite(fix.longitude_deg) and math.isfinite(fix.latitude_deg)
        if has_position and (self._last is None or _apart_m(self._last, fix) >= _MOVED_M):
            self._take(fix)
        return self._judgement

    def _take(self, fix: Fix) -> None:
        if self._asked is None or self._is_elsewhere(fix):
            self._ask(fix)
        ground = self._ground
        if ground is None:
            self._last = fix
            return
        place = ground.plane.to_plane(fix.longitude_deg, fix.latitude_deg)
        moved = place - self._place
        if self._last is not None:
            self._move(ground, float(np.hypot(*moved)))
        heading = _heading(ground, fix, moved if self._last is not None else None)
        away = np.hypot(ground.place_m[:, 0] - place[0], ground.place_m[:, 1] - place[1])
        self._weigh(ground, away, heading)
        self._last, self._place = fix, place
        self.counted += 1
        self._judgement = self._judge(ground, away)

    def _is_elsewhere(self, fix: Fix) -> bool:
        assert self._asked is not None  # noqa: S101
        if _apart_m(Fix(*self._asked), fix) < 0.5 * NEAR_M:
            return False
        if self._ground is None:
            return True
        place = self._ground.plane.to_plane(fix.longitude_deg, fix.latitude_deg)
        return float(np.abs(self._ground.place_m - place).max(axis=1).min()) > 0.5 * NEAR_M

    def _ask(self, fix: Fix) -> None:
        """Begin with the hypotheses of a new place."""
        at = fix.longitude_deg, fix.latitude_deg
        self._asked = at
        self._ground = ground_at(
            *at, sorted(self._near(*at, NEAR_M), key=lambda circuit: circuit.id)
        )
        self._last, self._settled, self._unknown, self._judgement = None, None, 1.0, NOTHING
        if self._ground is None:
            return
        weight = np.array([_AGAINST if h.reversed else 1.0 for h in self._ground.hypotheses])
        self._prior = weight / weight.sum()
        self._unknown = _UNKNOWN
        self._on = (1.0 - _UNKNOWN) * self._spread(self._ground)
        self._off = np.zeros(len(weight))

    def _spread(self, ground: Ground) -> Floats:
        return np.asarray((self._prior / ground.count)[ground.of])

    def _move(self, ground: Ground, moved_m: float) -> None:
        """Move every state on by the distance between two fixes."""
        mass = np.add.reduceat(self._on, ground.begin)
        jumps = _JUMPS if moved_m < _GAP_M else 0.5
        on = (1.0 - jumps) * _shifted(ground, self._on, moved_m)
        on += (jumps * mass / ground.count)[ground.of]
        arrived = np.add.reduceat(on, ground.begin)
        back = _RETURNS * self._off
        on *= 1.0 - _LEAVES
        on += (back / ground.count)[ground.of]
        # What has run over the end of an open line is off it now.
        off = (1.0 - _RETURNS - _FORGETS) * self._off + _LEAVES * arrived
        off += np.maximum(mass - arrived, 0.0)
        on += _JOINS * self._unknown * self._spread(ground)
        self._unknown = (1.0 - _JOINS) * self._unknown + _FORGETS * float(self._off.sum())
        changed = float(on.sum() + off.sum())
        self._on = (1.0 - _CHANGES) * on + _CHANGES * changed * self._spread(ground)
        self._off = (1.0 - _CHANGES) * off

    def _weigh(self, ground: Ground, away: Floats, heading: Floats | None) -> None:
        """Weigh every step by what the fix says, as against being on no line."""
        near = (1.0 - _STRAY_SHARE) * _bell(away, _SIGMA_M) * _bell(0.0, _SIGMA_M)
        near += _STRAY_SHARE * _bell(away, _STRAY_M) * _bell(0.0, _STRAY_M)
        ratio = near / _OFF_DENSITY
        if heading is not None:
            cosine = np.clip(ground.heading @ heading, -1.0, 1.0)
            turned = np.degrees(np.arccos(cosine))
            ratio *= (
                (1.0 - _STRAY_COURSE) * _bell(turned, _COURSE_DEG) + _STRAY_COURSE / 360.0
            ) * 360.0
        self._on *= ratio**_WEIGHT
        total = float(self._on.sum() + self._off.sum()) + self._unknown
        self._on /= total
        self._off /= total
        self._unknown /= total

    def _judge(self, ground: Ground, away: Floats) -> Judgement:
        probability = np.add.reduceat(self._on, ground.begin) + self._off
        order = np.argsort(-probability, kind="stable").tolist()
        if self._settled is not None and probability[self._settled] < DOUBTFUL:
            self._settled = None
        if probability[order[0]] >= SURE:
            self._settled = order[0]
        distance = np.minimum.reduceat(away, ground.begin)
        candidates = [
            _candidate(ground, h, float(distance[h]), float(probability[h])) for h in order
        ]
        on_lines = 1.0 - self._unknown
        reached = np.cumsum(probability[order])
        among = int(np.searchsorted(reached, SURE * on_lines)) + 1
        still_open = tuple(candidates[:among]) if self._settled is None else ()
        part = None
        if len(still_open) > 1:
            begin, count = ground.begin[order[0]], ground.count[order[0]]
            step = int(np.argmax(self._on[begin : begin + count]))
            part = ground.part_at_m(order[0], order[1], step)
        return Judgement(
            tuple(candidates),
            self._unknown,
            None if self._settled is None else candidates[order.index(self._settled)],
            still_open if self._unknown < 0.5 else (),
            part,
        )


def _candidate(ground: Ground, index: int, distance_m: float, probability: float) -> Candidate:
    hypothesis = ground.hypotheses[index]
    circuit = hypothesis.circuit
    return Candidate(
        circuit.id,
        circuit.name,
        circuit.layout,
        hypothesis.direction,
        distance_m,
        probability,
        hypothesis.reversed,
        circuit.valid_from,
        circuit.valid_until,
        origin=circuit.origin,
        credit=circuit.credit,
    )


def _shifted(ground: Ground, on: Floats, moved_m: float) -> Floats:
    """Move what is on the lines forward; spread it by what a straight distance leaves open."""
    steps = moved_m / ground.step_m
    whole = np.rint(steps).astype(np.intp)
    sigma = (2.0 + 0.05 * moved_m) / ground.step_m
    tap = np.exp(-0.5 * ((_TAPS[:, None] + whole - steps) / np.maximum(sigma, 0.35)) ** 2)
    tap /= tap.sum(axis=0)
    count, begin = ground.count[ground.of], ground.begin[ground.of]
    source = ground.local - whole[ground.of]
    out = np.zeros(len(on))
    for number, offset in enumerate(_TAPS.tolist()):
        at = source - offset
        inside = ground.closed | ((at >= 0) & (at < count))
        out += np.where(inside, on[begin + at % count], 0.0) * tap[number][ground.of]
    return out


def _bell(value: Floats | float, sigma: float) -> Floats:
    return np.asarray(np.exp(-0.5 * (value / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi)))


def _heading(ground: Ground, fix: Fix, moved: Floats | None) -> Floats | None:
    """Direction of travel on the plane: the receiver's course, else from fix to fix."""
    slow = fix.speed_mps is not None and fix.speed_mps < _SLOW_MPS
    if fix.course_deg is not None and math.isfinite(fix.course_deg) and not slow:
        turned = float(ground.plane.convergence_deg(fix.longitude_deg, fix.latitude_deg))
        angle = np.radians(fix.course_deg - turned)
        return np.array([np.sin(angle), np.cos(angle)])
    if moved is None or np.hypot(*moved) > _GAP_M:
        return None
    return np.asarray(moved / np.hypot(*moved))


def _apart_m(start: Fix, end: Fix) -> float:
    """About how far two fixes near each other are apart, metres; no more than 0.6 % wrong."""
    north_deg = end.latitude_deg - start.latitude_deg
    east_deg = (end.longitude_deg - start.longitude_deg + 180.0) % 360.0 - 180.0
    return DEGREE_M * float(np.hypot(north_deg, east_deg * np.cos(np.radians(start.latitude_deg))))
