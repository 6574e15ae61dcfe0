"""Laps, sectors, theoretical and continuous best, each time with its uncertainty."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from trackkit.crossings import Crossing, cross, interval_sigma
from trackkit.geodesy import Floats
from trackkit.lapwander import wander_from_laps
from trackkit.motion import Drive, smooth
from trackkit.recording import Recording
from trackkit.smoother import Levels
from trackkit.track import Gate, Track

LapKind = Literal["flying", "out", "in", "pit"]


@dataclass(frozen=True)
class SectorTime:
    """Time between two gates that follow one another; None where one was missed.

    Parameters
    ----------
    time_s, sigma_s
        Sector time and its uncertainty, one sigma.
    split_s
        Time since the lap began, at the end of the sector.
    top_mps, lowest_mps
        Highest and lowest speed in it.
    """

    time_s: float | None
    split_s: float | None
    sigma_s: float | None = None
    top_mps: float | None = None
    lowest_mps: float | None = None


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
    time_s, sigma_s
        Lap time and its uncertainty, one sigma, seconds, or None.
    missed
        Ids of the gates that were not crossed.
    sectors
        In racing order.
    passed
        The crossing at each gate, beginning with the one the lap begins at and ending with the
        one it ends at; None where it was missed.
    top_mps, lowest_mps
        Highest and lowest speed, where the lap has a time.
    """

    number: int
    kind: LapKind
    complete: bool
    start_s: float | None
    time_s: float | None
    missed: tuple[str, ...]
    sectors: tuple[SectorTime, ...]
    passed: tuple[Crossing | None, ...] = ()
    sigma_s: float | None = None
    top_mps: float | None = None
    lowest_mps: float | None = None

    @property
    def counts(self) -> bool:
        """Whether the lap counts towards the best times: complete and flying."""
        return self.complete and self.kind == "flying"


@dataclass(frozen=True, eq=False)
class LapReport:
    """The laps of one recording; the best times are over complete flying laps.

    `median_s` and `spread_s` are the median of their lap times and the standard deviation about
    their mean; None where there are too few.
    """

    recording: Recording
    drive: Drive
    laps: tuple[Lap, ...]
    crossings: tuple[Crossing, ...]
    best_lap_s: float | None
    theoretical_best_s: float | None
    continuous_best_s: float | None
    median_s: float | None
    spread_s: float | None

    @property
    def counted(self) -> tuple[Lap, ...]:
        """Complete flying laps."""
        return tuple(lap for lap in self.laps if lap.counts)


def time_laps(track: Track, recording: Recording) -> LapReport:
    """Time the laps of a recording over a track.

    Where the recording alone cannot tell the receiver's wander, its laps do, from six on, and the
    drive is smoothed again with what they say.

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
    order = [gate.id for gate in gates]
    crossed = [*gates, *track.gates_of_kind("pit-entry")]
    drive = smooth(recording, track.plane)
    crossings = _all_crossings(track, crossed, drive)
    laps = laps_between(crossings, order, closed=track.closed)
    if not drive.wander_told:
        whole = [
            (lap.start_s, lap.start_s + lap.time_s)
            for lap in laps
            if track.closed and lap.counts and lap.start_s is not None and lap.time_s is not None
        ]
        wander = wander_from_laps(track, drive, whole) or Levels().wander_m
        drive = drive.with_levels(replace(drive.levels, wander_m=wander))
        crossings = _all_crossings(track, crossed, drive)
        laps = laps_between(crossings, order, closed=track.closed)
    laps = [_measured(drive, lap) for lap in laps]
    counted = [lap for lap in laps if lap.counts]
    times = np.array([lap.time_s for lap in counted if lap.time_s is not None])
    return LapReport(
        recording=recording,
        drive=drive,
        laps=tuple(laps),
        crossings=tuple(crossings),
        best_lap_s=float(times.min()) if len(times) else None,
        theoretical_best_s=theoretical_best(counted),
        continuous_best_s=continuous_best(laps),
        median_s=float(np.median(times)) if len(times) else None,
        spread_s=float(times.std(ddof=1)) if len(times) > 1 else None,
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


def _all_crossings(track: Track, gates: Iterable[Gate], drive: Drive) -> list[Crossing]:
    found = [crossing for gate in gates for crossing in cross(track, gate, drive)]
    return sorted(found, key=lambda crossing: crossing.time_s)


def _measured(drive: Drive, lap: Lap) -> Lap:
    """Add uncertainties and speeds to a lap's times."""
    sectors = tuple(
        sector
        if before is None or after is None
        else _measured_sector(drive, sector, before, after)
        for sector, before, after in zip(lap.sectors, lap.passed[:-1], lap.passed[1:], strict=True)
    )
    first, last = lap.passed[0], lap.passed[-1]
    if first is None or last is None:
        return replace(lap, sectors=sectors)
    lowest, top = _speeds(drive, first, last)
    return replace(
        lap,
        sectors=sectors,
        sigma_s=interval_sigma(drive, first, last),
        lowest_mps=lowest,
        top_mps=top,
    )


