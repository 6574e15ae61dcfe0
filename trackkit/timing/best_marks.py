"""Which laps and sectors of a recording are the best, and which cannot be told from those."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from trackkit.timing.best_times import laps_for_sector
from trackkit.timing.laps import Lap
from trackkit.timing.sessions import (
    Difference,
    Reference,
    Session,
    lap_difference,
    sector_differences,
)


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
        lambda lap, first: sector_differences(session, lap, Reference(session, first))[sector],
    )


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
