"""Theoretical and continuous best, and the best sectors."""

from __future__ import annotations

from collections.abc import Sequence

from trackkit.motion.drive import Drive
from trackkit.timing.crossings import Crossing, sum_sigma
from trackkit.timing.laps import Lap, SectorTime


def best_sectors(laps: Sequence[Lap]) -> list[tuple[int, SectorTime, Lap]]:
    """Find the best time of each sector among complete laps: its index, the sector, its lap."""
    if not laps:
        return []
    return [
        min(
            ((index, lap.sectors[index], lap) for lap in laps),
            key=lambda choice: float("inf") if choice[1].time_s is None else choice[1].time_s,
        )
        for index in range(len(laps[0].sectors))
    ]


def theoretical_best(laps: Sequence[Lap]) -> float | None:
    """Sum of the best sectors of some complete laps, seconds, or None without laps."""
    best = [sector.time_s for _, sector, _ in best_sectors(laps) if sector.time_s is not None]
    return float(sum(best)) if best else None


def sum_of_sectors_sigma(
    drive: Drive, sectors: Sequence[tuple[int, SectorTime, Lap]]
) -> float | None:
    """One sigma of the sum of some sectors; where two share a crossing, its error cancels."""
    terms = [
        (crossing, sign)
        for index, _, lap in sectors
        for crossing, sign in ((lap.passed[index], -1.0), (lap.passed[index + 1], 1.0))
        if crossing is not None
    ]
    return sum_sigma(drive, terms) if terms else None


def fastest_run(laps: Sequence[Lap]) -> tuple[Crossing, Crossing] | None:
    """Find the fastest run over one whole lap length in one go, begun at any gate.

    Runs lie within complete flying laps that follow one another without a break; each run of a
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
