"""Who times the laps of a simulated session: straight lines, one drive alone, all laps together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from joint_sessions import Case, Driven

from trackkit.motion.drive import Drive
from trackkit.motion.noise import USUAL, Levels
from trackkit.motion.smooth import smooth
from trackkit.motion.smoother import solve
from trackkit.recordings.recording import Recording
from trackkit.timing.crossings import Crossing, cross, interval_sigma
from trackkit.timing.lap_times import time_laps
from trackkit.timing.lap_wander import levels_from_laps
from trackkit.track.features import Gate
from trackkit.track.model import Track

STRAIGHT, TODAY, INFORMED, JOINT = METHODS = ("straight", "today", "informed", "joint")
_NEAR_S = 2.0
_JERKS = np.geomspace(0.5, 1000.0, 30)
_JERK_FIXES = 3000


@dataclass(frozen=True, eq=False)
class Timed:
    """Crossings of the gates of every true lap, as one method has them.

    Parameters
    ----------
    crossed_s
        Shape (laps, gates + 1), as `Driven.crossed_s`; NaN where missed.
    lap_sigma_s, sector_sigma_s
        Reported uncertainties, shape (laps,) and (laps, gates), or None of a method without.
    drive, passed
        The drive they are of and the crossings at the finish that each lap begins and ends at;
        None of straight lines.
    """

    crossed_s: np.ndarray
    lap_sigma_s: np.ndarray | None = None
    sector_sigma_s: np.ndarray | None = None
    drive: Drive | None = None
    passed: tuple[tuple[Crossing | None, ...], ...] = ()


def timed_straight(track: Track, driven: Driven) -> Timed:
    """Interpolate straight between positions."""
    fixes = driven.recording
    position = track.plane.to_plane(fixes.longitude_deg, fixes.latitude_deg)
    gates = [_straight_crossings(track, gate, fixes, position) for gate in track.gates]
    return Timed(_paired([*gates, gates[0]], driven.crossed_s))


def _straight_crossings(
    track: Track, gate: Gate, fixes: Recording, position: np.ndarray
) -> np.ndarray:
    left, right = track.gate_ends(gate)
    across = (right - left) / np.linalg.norm(right - left)
    ahead = (position - left) @ np.array([-across[1], across[0]])
    along = (position - left) @ across
    inside = (along[1:] > 0) & (along[1:] < np.linalg.norm(right - left))
    k = np.flatnonzero((ahead[:-1] < 0) & (ahead[1:] >= 0) & inside)
    share = -ahead[k] / (ahead[k + 1] - ahead[k])
    return fixes.time_s[k] + share * (fixes.time_s[k + 1] - fixes.time_s[k])


def _paired(crossings: list[np.ndarray], truth: np.ndarray) -> np.ndarray:
    """Choose the crossing of each gate that is nearest to a true one; NaN where none is near."""
    paired = np.full(truth.shape, np.nan)
    for column, times in enumerate(crossings):
        if len(times):
            nearest = times[np.abs(times[None] - truth[:, column, None]).argmin(axis=1)]
            near = np.abs(nearest - truth[:, column]) < _NEAR_S
            paired[near, column] = nearest[near]
    return paired


def timed_today(track: Track, driven: Driven) -> Timed:
    """Smooth one drive alone; its wander is read from how laps lie beside each other."""
    drive = smooth(driven.recording, track.plane)
    if not drive.wander_from_recording:
        finish = cross(track.finish, drive, again_m=0.5 * track.length_m)
        laps = [(a.time_s, b.time_s) for a, b in pairwise(finish)]
        drive = drive.with_levels(levels_from_laps(track, drive, laps))
    return _timed_on(track, drive, driven)


def timed_informed(track: Track, driven: Driven, case: Case) -> Timed:
    """Smooth one drive alone that is given the true levels.

    The vehicle's jerk has no true level: it gets the likeliest under the others.
    """
    levels = replace(
        USUAL,
        wander_m=case.wander_m,
        wander_time_s=case.wander_s,
        white_m=case.white_m,
        doppler_mps=case.doppler_mps,
    )
    drive = smooth(driven.recording, track.plane, levels)
    drive = drive.with_levels(replace(levels, jerk=_likeliest_jerk(drive, levels)))
    return _timed_on(track, drive, driven)


def _likeliest_jerk(drive: Drive, levels: Levels) -> float:
    begin = max((len(drive.time_s) - _JERK_FIXES) // 2, 0)
    part = drive._measured.part(begin, begin + _JERK_FIXES)
    trust = drive.trust[begin : begin + _JERK_FIXES]
    likelihoods = [
        solve(part, replace(levels, jerk=jerk), trust, likelihood=True).log_likelihood
        for jerk in _JERKS
    ]
    return float(_JERKS[int(np.argmax(likelihoods))])


def _timed_on(track: Track, drive: Drive, driven: Driven) -> Timed:
    gates = [cross(gate, drive, again_m=0.5 * track.length_m) for gate in track.gates]
    drive.prepare_variances(crossing.fix for gate in gates for crossing in gate)
    by_time = [{crossing.time_s: crossing for crossing in gate} for gate in (*gates, gates[0])]
    times = _paired([np.array(list(gate)) for gate in by_time], driven.crossed_s)
    passed = tuple(
        tuple(gate.get(time) for gate, time in zip(by_time, row, strict=True))
        for row in times.tolist()
    )
    sectors = np.array(
        [[_sigma(drive, *ends) for ends in pairwise(crossings)] for crossings in passed]
    )
    laps = np.array([_sigma(drive, crossings[0], crossings[-1]) for crossings in passed])
    return Timed(times, laps, sectors, drive, passed)


def _sigma(drive: Drive, first: Crossing | None, last: Crossing | None) -> float:
    return np.nan if first is None or last is None else interval_sigma(drive, first, last)


def timed_joint(track: Track, driven: Driven) -> Timed:
    """Time laps as trackkit does for its users."""
    report = time_laps(track, driven.recording)
    times = np.full(driven.crossed_s.shape, np.nan)
    lap_sigma = np.full(len(times), np.nan)
    sector_sigma = np.full((len(times), times.shape[1] - 1), np.nan)
    passed: list[tuple[Crossing | None, ...]] = [()] * len(times)
    for lap in report.laps:
        if not lap.is_whole or lap.start_s is None:
            continue
        row = int(np.argmin(np.abs(driven.crossed_s[:, 0] - lap.start_s)))
        if abs(driven.crossed_s[row, 0] - lap.start_s) < _NEAR_S:
            times[row] = [c.time_s for c in lap.passed if c is not None]
            lap_sigma[row] = lap.sigma_s
            sector_sigma[row] = [sector.sigma_s for sector in lap.sectors]
            passed[row] = lap.passed
    return Timed(times, lap_sigma, sector_sigma, report.drive, tuple(passed))
