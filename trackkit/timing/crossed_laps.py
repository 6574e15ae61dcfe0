"""Laps that the crossings of a drive make, with their speeds and how well their times are known."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.timing.channels import with_channels
from trackkit.timing.crossings import Crossing, CrossingCovariance, with_speed_sigmas
from trackkit.timing.driving_sessions import DrivingSession
from trackkit.timing.lap_remarks import with_remarks
from trackkit.timing.laps import Lap, SectorTime, laps_between
from trackkit.timing.report import LapReport
from trackkit.timing.rules import LapRules
from trackkit.track.crossed import timed_gates
from trackkit.track.features import Gate
from trackkit.track.model import Track

_EDGE_S = 5.0
Parts = tuple[Floats, tuple[DrivingSession, ...]]
"""When the vehicle stood, begin and end, shape (k, 2), and the sessions."""
Pair = tuple[Crossing, Crossing]
SigmasOf = Callable[[Sequence[Pair]], dict[Pair, float]]
"""How well the times between some pairs of crossings are known, seconds."""


def laps_of_crossings(
    track: Track, crossings: Sequence[Crossing], sessions: Sequence[DrivingSession]
) -> list[Lap]:
    """List the laps that some crossings make, in order of time; without uncertainties.

    Parameters
    ----------
    track
        Whose gates were crossed.
    crossings
        In order of time.
    sessions
        No lap goes from one to another.

    Returns
    -------
    list of Lap
        Out laps and in laps among them.
    """
    order = [gate.id for gate in timed_gates(track)]
    pit_exits = [gate.id for gate in track.gates_of_kind("pit-exit")]
    speed_places = _speed_places(track)
    times = np.array([crossing.time_s for crossing in crossings])
    laps: list[Lap] = []
    for session in sessions:
        # Rolling to a halt on the line, or off it again, is the session's.
        low = int(np.searchsorted(times, session.begin_s - _EDGE_S))
        high = int(np.searchsorted(times, session.end_s + _EDGE_S))
        laps += laps_between(
            crossings[low:high],
            order,
            closed=track.closed,
            pit_exits=pit_exits,
            speed_places=speed_places,
            session=session.number,
            begin_s=session.begin_s,
        )
    return laps


def lap_report(
    track: Track,
    drive: Drive,
    crossings: Sequence[Crossing],
    parts: Parts,
    rules: LapRules,
    sigmas_of: SigmasOf,
    *,
    best_sigmas: bool,
    together: CrossingCovariance | None = None,
) -> LapReport:
    """Time the laps that the crossings of a drive make.

    Parameters
    ----------
    track
        Whose gates were crossed.
    drive
        The smoothed drive.
    crossings
        Of the drive, in order of time.
    parts
        When the vehicle stood, and the sessions.
    rules
        Which laps count.
    sigmas_of
        Tells how well the times between pairs of crossings are known.
    best_sigmas
        Whether to work out how well the best times and speeds are known as well, and what other
        channels say of each lap.
    together
        All crossings held against each other, where that has been done.

    Returns
    -------
    LapReport
        With its laps and the best times.
    """
    if best_sigmas and together is None:
        drive.prepare_variances(crossing.fix for crossing in crossings)
    spells, sessions = parts
    laps = laps_of_crossings(track, crossings, sessions)
    sigmas = sigmas_of([pair for lap in laps for pair in _intervals(lap)])
    speed = drive.speed_mps
    laps = [_measured(speed, lap, sigmas) for lap in laps]
    laps = with_remarks(track, drive, laps, spells, rules)
    if best_sigmas:
        laps = with_channels(laps, drive.recording.channels)
        laps = _with_speed_sigmas(drive, laps)
    report = LapReport(
        name=drive.recording.name,
        start=drive.recording.start,
        laps=(),
        crossings=tuple(crossings),
        best_lap_s=None,
        theoretical_best_s=None,
        continuous_best_s=None,
        median_s=None,
        spread_s=None,
        sessions=sessions,
        track=track,
        _kept=drive,
        _together=together,
    )
    return report.of_laps(laps, best_sigmas=best_sigmas)


def _speed_places(track: Track) -> dict[str, float]:
    """Find between which of the timed gates each speed gate lies, for `laps_between`."""
    first, *others = timed_gates(track)

    def ahead(gate: Gate) -> float:
        # The declared length will do: laying out the curve would cost half a second of start-up.
        along = gate.chainage_m - first.chainage_m
        return along % track.length_m if track.closed else along

    return {
        gate.id: 0.5 + sum(ahead(other) <= ahead(gate) for other in others)
        for gate in track.gates_of_kind("speed")
    }


def _with_speed_sigmas(drive: Drive, laps: Sequence[Lap]) -> list[Lap]:
    passed = sorted((c for lap in laps for c in lap.speed_gates), key=lambda c: c.time_s)
    if not passed:
        return list(laps)
    measured = dict(zip(passed, with_speed_sigmas(drive, passed), strict=True))
    return [
        replace(lap, speed_gates=tuple(measured[crossing] for crossing in lap.speed_gates))
        for lap in laps
    ]


def _intervals(lap: Lap) -> list[Pair]:
    """List between which crossings its sectors were driven, and the lap as a whole."""
    ends = [*pairwise(lap.passed), (lap.passed[0], lap.passed[-1])]
    return [(before, after) for before, after in ends if before is not None and after is not None]


def _measured(speed_mps: Floats, lap: Lap, sigmas: Mapping[Pair, float]) -> Lap:
    """Add uncertainties and speeds to a lap's times."""
    sectors = tuple(
        sector
        if before is None or after is None
        else _measured_sector(speed_mps, sector, before, after, sigmas[before, after])
        for sector, before, after in zip(lap.sectors, lap.passed[:-1], lap.passed[1:], strict=True)
    )
    if lap.pit_visits:
        top_in_pits = max(_speeds(speed_mps, *visit)[1] for visit in lap.pit_visits)
        lap = replace(lap, pit_speed_mps=top_in_pits)
    first, last = lap.passed[0], lap.passed[-1]
    if first is None or last is None:
        return replace(lap, sectors=sectors)
    lowest, top = _speeds(speed_mps, first, last)
    return replace(
        lap,
        sectors=sectors,
        sigma_s=sigmas[first, last],
        lowest_mps=lowest,
        top_mps=top,
    )


def _measured_sector(
    speed_mps: Floats, sector: SectorTime, before: Crossing, after: Crossing, sigma_s: float
) -> SectorTime:
    lowest, top = _speeds(speed_mps, before, after)
    return replace(sector, sigma_s=sigma_s, lowest_mps=lowest, top_mps=top)


def _speeds(speed_mps: Floats, before: Crossing, after: Crossing) -> tuple[float, float]:
    """Lowest and highest speed between two crossings, m/s, from those at all fixes."""
    ends = (before.speed_mps, after.speed_mps)
    between = speed_mps[before.fix + 1 : after.fix + 1]
    if not len(between):
        return min(ends), max(ends)
    return min(*ends, float(between.min())), max(*ends, float(between.max()))
