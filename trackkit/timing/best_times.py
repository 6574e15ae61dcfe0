"""Theoretical and continuous best, and the best sectors."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackkit.timing.crossings import Crossing, Known, sum_sigma, sum_sigmas
from trackkit.timing.laps import Lap, SectorTime

_FEWEST_TO_SCATTER = 3
_MOST_COMPARED = 12


def best_sectors(laps: Sequence[Lap]) -> list[tuple[int, SectorTime, Lap]]:
    """Find the best time of each sector: its index, the sector, its lap.

    Sectors are those of laps that count, and the clean ones of laps that are set aside for what
    happened elsewhere in them.  There are none without a lap that counts.
    """
    if not any(lap.counts for lap in laps):
        return []
    return [
        min(
            ((index, lap.sectors[index], lap) for lap in laps_for_sector(laps, index)),
            key=lambda choice: float("inf") if choice[1].time_s is None else choice[1].time_s,
        )
        for index in range(len(laps[0].sectors))
    ]


def laps_for_sector(laps: Sequence[Lap], sector: int) -> list[Lap]:
    """List the laps whose time of one sector, its place counted from 0, may be the best."""
    if not any(lap.counts for lap in laps):
        return []
    flying = [lap for lap in laps if lap.is_whole]
    return [lap for lap in flying if lap.counts or lap.is_clean(sector)]


def theoretical_best(laps: Sequence[Lap]) -> float | None:
    """Sum of the best sectors of some laps, seconds, or None where none counts."""
    best = [sector.time_s for _, sector, _ in best_sectors(laps) if sector.time_s is not None]
    return float(sum(best)) if best else None


def sum_of_sectors_sigma(
    drive: Known, sectors: Sequence[tuple[int, SectorTime, Lap]]
) -> float | None:
    """One sigma of the sum of some sectors; where two share a crossing, its error cancels."""
    terms = [term for index, _, lap in sectors for term in sector_terms(lap, index, 1.0)]
    return sum_sigma(drive, terms) if terms else None


def fastest_run(laps: Sequence[Lap]) -> tuple[Crossing, Crossing] | None:
    """Find the fastest run over one whole lap length in one go, begun at any gate.

    Runs lie within laps that count and that follow one another without a break; each run of a
    point-to-point course stands alone.

    Returns
    -------
    tuple of Crossing or None
        Where it began and ended.
    """
    best: tuple[Crossing, Crossing] | None = None
    stretch: list[Crossing] = []
    for lap in laps:
        gates = [crossing for crossing in lap.passed if crossing is not None]
        if not lap.counts:
            stretch = []
            continue
        joined = bool(stretch) and stretch[-1] is gates[0]
        length = len(lap.sectors)
        # Of the laps before, one lap length is enough: what ended there has been looked at.
        stretch = [*stretch[-length:], *gates[1:]] if joined else gates
        runs = [*([best] if best else []), *zip(stretch[:-length], stretch[length:], strict=True)]
        best = min(runs, key=lambda run: run[1].time_s - run[0].time_s)
    return best


def continuous_best(laps: Sequence[Lap]) -> float | None:
    """Time of the fastest run over one whole lap length in one go, seconds; see `fastest_run`."""
    run = fastest_run(laps)
    return None if run is None else run[1].time_s - run[0].time_s


def picked_too_small(drive: Known, laps: Sequence[Lap]) -> float:
    """By how much the best sectors are too small for being picked as such, seconds.

    Times with errors scatter by more than the true ones, and the smallest leads the mean by as much
    more: variances add up, and the lead grows with the standard deviation (order statistics; from
    memory).  What is wrong with all laps alike, such as where a gate lies for a receiver that day,
    makes none of them lead.
    """
    counted = [lap for lap in laps if lap.counts]
    if len(counted) < _FEWEST_TO_SCATTER:
        return 0.0
    some = counted[:: -(-len(counted) // _MOST_COMPARED)]
    too_small = 0.0
    for index, best, of in best_sectors(laps):
        times = np.array([lap.sectors[index].time_s for lap in counted], dtype=float)
        scatter = float(times.var(ddof=1))
        sums = [
            [*sector_terms(lap, index, 1.0), *sector_terms(of, index, -1.0)]
            for lap in some
            if lap is not of
        ]
        apart = float(np.mean(np.square(sum_sigmas(drive, sums))))
        share = min(1.0, 0.5 * apart / scatter) if scatter > 0 else 1.0
        if best.time_s is not None:
            too_small += max(0.0, float(times.mean()) - best.time_s) * (1.0 - np.sqrt(1.0 - share))
    return too_small


def sector_terms(lap: Lap, index: int, weight: float) -> list[tuple[Crossing, float]]:
    """List the crossings that a lap's time of a sector is made of, weighted, for `sum_sigma`."""
    ends = ((lap.passed[index], -weight), (lap.passed[index + 1], weight))
    return [(crossing, sign) for crossing, sign in ends if crossing is not None]


def median_sigma(drive: Known, laps: Sequence[Lap]) -> float | None:
    """One sigma of the median lap time of some laps, which is that of the lap or laps it is of."""
    ordered = sorted((lap for lap in laps if lap.time_s is not None), key=_time)
    middle = ordered[(len(ordered) - 1) // 2 : len(ordered) // 2 + 1]
    terms = [
        (crossing, sign / len(middle))
        for lap in middle
        for crossing, sign in ((lap.passed[0], -1.0), (lap.passed[-1], 1.0))
        if crossing is not None
    ]
    return sum_sigma(drive, terms) if terms else None


def _time(lap: Lap) -> float:
    return np.inf if lap.time_s is None else lap.time_s
