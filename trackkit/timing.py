"""Crossings, laps, sectors, theoretical and continuous best."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trackkit.geodesy import Floats
from trackkit.motion import Drive, hermite, smooth
from trackkit.recording import Recording
from trackkit.track import Gate, Track

LONGEST_GAP_S = 10.0
"""No crossing is read out of a gap between fixes longer than this."""
AWAY_M = 30.0
"""A gate counts again only when the vehicle has been this far from it since."""
_ITERATIONS = 60

LapKind = Literal["flying", "out", "in", "pit"]


@dataclass(frozen=True)
class Crossing:
    """A gate crossed from behind to in front, at a time from the first fix."""

    gate: str
    time_s: float
    speed_mps: float


@dataclass(frozen=True)
class SectorTime:
    """Time between two gates that follow one another; None where one was missed."""

    time_s: float | None
    split_s: float | None
    sigma_s: float | None = None


@dataclass(frozen=True)
class Lap:
    """One lap, or one run of a point-to-point course.

    Parameters
    ----------
    number
        1 is the first lap begun at the finish gate; an out lap before it has 0.
    kind
        Flying, out (before the first crossing of the gate laps begin at), in (after the last)
        or pit (through the pit lane).
    complete
        Began and ended at the finish gate, every gate crossed.
    start_s
        Seconds from the first fix, or None where the lap began at a crossing that was missed.
    time_s
        Lap time, seconds, or None.
    missed
        Ids of the gates that were not crossed.
    sectors
        In racing order.
    """

    number: int
    kind: LapKind
    complete: bool
    start_s: float | None
    time_s: float | None
    missed: tuple[str, ...]
    sectors: tuple[SectorTime, ...]
    sigma_s: float | None = None


@dataclass(frozen=True, eq=False)
class LapReport:
    """The laps of one recording; the best times are over complete flying laps."""

    recording: Recording
    laps: tuple[Lap, ...]
    crossings: tuple[Crossing, ...]
    best_lap_s: float | None
    theoretical_best_s: float | None
    continuous_best_s: float | None

    @property
    def counted(self) -> tuple[Lap, ...]:
        """Complete flying laps."""
        return tuple(lap for lap in self.laps if lap.complete and lap.kind == "flying")


def time_laps(track: Track, recording: Recording) -> LapReport:
    """Time the laps of a recording over a track.

    Parameters
    ----------
    track
        With a finish gate (and a start gate, when it is not closed).
    recording
        Of any drive; one that never comes near gives a report without laps.

    Raises
    ------
    PlaceError
        When the track lacks the gates that laps begin and end at.
    """
    gates = timed_gates(track)
    passed = [*gates, *track.gates_of_kind("pit-entry")]
    drive = smooth(recording, track.plane)
    crossings = sorted(
        (crossing for gate in passed for crossing in cross(track, gate, drive)),
        key=lambda crossing: crossing.time_s,
    )
    laps = laps_between(crossings, [gate.id for gate in gates], closed=track.closed)
    counted = [lap for lap in laps if lap.complete and lap.kind == "flying"]
    return LapReport(
        recording=recording,
        laps=tuple(laps),
        crossings=tuple(crossings),
        best_lap_s=min((lap.time_s for lap in counted if lap.time_s is not None), default=None),
        theoretical_best_s=theoretical_best(counted),
        continuous_best_s=continuous_best(laps),
    )


def timed_gates(track: Track) -> list[Gate]:
    """Gates in the order a lap crosses them, beginning with the one it begins at.

    A point-to-point course ends with its finish gate; on a closed track the lap ends where it
    began.
    """
    sectors = track.gates_of_kind("sector")
    if track.closed:
        return [track.finish, *sectors]
    return [track.timed_from, *sectors, track.finish]


def cross(track: Track, gate: Gate, drive: Drive) -> list[Crossing]:
    """Find the crossings of one gate.

    Between two fixes the vehicle is taken to move on the cubic through both positions and
    velocities.  Crossing counts only from behind to in front and between the ends; after it, the
    gate counts again when the vehicle has been `AWAY_M` away, so that a receiver jittering on the
    line, or a spin across it, counts once.
    """
    if len(drive.time_s) < 2:
        return []
    left, right = track.gate_ends(gate)
    across = (right - left) / np.linalg.norm(right - left)
    width = float(np.linalg.norm(right - left))
    # Racing direction is to the left of the line drawn from its left end to its right end.
    forward = np.array([-across[1], across[0]])
    ahead = (drive.position_m - left) @ forward
    candidate = np.flatnonzero(
        (ahead[:-1] < 0) & (ahead[1:] >= 0) & (np.diff(drive.piece) == 0)
        & (np.diff(drive.time_s) <= LONGEST_GAP_S)
    )  # fmt: skip
    near = _near(drive.position_m, candidate, 0.5 * (left + right), width)
    candidate = candidate[near]
    if len(candidate) == 0:
        return []
    time, position, velocity = _refine(drive, candidate, left, forward)
    along = (position - left) @ across
    good = (along >= 0.0) & (along <= width) & (velocity @ forward > 0)
    away = np.linalg.norm(drive.position_m - 0.5 * (left + right), axis=1) > AWAY_M + 0.5 * width
    found: list[Crossing] = []
    last = -1
    for index, when, pace in zip(
        candidate[good], time[good], np.hypot(*velocity[good].T), strict=True
    ):
        if last >= 0 and not away[last : index + 1].any():
            continue
        found.append(Crossing(gate.id, float(when), float(pace)))
        last = int(index)
    return found


def _near(
    position_m: Floats, candidate: NDArray[np.intp], middle: Floats, width_m: float
) -> NDArray[np.bool_]:
    """Keep the changes of side that can be at the gate rather than on the line it lies on."""
    step = np.linalg.norm(position_m[candidate + 1] - position_m[candidate], axis=1)
    away = np.linalg.norm(position_m[candidate] - middle, axis=1)
    return np.asarray(away <= width_m + 2.0 * step + 5.0)


def _refine(
    drive: Drive, index: NDArray[np.intp], left: Floats, forward: Floats
) -> tuple[Floats, Floats, Floats]:
    """Bisect the cubic between two fixes for the moment it meets the line."""
    span = (drive.time_s[index + 1] - drive.time_s[index])[:, None]
    ends = (
        drive.position_m[index],
        drive.velocity_mps[index],
        drive.position_m[index + 1],
        drive.velocity_mps[index + 1],
    )
    low, high = np.zeros(len(index)), np.ones(len(index))
    for _ in range(_ITERATIONS):
        middle = 0.5 * (low + high)
        position, _ = hermite(middle[:, None], span, *ends)
        behind = (position - left) @ forward < 0
        low, high = np.where(behind, middle, low), np.where(behind, high, middle)
    share = 0.5 * (low + high)
    position, velocity = hermite(share[:, None], span, *ends)
    return drive.time_s[index] + share * span[:, 0], position, velocity


@dataclass
class _OpenLap:
    """A lap that is being driven: times at the gates it should cross, by place in the order."""

    times: list[float | None]
    first: bool = False
    pit: bool = False


def laps_between(crossings: Iterable[Crossing], order: Sequence[str], *, closed: bool) -> list[Lap]:
    """Turn crossings into laps.

    A gate that comes again, or an earlier one, before the finish gate means that the finish was
    missed: the lap ends there without a time and another begins.  Nothing is invented.

    Parameters
    ----------
    crossings
        In order of time; those of gates not in `order` mark a lap as driven through the pit lane.
    order
        Ids of the gates of a lap, beginning with the one it begins at; a point-to-point course
        ends with its finish gate.
    closed
        Whether a lap ends at the gate it begins at.
    """
    place = {gate: index for index, gate in enumerate(order)}
    stops = len(order) + 1 if closed else len(order)
    done: list[_OpenLap] = []
    lap = _OpenLap([None] * stops, first=True)

    def last_place() -> int:
        return max((i for i, t in enumerate(lap.times) if t is not None), default=-1)

    def close() -> _OpenLap:
        if (lap.first and closed) or any(t is not None for t in lap.times):
            done.append(lap)
        return _OpenLap([None] * stops)

    for crossing in crossings:
        if crossing.gate not in place:
            lap.pit = True
            continue
        index = place[crossing.gate]
        if index == 0:
            if closed:
                lap.times[-1] = crossing.time_s
            lap = close()
        elif index <= last_place():
            lap = close()
        lap.times[index] = crossing.time_s
        if not closed and index == stops - 1:
            lap = close()
    if any(t is not None for t in lap.times):
        done.append(lap)
    return _numbered(done, order, closed=closed)


def _numbered(done: list[_OpenLap], order: Sequence[str], *, closed: bool) -> list[Lap]:
    laps = []
    number = 0
    names = [*order, order[0]] if closed else list(order)
    for index, lap in enumerate(done):
        started = not lap.first
        number += started
        start, end = lap.times[0], lap.times[-1]
        whole = start is not None and end is not None
        last = index == len(done) - 1
        kind: LapKind = "flying"
        if lap.pit:
            kind = "pit"
        if not started and start is None:
            kind = "out"
        elif last and end is None:
            kind = "in"
        sectors = tuple(
            SectorTime(
                None if a is None or b is None else b - a,
                None if start is None or b is None else b - start,
            )
            for a, b in zip(lap.times[:-1], lap.times[1:], strict=True)
        )
        missed = _missed(lap, names, kind)
        laps.append(
            Lap(
                number=number,
                kind=kind,
                complete=whole and not missed,
                start_s=0.0 if kind == "out" else start,
                time_s=end - start if start is not None and end is not None else None,
                missed=missed,
                sectors=sectors,
            )
        )
    return laps


def _missed(lap: _OpenLap, names: Sequence[str], kind: LapKind) -> tuple[str, ...]:
    """Gates a lap should have crossed and did not.

    An out lap may begin, and an in lap may end, anywhere: only gates after the first, or before
    the last, that they did cross count.
    """
    crossed = [index for index, time in enumerate(lap.times) if time is not None]
    if not crossed:
        return ()
    low = crossed[0] if kind == "out" else 0
    high = crossed[-1] if kind == "in" else len(names) - 1
    missing = [names[i] for i in range(low, high + 1) if lap.times[i] is None]
    return tuple(dict.fromkeys(missing))


def theoretical_best(laps: Sequence[Lap]) -> float | None:
    """Sum of the best sectors of some complete laps, seconds, or None without laps."""
    if not laps:
        return None
    best = []
    for sector in zip(*(lap.sectors for lap in laps), strict=True):
        times = [s.time_s for s in sector if s.time_s is not None]
        best.append(min(times))
    return float(sum(best))


def continuous_best(laps: Sequence[Lap]) -> float | None:
    """Fastest run over one whole lap length in one go, begun at any gate.

    Runs lie within complete flying laps that follow one another.
    """
    best: float | None = None
    stretch: list[float] = []
    count = 0
    for lap in [*laps, None]:
        if lap is None or not (lap.complete and lap.kind == "flying"):
            best = _least(best, stretch, count)
            stretch = []
            continue
        count = len(lap.sectors)
        stretch += [s.time_s for s in lap.sectors if s.time_s is not None]
    return best


def _least(best: float | None, sector_s: list[float], count: int) -> float | None:
    if not sector_s or count == 0:
        return best
    edge = np.concatenate([[0.0], np.cumsum(sector_s)])
    shortest = float((edge[count:] - edge[:-count]).min())
    return shortest if best is None else min(best, shortest)
