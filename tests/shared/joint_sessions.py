"""Simulated sessions for the bench of all laps together, with the drive behind them known.

The drive keeps to a line of its own: the true centreline, a part that the driver repeats lap
after lap (smooth, 1 m), and deviations that vary from lap to lap.  The receiver's noise is that of
docs/methods.md: wander, white noise and Doppler noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
from joint_circuits import GATE_HALF_M, WIDE_GATE_HALF_M, Circuit, Kind, circuit, track_file
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d, minimum_filter1d
from scipy.signal import lfilter

from trackkit.motion.vehicle import CAR, KART, assumed_speed
from trackkit.recordings.recording import Recording
from trackkit.simulation.drive import Run
from trackkit.simulation.simulate import crossing_times
from trackkit.track.model import Track

REPEATED_M = 1.0
"""Of what a driver repeats beside the centreline, root mean square."""
RAIN_M = 1.5
"""How far the line driven in the rain is from the dry one, root mean square."""
RAIN_PACE = 0.88
MATERN_POLES, MATERN_REACH = 4, 3.5126
"""Low passes in a row, and the product of their rate and the distance over which the correlation
of what comes out falls to 1/e."""
_STEP_M = 1.0
_ROUNDS = 6


@dataclass(frozen=True)
class Case:
    """What is driven and what records it; levels are one sigma an axis.

    Parameters
    ----------
    laps
        Flying laps of each recording.
    recordings
        Of different drivers on the same circuit, two where laps of both are compared.
    deviation_m
        Of the line from lap to lap, least and most; each session has its own.
    off_m
        How far the track file's line is off; see `joint_circuits.track_file`.
    jumps
        Whether positions shift for a while as multipath makes them, which nothing else shows.
    change
        What the driver does halfway: drives another line, or a line for rain, and slower.
    """

    rate_hz: float
    doppler: bool
    kind: Kind = "car"
    laps: int = 15
    recordings: int = 1
    deviation_m: tuple[float, float] = (0.3, 0.5)
    wander_m: float = 1.0
    wander_s: float = 120.0
    white_m: float = 0.15
    doppler_mps: float = 0.05
    off_m: float = 0.5
    jumps: bool = False
    change: Literal["none", "line", "rain"] = "none"


@dataclass(frozen=True, eq=False)
class DrivenLine:
    """What a generator drove: the noiseless drive on the circuit's own plane.

    Parameters
    ----------
    time_s, position_m
        Knots of the drive, shape (n,) and (n, 2).
    chainage_m
        Along the true centreline, counted on from lap to lap; 0 is where the first lap begins.
    line_m
        Left of the true centreline: the line that is repeated, every metre of the lap, or None
        where a generator knows of none.
    """

    time_s: np.ndarray
    position_m: np.ndarray
    chainage_m: np.ndarray
    line_m: np.ndarray | None = None
    deviation_m: float = 0.0
    deviation_over_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Driven:
    """One recording and the drive behind it, on the plane of the track file.

    Parameters
    ----------
    crossed_s
        When each gate was crossed: shape (laps, gates + 1), a lap ending at the finish.
    """

    recording: Recording
    run: Run
    crossed_s: np.ndarray
    line: DrivenLine


@dataclass(frozen=True, eq=False)
class Session:
    """A track file and what was recorded there."""

    case: Case
    ground: Circuit
    track: Track
    driven: tuple[Driven, ...]


Generator = Callable[[Circuit, Case, np.random.Generator], DrivenLine]
Noise = Callable[[np.ndarray, Case, np.random.Generator], tuple[np.ndarray, np.ndarray]]
"""Errors of positions and of velocities at some times, each of shape (n, 2)."""


def session(case: Case, seed: int, generator: Generator, noise: Noise) -> Session:
    """Invent a circuit, drive there and record it."""
    random = np.random.default_rng([seed, 16])
    ground = circuit(case.kind, random)
    half_m = GATE_HALF_M if case.wander_m < 2.0 else WIDE_GATE_HALF_M
    track = track_file(ground, random, case.off_m, half_m)
    driven = []
    for _ in range(case.recordings):
        line = generator(ground, case, random)
        on_track = track.plane.to_plane(*ground.plane.to_geographic(line.position_m))
        run = Run(CubicSpline(line.time_s, on_track), CubicSpline(line.time_s, line.chainage_m))
        recording = _recorded(track, run, case, noise, random)
        driven.append(Driven(recording, run, _crossings(track, run, case.laps), line))
    return Session(case, ground, track, tuple(driven))


def keeps_a_line(ground: Circuit, case: Case, random: np.random.Generator) -> DrivenLine:
    """Drive along a line that is repeated, with deviations: the first generator."""
    curve = ground.curve
    count = round(curve.length_m / _STEP_M)
    turns = case.laps + 2
    step = curve.length_m / count
    # Out of the pits a little after the finish, and into them before it.
    chainage = np.arange(round(0.1 * count), round((turns - 0.1) * count)) * step - curve.length_m
    lap = np.floor(chainage / curve.length_m + 1e-9)
    vehicle = CAR if ground.kind == "car" else KART
    pace = assumed_speed(curve, np.arange(count) * step, vehicle)
    ease_m = 12.0 if ground.kind == "car" else 6.0
    slowest = minimum_filter1d(pace, int(2.0 * ease_m / step), mode="wrap")
    pace = gaussian_filter1d(slowest, ease_m / step, mode="wrap")
    repeated = _repeated(count, random)
    another = repeated
    if case.change == "line":
        another = _repeated(count, random)
    elif case.change == "rain":
        another = repeated + RAIN_M / REPEATED_M * _repeated(count, random)
    changed = _rise((chainage / curve.length_m - 0.5 * case.laps) / 0.1)
    index = np.round(chainage / step).astype(int) % count
    over_m = float(random.uniform(30.0, 60.0))
    sigma_m = float(random.uniform(*case.deviation_m))
    deviation = sigma_m * matern(len(chainage), step, over_m, random)
    aside = (1.0 - changed) * repeated[index] + changed * another[index] + deviation
    factor = 1.0 + 0.01 * matern(len(chainage), step, 150.0, random)
    factor *= (1.0 + 0.006 * random.normal(size=turns))[np.clip(lap.astype(int) + 1, 0, turns - 1)]
    factor *= np.where((lap < 0) | (lap >= case.laps), 0.85, 1.0)
    if case.change == "rain":
        factor *= 1.0 - (1.0 - RAIN_PACE) * changed
    speed = pace[index] * gaussian_filter1d(factor, 25.0 / step)
    # Rolling off, and rolling out: there is nothing before and after.
    rolling = np.minimum(chainage - chainage[0], chainage[-1] - chainage)
    speed = np.minimum(speed, np.sqrt(9.0 + 6.0 * rolling))
    position = curve.position(chainage) + aside[:, None] * curve.left(chainage)
    stride = np.linalg.norm(np.diff(position, axis=0), axis=1)
    time = np.concatenate([[0.0], np.cumsum(stride / (0.5 * (speed[1:] + speed[:-1])))])
    return DrivenLine(time, position, chainage, repeated, sigma_m, over_m)


def _repeated(count: int, random: np.random.Generator) -> np.ndarray:
    """Draw what a driver repeats, every `_STEP_M` of a lap, smooth over tens of metres."""
    over_m = random.uniform(60.0, 120.0)
    line = gaussian_filter1d(random.normal(size=count), 0.5 * over_m / _STEP_M, mode="wrap")
    return REPEATED_M * line / np.sqrt(np.mean(line**2))


def matern(count: int, step_m: float, over_m: float, random: np.random.Generator) -> np.ndarray:
    """Draw a smooth process of unit variance that is as far as 1/e correlated over `over_m`.

    Four equal low passes one after the other: the Matern process of order 7/2 (Rasmussen &
    Williams, Gaussian Processes for Machine Learning, section 4.2; from memory).
    """
    rate = MATERN_REACH / over_m
    before = int(20.0 / rate / step_m)
    value = random.normal(size=before + count)
    kept = np.exp(-rate * step_m)
    response = np.zeros(before)
    response[0] = 1.0
    for _ in range(MATERN_POLES):
        value = lfilter([1.0], [1.0, -kept], value)
        response = lfilter([1.0], [1.0, -kept], response)
    return value[before:] / np.linalg.norm(response)


def _rise(share: np.ndarray) -> np.ndarray:
    x = np.clip(share, 0.0, 1.0)
    return x**3 * (10.0 - 15.0 * x + 6.0 * x**2)


def usual_noise(
    time_s: np.ndarray, case: Case, random: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Draw Gauss-Markov wander and white noise, evenly spaced in time."""
    count = len(time_s)
    kept = np.exp(-1.0 / (case.rate_hz * case.wander_s))
    fresh = random.normal(size=(count, 2))
    fresh[1:] *= np.sqrt(1.0 - kept**2)
    wander = case.wander_m * lfilter([1.0], [1.0, -kept], fresh, axis=0)
    white = case.white_m * random.normal(size=(count, 2))
    return wander + white, case.doppler_mps * random.normal(size=(count, 2))


