"""Laps, sectors, theoretical and continuous best, each time with its uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.crossings import Crossing, cross, interval_sigma, sum_sigma
from trackkit.geodesy import Floats
from trackkit.lapsequence import Lap, SectorTime, laps_between
from trackkit.lapwander import wander_from_laps
from trackkit.motion import Drive, smooth
from trackkit.recording import Recording
from trackkit.smoother import Levels
from trackkit.track import Gate, Track


@dataclass(frozen=True, eq=False)
class LapReport:
    """The laps of one recording; the best times are over complete flying laps.

    `median_s` and `spread_s` are the median of their lap times and the standard deviation about
    their mean; None where there are too few.  `continuous_from` is the crossing that the
    continuous best begins at.  Best times carry the uncertainty of those times; that they were
    picked as the smallest makes them a little too small besides.
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
    theoretical_best_sigma_s: float | None = None
    continuous_best_sigma_s: float | None = None
    continuous_from: Crossing | None = None

    @property
    def best_lap(self) -> Lap | None:
        """The complete flying lap with the least time, the first of them."""
        return min(self.counted, key=_lap_time, default=None)

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
    drive = smooth(recording, track.plane)
    crossings = crossings_of(track, drive)
    if not drive.wander_told:
        drive = with_wander(track, drive, whole_laps(track, laps_of(track, crossings)))
        crossings = crossings_of(track, drive)
    return lap_report(track, drive, crossings)


def crossed_gates(track: Track) -> list[Gate]:
    """List the gates that laps are told by, and those that tell a speed."""
    pit_gates = track.gates_of_kind("pit-entry", "pit-exit")
    return [*timed_gates(track), *pit_gates, *track.gates_of_kind("speed")]


def crossings_of(track: Track, drive: Drive) -> list[Crossing]:
    """Find the crossings of a track's gates, in order of time."""
    found = [crossing for gate in crossed_gates(track) for crossing in cross(gate, drive)]
    return sorted(found, key=lambda crossing: crossing.time_s)


def laps_of(track: Track, crossings: Sequence[Crossing]) -> list[Lap]:
    """Tell the laps that some crossings make, in order of time; without uncertainties."""
    return laps_between(
        crossings,
        [gate.id for gate in timed_gates(track)],
        closed=track.closed,
        pit_exits=[gate.id for gate in track.gates_of_kind("pit-exit")],
        speed_places=_speed_places(track),
    )


def whole_laps(track: Track, laps: Sequence[Lap]) -> tuple[tuple[float, float], ...]:
    """List begin and end, seconds, of the laps that can tell the receiver's wander."""
    return tuple(
        (lap.start_s, lap.start_s + lap.time_s)
        for lap in laps
        if track.closed and lap.counts and lap.start_s is not None and lap.time_s is not None
    )


def with_wander(track: Track, drive: Drive, whole: Sequence[tuple[float, float]]) -> Drive:
    """Smooth a drive again with the wander that its laps tell, or else the usual one.

    Parameters
    ----------
    track
        The track.
    drive
        Smoothed, with a level of the wander that it does not tell by itself.
    whole
        See `whole_laps`.
    """
    wander = wander_from_laps(track, drive, whole) or Levels().wander_m
    return drive.with_levels(replace(drive.levels, wander_m=wander))


