"""Which laps and sectors of a recording are the best, and which cannot be told from those."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from trackkit.timing.best_times import laps_for_sector
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap
from trackkit.timing.sessions import (
    Difference,
    Reference,
    Session,
    lap_difference,
    sector_difference,
)
from trackkit.track.model import Track

Mark = Literal["alone", "equal"]
"""A best of its kind: surely alone, or one of some that cannot be told apart."""


def best_laps(session: Session) -> tuple[Lap, ...]:
    """List the fastest lap that counts, and those after it that cannot be told from it.

    Each of them is slower than the fastest by no more than one sigma of their difference, the
    errors of one drive being taken as correlated; the first that is slower by more ends the list.

    Returns
    -------
    tuple of Lap
        The fastest first; empty where none counts.
    """
    return _in_front(
        session.report.counted,
        lambda lap: lap.time_s,
        lambda lap, first: lap_difference(session, lap, Reference(session, first)),
    )


def best_of_sector(session: Session, sector: int) -> tuple[Lap, ...]:
    """List the laps that hold the best time of a sector, as `best_laps` does those of a lap.

    Parameters
    ----------
    session
        The recording.
    sector
        Its place among the sectors, from 0.
    """
    return _in_front(
        laps_for_sector(session.report.laps, sector),
        lambda lap: lap.sectors[sector].time_s,
        lambda lap, first: sector_difference(session, lap, Reference(session, first), sector),
    )


def fastest_at(session: Session, gate: str) -> tuple[tuple[Lap, Crossing], ...]:
    """List the fastest passing of a speed gate, and those that cannot be told from it.

    Each is slower by no more than one sigma of the difference of the two speeds, whose errors are
    taken as independent, being of moments a lap apart.

    Parameters
    ----------
    session
        The recording.
    gate
        The id of the speed gate.

    Returns
    -------
    tuple
        Laps and how they passed, the fastest first; empty where none did.
    """
    passings = [
        (lap, crossing)
        for lap in session.report.laps
        for crossing in lap.speed_gates
        if crossing.gate == gate
    ]
    ranked = sorted(passings, key=lambda passing: -passing[1].speed_mps)
    front = ranked[:1]
    for lap, crossing in ranked[1:]:
        fastest = front[0][1]
        sigma = math.hypot(fastest.speed_sigma_mps or 0.0, crossing.speed_sigma_mps or 0.0)
        if fastest.speed_mps - crossing.speed_mps > sigma:
            break
        front.append((lap, crossing))
    return tuple(front)


@dataclass(frozen=True)
class BestMarks:
    """Which laps, sectors and passings of speed gates of a recording are marked as the best.

    Parameters
    ----------
    laps, sectors
        Of laps, and of laps for each sector, by session and number of the lap.
    speeds
        Of passings of speed gates.
    """

    laps: Mapping[tuple[int, int], Mark]
    sectors: tuple[Mapping[tuple[int, int], Mark], ...]
    speeds: Mapping[Crossing, Mark]

    def of_lap(self, lap: Lap) -> Mark | None:
        """Tell the mark of a lap, None where it is none of the best."""
        return self.laps.get((lap.session, lap.number))

    def of_sector(self, lap: Lap, sector: int) -> Mark | None:
        """Tell the mark of a lap's sector, its place counted from 0."""
        return self.sectors[sector].get((lap.session, lap.number)) if self.sectors else None


def best_marks(track: Track, session: Session) -> BestMarks:
    """Mark the best of a recording: "alone" where it is surely so, "equal" where it may not be."""

    def marks(best: Sequence[Lap]) -> dict[tuple[int, int], Mark]:
        return {(lap.session, lap.number): _mark(best) for lap in best}

    laps = session.report.laps
    speeds = [fastest_at(session, gate.id) for gate in track.gates_of_kind("speed")]
    return BestMarks(
        marks(best_laps(session)),
        tuple(
            marks(best_of_sector(session, index))
            for index in range(len(laps[0].sectors) if laps else 0)
        ),
        {crossing: _mark(front) for front in speeds for _, crossing in front},
    )


def _mark(best: Sequence[object]) -> Mark:
    return "alone" if len(best) == 1 else "equal"


def _in_front(
    laps: Sequence[Lap],
    time_s: Callable[[Lap], float | None],
    behind: Callable[[Lap, Lap], Difference | None],
) -> tuple[Lap, ...]:
    def order(lap: Lap) -> float:
        time = time_s(lap)
        return math.inf if time is None else time

    ranked = sorted(laps, key=order)
    front = ranked[:1]
    for lap in ranked[1:]:
        difference = behind(lap, front[0])
        if difference is None or difference.time_s > difference.sigma_s:
            break
        front.append(lap)
    return tuple(front)
