"""Drives recorded with given levels of noise, and what not being told them costs lap times.

The drive is that of `trackkit.simulation`; noise is drawn here, from the stated levels.  Every
drive is timed three times: by trackkit, which reads the levels from the recording, as the drive
alone has it and as all laps together have it, which is what it tells; and by an informed smoother
of the drive alone, which is given the true levels (of the vehicle's jerk, which has no true level,
the likeliest under them).  Of jumps the other word is the same recording without the fixes that
jump, timed alone too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from checkout import ROOT
from practice_tracks import make_track

from trackkit.motion.drive import Drive
from trackkit.motion.noise import Levels
from trackkit.motion.smooth import smooth
from trackkit.motion.smoother import solve
from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import Simulation, simulate_drive
from trackkit.timing.crossings import cross, interval_sigma
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track
from trackkit.track.model import Track

TRACKS = ("pipwick-kart-circuit", "ruddlebeck-short", "saltpenny-atoll-clockwise")
BENDS = ((8, 8.0, 100.0), (10, 6.0, 100.0), (12, 8.0, 120.0))
"""Circuits that wind all the way round: bends to either side, metres they reach, and radius."""
LAPS = 15
JERKS = np.geomspace(1.0, 200.0, 24)
JERK_FIXES = 3000
_SAME_LAP_S = 2.0
FILTERED_WHITE_MPS = 0.002
"""White noise of velocities that carry none but a filtered one: a smoother needs some."""


@dataclass(frozen=True)
class Case:
    """What is recorded: fixes a second, true levels, and what is not of the noise model."""

    name: str
    rate_hz: float
    levels: Levels
    doppler: bool = True
    jumps: bool = False
    winding: bool = False


@dataclass(frozen=True)
class Session:
    """A recording, the true crossings of the finish gate, and the fixes that jump."""

    recording: Recording
    crossed_s: np.ndarray
    jumping: np.ndarray


def winding_track(bends: int, reach_m: float, radius_m: float) -> Track:
    """Lay out a circle that winds to either side."""
    angle = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    away = radius_m + reach_m * np.sin(bends * angle)
    ring = away[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return make_track(ring, gates=[("finish", 0.0)], half_m=8.0)


def gauss_markov(count: int, fade: float, random: np.random.Generator) -> np.ndarray:
    """Draw a first-order Gauss-Markov process of unit variance on two axes, evenly spaced."""
    from scipy.signal import lfilter

    fresh = random.normal(size=(count, 2))
    fresh[1:] *= np.sqrt(1.0 - fade**2)
    return lfilter([1.0], [1.0, -fade], fresh, axis=0)


def record(track: Track, drive: Simulation, case: Case, seed: int) -> Session:
    """Record a drive at a rate, with the noise of a case."""
    levels, random = case.levels, np.random.default_rng([seed, round(case.rate_hz), 7])
    when = np.round(np.arange(0.0, drive.runs[-1].end_s, 1.0 / case.rate_hz), 3)
    count = len(when)
    position = drive.position_m(when)
    fade = np.exp(-1.0 / (case.rate_hz * levels.wander_time_s))
    position += levels.wander_m * gauss_markov(count, fade, random)
    position += levels.white_m * random.normal(size=(count, 2))
    jumping = np.zeros(count, dtype=bool)
    if case.jumps:
        jumping = jump(when, position, random)
    velocity = drive.velocity_mps(when)
    velocity += levels.doppler_mps * random.normal(size=(count, 2))
    if levels.slow_doppler_mps:
        fade = np.exp(-1.0 / (case.rate_hz * levels.slow_doppler_time_s))
        velocity += levels.slow_doppler_mps * gauss_markov(count, fade, random)
    longitude, latitude = track.plane.to_geographic(position)
    grid = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1]))
    course = (grid + track.plane.convergence_deg(longitude, latitude)) % 360
    recording = Recording(
        "levels",
        when,
        longitude,
        latitude,
        speed_mps=np.hypot(*velocity.T) if case.doppler else None,
        course_deg=course if case.doppler else None,
    )
    crossed = [c["time_s"] for c in drive.truth["crossings"] if c["gate"] == track.finish.id]
    return Session(recording, np.array(crossed), jumping)


def jump(when: np.ndarray, position: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Shift stretches of 2 to 10 s by 4 to 15 m, one every 100 s; tell which fixes."""
    jumping = np.zeros(len(when), dtype=bool)
    for begin in np.arange(40.0, when[-1] - 60.0, 100.0):
        first = begin + random.uniform(0.0, 60.0)
        inside = (when >= first) & (when < first + random.uniform(2.0, 10.0))
        angle, far = random.uniform(0.0, 2.0 * np.pi), random.uniform(4.0, 15.0)
        position[inside] += far * np.array([np.cos(angle), np.sin(angle)])
        jumping |= inside
    return jumping


def without(recording: Recording, gone: np.ndarray) -> Recording:
    """Leave some fixes out of a recording."""
    columns = {
        name: getattr(recording, name)[~gone]
        for name in ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg")
        if getattr(recording, name) is not None
    }
    return replace(recording, segment=None, **columns)