def multipath(time_s: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Shift stretches of 5 to 40 s by 2 to 8 m, one about every 110 s; each comes and goes."""
    shift = np.zeros((len(time_s), 2))
    begin = random.uniform(20.0, 120.0)
    while begin < time_s[-1] - 45.0:
        lasting, ramp = random.uniform(5.0, 40.0), random.uniform(0.3, 2.0)
        angle, far = random.uniform(0.0, 2.0 * np.pi), random.uniform(2.0, 8.0)
        inside = _rise((time_s - begin) / ramp) * _rise((begin + lasting - time_s) / ramp)
        shift += far * inside[:, None] * np.array([np.cos(angle), np.sin(angle)])
        begin += lasting + random.exponential(90.0)
    return shift


def _recorded(
    track: Track, run: Run, case: Case, noise: Noise, random: np.random.Generator
) -> Recording:
    when = np.round(np.arange(int(run.end_s * case.rate_hz)) / case.rate_hz, 3)
    off, off_mps = noise(when, case, random)
    position = run.path(when) + off
    if case.jumps:
        position += multipath(when, random)
    longitude, latitude = track.plane.to_geographic(position)
    columns: dict[str, Any] = {}
    if case.doppler:
        velocity = run.path(when, 1) + off_mps
        grid = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1]))
        columns["speed_mps"] = np.hypot(velocity[:, 0], velocity[:, 1])
        columns["course_deg"] = (grid + track.plane.convergence_deg(longitude, latitude)) % 360
    return Recording("invented", when, longitude, latitude, **columns)


def _crossings(track: Track, run: Run, laps: int) -> np.ndarray:
    """True times at all gates of every flying lap."""
    gates = [np.array(crossing_times(run, track.gate_ends(gate))) for gate in track.gates]
    finish = gates[0]
    if len(finish) != laps + 1:
        raise RuntimeError(f"{laps} laps cross the finish {len(finish)} times")
    rows = np.full((laps, len(gates) + 1), np.nan)
    for lap, (begin, end) in enumerate(pairwise(finish.tolist())):
        between = [passed[(passed > begin) & (passed < end)] for passed in gates[1:]]
        rows[lap] = [begin, *(float(passed[0]) for passed in between), end]
    return rows


def reached_s(
    track: Track, run: Run, begin_s: float, end_s: float, chainage_m: np.ndarray
) -> np.ndarray:
    """When a lap truly passed the lines square to the track file's line at some chainages."""
    fine = np.arange(begin_s - 1.0, end_s + 1.0, 0.05)
    velocity = run.path(fine, 1)
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    where, _ = track.curve.project(run.path(fine), velocity / speed[:, None])
    where = np.unwrap(where, period=track.curve.length_m)
    where -= track.curve.length_m * np.round(where[20] / track.curve.length_m)
    time = np.interp(chainage_m, np.maximum.accumulate(where), fine)
    middle, ahead = track.curve.position(chainage_m), track.curve.direction(chainage_m)
    for _ in range(_ROUNDS):
        short = np.einsum("ij,ij->i", middle - run.path(time), ahead)
        time += short / np.einsum("ij,ij->i", run.path(time, 1), ahead)
    return time