def _measured_sector(
    drive: Drive, sector: SectorTime, before: Crossing, after: Crossing
) -> SectorTime:
    lowest, top = _speeds(drive, before, after)
    sigma = interval_sigma(drive, before, after)
    return replace(sector, sigma_s=sigma, lowest_mps=lowest, top_mps=top)


def _speeds(drive: Drive, before: Crossing, after: Crossing) -> tuple[float, float]:
    """Lowest and highest speed between two crossings, m/s."""
    between: Floats = drive.speed_mps[before.fix + 1 : after.fix + 1]
    speeds = np.concatenate([[before.speed_mps, after.speed_mps], between])
    return float(speeds.min()), float(speeds.max())


@dataclass
class _OpenLap:
    """A lap that is being driven: crossings of the gates it should cross, in their order."""

    passed: list[Crossing | None]
    first: bool = False
    pit: bool = False

    @property
    def last_place(self) -> int:
        """Place in the order of the last gate crossed, or -1."""
        return max((i for i, c in enumerate(self.passed) if c is not None), default=-1)


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

    def close() -> _OpenLap:
        if (lap.first and closed) or lap.last_place >= 0:
            done.append(lap)
        return _OpenLap([None] * stops)

    for crossing in crossings:
        if crossing.gate not in place:
            lap.pit = True
            continue
        index = place[crossing.gate]
        if index == 0:
            if closed:
                lap.passed[-1] = crossing
            lap = close()
        elif index <= lap.last_place:
            lap = close()
        lap.passed[index] = crossing
        if not closed and index == stops - 1:
            lap = close()
    if lap.last_place >= 0:
        done.append(lap)
    return _numbered(done, order, closed=closed)


def _numbered(done: list[_OpenLap], order: Sequence[str], *, closed: bool) -> list[Lap]:
    laps = []
    number = 0
    names = [*order, order[0]] if closed else list(order)
    for index, lap in enumerate(done):
        number += not lap.first
        start, end = lap.passed[0], lap.passed[-1]
        kind: LapKind = "pit" if lap.pit else "flying"
        if lap.first and start is None:
            kind = "out"
        elif index == len(done) - 1 and end is None:
            kind = "in"
        missed = _missed(lap, names, kind)
        begin = 0.0 if kind == "out" else None if start is None else start.time_s
        laps.append(
            Lap(
                number=number,
                kind=kind,
                complete=start is not None and end is not None and not missed,
                start_s=begin,
                time_s=_between(start, end),
                missed=missed,
                sectors=tuple(
                    SectorTime(_between(before, after), _between(start, after))
                    for before, after in zip(lap.passed[:-1], lap.passed[1:], strict=True)
                ),
                passed=tuple(lap.passed),
            )
        )
    return laps


def _between(first: Crossing | None, second: Crossing | None) -> float | None:
    return None if first is None or second is None else second.time_s - first.time_s


def _missed(lap: _OpenLap, names: Sequence[str], kind: LapKind) -> tuple[str, ...]:
    """Gates a lap should have crossed and did not.

    An out lap may begin, and an in lap may end, anywhere: only gates after the first, or before
    the last, that they did cross count.
    """
    crossed = [index for index, crossing in enumerate(lap.passed) if crossing is not None]
    if not crossed:
        return ()
    low = crossed[0] if kind == "out" else 0
    high = crossed[-1] if kind == "in" else len(names) - 1
    missing = [names[i] for i in range(low, high + 1) if lap.passed[i] is None]
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
        if lap is None or not lap.counts:
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