def informed_times(track: Track, recording: Recording, levels: Levels) -> np.ndarray:
    """Lap times and sigmas of a smoother that is given the levels, by when each lap begins."""
    drive = smooth(recording, track.plane, levels)
    middle = len(recording) // 2
    begin = max(middle - JERK_FIXES // 2, 0)
    part = drive._measured.part(begin, begin + JERK_FIXES)
    trust = drive.trust[begin : begin + JERK_FIXES]
    likelihoods = [
        solve(part, replace(levels, jerk=jerk), trust, likelihood=True).log_likelihood
        for jerk in JERKS
    ]
    best = float(JERKS[int(np.argmax(likelihoods))])
    return crossing_times(track, drive.with_levels(replace(levels, jerk=best)))


def crossing_times(track: Track, drive: Drive) -> np.ndarray:
    """When each lap of a drive begins, how long it takes and one sigma of that."""
    crossings = cross(track.finish, drive)
    drive.prepare_variances(crossing.fix for crossing in crossings)
    return np.array(
        [
            (a.time_s, b.time_s - a.time_s, interval_sigma(drive, a, b))
            for a, b in pairwise(crossings)
        ]
    )


def own_times(track: Track, recording: Recording) -> tuple[np.ndarray, np.ndarray]:
    """The same as trackkit has them of complete laps, of the drive alone and of all together.

    A lap with a gap is complete, though it does not count.
    """
    report = time_laps(track, recording)
    rows = [(lap.start_s, lap.time_s, lap.sigma_s) for lap in report.laps if lap.complete]
    together = np.array(rows).reshape(-1, 3)
    alone = crossing_times(track, report.drive.alone())
    apart = np.abs(alone[:, None, :2] - together[:, :2]).max(axis=2)
    return alone[(apart < _SAME_LAP_S).any(axis=1)], together


def errors(crossed_s: np.ndarray, told: np.ndarray) -> np.ndarray:
    """Error and sigma of each true lap, shape (laps, 2); NaN where it was not timed."""
    rows = np.full((len(crossed_s) - 1, 2), np.nan)
    for row, begin, duration in zip(rows, crossed_s, np.diff(crossed_s), strict=False):
        near = np.flatnonzero(np.abs(told[:, 0] - begin) < _SAME_LAP_S) if len(told) else []
        if len(near) == 1:
            row[:] = told[near[0], 1] - duration, told[near[0], 2]
    return rows


def sessions(case: Case, count: int, seed: int, tracks: int = 3) -> Iterator[tuple[Track, Session]]:
    """Make the recordings of a case; the drives are those of the other cases."""
    if case.winding:
        circuits = [winding_track(*bends) for bends in BENDS[:tracks]]
    else:
        circuits = [read_track(ROOT / "tracks" / f"{name}.geojson") for name in TRACKS[:tracks]]
    for number, track in enumerate(circuits):
        for k in range(count):
            own_seed = seed + 1000 * number + k
            drive = simulate_drive(track, laps=LAPS, rate_hz=1.0, seed=own_seed)
            yield track, record(track, drive, case, own_seed)


def measure(case: Case, count: int, seed: int, tracks: int = 3) -> np.ndarray:
    """Errors and sigmas: alone, the other's, together; shape (sessions, laps, 6)."""
    rows = []
    for track, session in sessions(case, count, seed, tracks):
        alone, together = own_times(track, session.recording)
        if case.jumps:
            other, _ = own_times(track, without(session.recording, session.jumping))
        else:
            other = informed_times(track, session.recording, case.levels)
        timed = [errors(session.crossed_s, times) for times in (alone, other, together)]
        rows.append(np.concatenate(timed, axis=1))
    return np.array(rows)


@dataclass(frozen=True)
class Summary:
    """What a case came to; times in milliseconds, shares in per cent."""

    laps: int
    lost: int
    own_ms: float
    other_ms: float
    ratio: float
    ratio_sigma: float
    over_sigma: float
    within_1: float
    within_2: float
    beyond_5: int


def summary(rows: np.ndarray, *, together: bool = False) -> Summary:
    """Sum up the drive alone, or all laps together; the ratio's sigma is a jackknife over sessions.

    Laps that are not timed in each way count in none.
    """
    own = [4, 5] if together else [0, 1]
    rows = rows[:, :, [*own, 2, 3, *(k for k in (0, 1, 4, 5) if k not in own)]]
    lost = int((np.isnan(rows[:, :, 0]) & ~np.isnan(rows[:, :, 2])).sum())
    rows = np.where(np.isnan(rows).any(axis=2, keepdims=True), np.nan, rows)
    squares = np.nansum(rows**2, axis=1)
    total = squares.sum(axis=0)
    left_out = np.sqrt((total - squares)[:, 0] / (total - squares)[:, 2])
    ratio_sigma = np.sqrt((len(rows) - 1) * left_out.var())
    error, sigma, other = rows.reshape(-1, 6)[~np.isnan(rows).any(axis=2).ravel()].T[:3]
    root = np.sqrt([np.mean(x**2) for x in (error, sigma, other)])
    far = np.abs(error) / sigma
    return Summary(
        laps=len(error),
        lost=lost,
        own_ms=1e3 * root[0],
        other_ms=1e3 * root[2],
        ratio=root[0] / root[2],
        ratio_sigma=float(ratio_sigma),
        over_sigma=root[0] / root[1],
        within_1=100 * float(np.mean(far < 1)),
        within_2=100 * float(np.mean(far < 2)),
        beyond_5=int((far > 5).sum()),
    )


WHITE = Levels()
FILTERED = Levels(doppler_mps=FILTERED_WHITE_MPS, slow_doppler_mps=0.05)
PHONE = Levels(wander_m=3.0, wander_time_s=60.0)