def lap_report(
    track: Track,
    drive: Drive,
    crossings: Sequence[Crossing],
    sigma: Callable[[Drive, Crossing, Crossing], float] = interval_sigma,
    *,
    best_sigmas: bool = True,
) -> LapReport:
    """Time the laps that some crossings of a drive make.

    Parameters
    ----------
    track
        The track.
    drive
        The smoothed drive.
    crossings
        Of all gates that laps are told by (`crossed_gates`), in order of time.
    sigma
        How well the time between two crossings is known, seconds; for one who remembers.
    best_sigmas
        Whether to work out the uncertainties of the best times.
    """
    if best_sigmas:
        drive.prepare_variances(crossing.fix for crossing in crossings)
    laps = [_measured(drive, lap, sigma) for lap in laps_of(track, crossings)]
    counted = [lap for lap in laps if lap.counts]
    times = np.array([lap.time_s for lap in counted])
    run = fastest_run(laps)
    return LapReport(
        recording=drive.recording,
        drive=drive,
        laps=tuple(laps),
        crossings=tuple(crossings),
        best_lap_s=float(times.min()) if len(times) else None,
        theoretical_best_s=theoretical_best(counted),
        continuous_best_s=continuous_best(laps),
        median_s=float(np.median(times)) if len(times) else None,
        spread_s=float(times.std(ddof=1)) if len(times) > 1 else None,
        theoretical_best_sigma_s=_sum_of_sectors_sigma(drive, best_sectors(counted))
        if best_sigmas
        else None,
        continuous_best_sigma_s=None
        if run is None or not best_sigmas
        else interval_sigma(drive, *run),
        continuous_from=None if run is None else run[0],
    )


def _speed_places(track: Track) -> dict[str, float]:
    """Tell between which of the timed gates each speed gate is, as `laps_between` wants it."""
    first, *others = timed_gates(track)

    def ahead(gate: Gate) -> float:
        # The declared length will do: laying out the curve would cost half a second of start-up.
        along = gate.chainage_m - first.chainage_m
        return along % track.length_m if track.closed else along

    return {
        gate.id: 0.5 + sum(ahead(other) <= ahead(gate) for other in others)
        for gate in track.gates_of_kind("speed")
    }


def timed_gates(track: Track) -> list[Gate]:
    """Gates in the order a lap crosses them, beginning with the one it begins at.

    A point-to-point course ends with its finish gate; on a closed track the lap ends where it
    began.
    """
    sectors = track.gates_of_kind("sector")
    if track.closed:
        return [track.finish, *sectors]
    return [track.timed_from, *sectors, track.finish]


def _measured(drive: Drive, lap: Lap, sigma: Callable[[Drive, Crossing, Crossing], float]) -> Lap:
    """Add uncertainties and speeds to a lap's times."""
    sectors = tuple(
        sector
        if before is None or after is None
        else _measured_sector(drive, sector, before, after, sigma(drive, before, after))
        for sector, before, after in zip(lap.sectors, lap.passed[:-1], lap.passed[1:], strict=True)
    )
    first, last = lap.passed[0], lap.passed[-1]
    if first is None or last is None:
        return replace(lap, sectors=sectors)
    lowest, top = _speeds(drive, first, last)
    return replace(
        lap,
        sectors=sectors,
        sigma_s=sigma(drive, first, last),
        lowest_mps=lowest,
        top_mps=top,
    )


def _measured_sector(
    drive: Drive, sector: SectorTime, before: Crossing, after: Crossing, sigma_s: float
) -> SectorTime:
    lowest, top = _speeds(drive, before, after)
    return replace(sector, sigma_s=sigma_s, lowest_mps=lowest, top_mps=top)


def _speeds(drive: Drive, before: Crossing, after: Crossing) -> tuple[float, float]:
    """Lowest and highest speed between two crossings, m/s."""
    velocity: Floats = drive.velocity_mps[before.fix + 1 : after.fix + 1]
    between = np.hypot(velocity[:, 0], velocity[:, 1])
    speeds = np.concatenate([[before.speed_mps, after.speed_mps], between])
    return float(speeds.min()), float(speeds.max())


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


def _sum_of_sectors_sigma(
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
        stretch = [*stretch, *gates[1:]] if joined else gates
        length = len(lap.sectors)
        runs = [*zip(stretch[:-length], stretch[length:], strict=True), *([best] if best else [])]
        best = min(runs, key=lambda run: run[1].time_s - run[0].time_s)
    return best


def continuous_best(laps: Sequence[Lap]) -> float | None:
    """Time of the fastest run over one whole lap length in one go, seconds; see `fastest_run`."""
    run = fastest_run(laps)
    return None if run is None else run[1].time_s - run[0].time_s


def _lap_time(lap: Lap) -> float:
    return float("inf") if lap.time_s is None else lap.time_s
