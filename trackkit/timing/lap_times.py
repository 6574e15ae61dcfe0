"""Laps, sectors, theoretical and continuous best, each time with its uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive, smooth
from trackkit.motion.noise import USUAL
from trackkit.recordings.recording import Recording
from trackkit.timing.best_times import (
    best_sectors,
    continuous_best,
    fastest_run,
    sum_of_sectors_sigma,
    theoretical_best,
)
from trackkit.timing.crossings import Crossing, cross, interval_sigma
from trackkit.timing.lap_wander import wander_from_laps
from trackkit.timing.laps import Lap, SectorTime, laps_between
from trackkit.track.model import Gate, Track, crossed_gates, timed_gates


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
    wander = wander_from_laps(track, drive, whole) or USUAL.wander_m
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
        theoretical_best_sigma_s=sum_of_sectors_sigma(drive, best_sectors(counted))
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


def _lap_time(lap: Lap) -> float:
    return float("inf") if lap.time_s is None else lap.time_s
