"""Lap-time errors of trackkit against truth, beside straight interpolation between positions.

Run ``python tests/bench/bench_timing.py [SESSIONS] [FIRST_SEED]``: SESSIONS sessions of 15 laps on
each of three invented circuits (laps of about 51, 61 and 83 s) for every case, printed as the
table that docs/timing.md shows.  Seeds used while developing were below 1000.

Two generators: `trackkit.simulation.simulate` for the drive, with noise drawn here; and, for the
last case, a second one that shares nothing with the smoother's model (see `second_generator`).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.track.features import Gate
from trackkit.track.file import read_track
from trackkit.track.model import Track

TRACKS = ("pipwick-kart-circuit", "ruddlebeck-short", "saltpenny-atoll-clockwise")
LAPS = 15
FOLDER = Path(__file__).parents[2] / "tracks"


@dataclass(frozen=True)
class Noise:
    """One sigma per horizontal axis (docs/methods.md), and what a case changes of it."""

    wander_m: float = 1.0
    white_m: float = 0.15
    doppler_mps: float = 0.05
    slow_doppler_mps: float = 0.0
    stray_share: float = 0.0
    doppler: bool = True


@dataclass(frozen=True)
class Session:
    """A recording and the true times at which the finish gate was crossed."""

    recording: Recording
    crossed_s: np.ndarray


def gauss_markov(time_s: np.ndarray, tau_s: float, random: np.random.Generator) -> np.ndarray:
    """A first-order Gauss-Markov process of unit variance on two axes, drawn step by step."""
    value = np.empty((len(time_s), 2))
    value[0] = random.normal(size=2)
    fade = np.exp(-np.diff(time_s) / tau_s)
    fresh = np.sqrt(1 - fade**2)[:, None] * random.normal(size=(len(time_s) - 1, 2))
    for k in range(1, len(time_s)):
        value[k] = fade[k - 1] * value[k - 1] + fresh[k - 1]
    return value


def first_generator(track: Track, rate_hz: float, noise: Noise, seed: int) -> Session:
    """A practice drive with Gauss-Markov wander and white noise."""
    drive = simulate_drive(track, laps=LAPS, rate_hz=rate_hz, seed=seed)
    when = drive.recording.time_s
    random = np.random.default_rng([seed, 1])
    position = drive.position_m(when) + noise.wander_m * gauss_markov(when, 120.0, random)
    position += noise.white_m * random.normal(size=position.shape)
    stray = np.flatnonzero(random.random(len(when)) < noise.stray_share)
    angle, far = random.uniform(0, 2 * np.pi, len(stray)), random.uniform(5, 50, len(stray))
    position[stray] += far[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    velocity = drive.velocity_mps(when)
    velocity = velocity + noise.doppler_mps * random.normal(size=velocity.shape)
    if noise.slow_doppler_mps:
        velocity += noise.slow_doppler_mps * gauss_markov(when, 1.0, random)
    crossed = [c["time_s"] for c in drive.truth["crossings"] if c["gate"] == track.finish.id]
    recording = _recording(track, drive.recording, position, velocity if noise.doppler else None)
    return Session(recording, np.array(crossed))


def _recording(
    track: Track, like: Recording, position_m: np.ndarray, velocity_mps: np.ndarray | None
) -> Recording:
    longitude, latitude = track.plane.to_geographic(position_m)
    speed = course = None
    if velocity_mps is not None:
        speed = np.hypot(*velocity_mps.T)
        grid = np.degrees(np.arctan2(velocity_mps[:, 0], velocity_mps[:, 1]))
        course = (grid + track.plane.convergence_deg(longitude, latitude)) % 360
    return replace(
        like, longitude_deg=longitude, latitude_deg=latitude, speed_mps=speed, course_deg=course
    )


def second_generator(track: Track, rate_hz: float, noise: Noise, seed: int) -> Session:
    """A point mass on the circuit's clothoids, held within a friction circle.

    Speed by forward and backward passes over the curvature; time by summing ds / v at 0.25 m.
    Position noise: a random walk of 0.1 m/s^0.5, a second-order autoregression of 0.15 m (poles at
    0.6 and 0.3) and steps of 1e-7 degrees.  Velocity noise: a second-order autoregression of
    0.05 m/s, either a tracking loop's damped ringing (complex poles) or as strongly correlated as
    the positions', by `noise.slow_doppler_mps`; speeds in steps of 0.01 m/s, courses of 0.01
    degrees.
    """
    random = np.random.default_rng([seed, 2])
    curve, step = track.curve, 0.25
    count = int(curve.length_m / step)
    lap_chainage = np.arange(count) * (curve.length_m / count)
    step = curve.length_m / count
    bend = np.abs(curve.curvature(lap_chainage))
    speeds = []
    for _ in range(LAPS + 2):
        grip = 11.0 * (1 + 0.02 * random.normal())
        speeds.append(_friction_circle(bend, step, grip))
    speed = np.concatenate(speeds)
    speed = np.convolve(np.pad(speed, 20, mode="edge"), np.ones(41) / 41, mode="valid")
    when = np.concatenate([[0.0], np.cumsum(step / (0.5 * (speed[1:] + speed[:-1])))])
    chainage = np.arange(len(speed)) * step
    aside = 0.8 * np.sin(chainage / 61.0 + random.uniform(0, 6)) + 0.5 * np.sin(chainage / 173.0)
    driven = curve.position(chainage) + aside[:, None] * curve.left(chainage)

    fixes = np.arange(0.0, when[-1], 1.0 / rate_hz)
    path = np.column_stack([np.interp(fixes, when, driven[:, axis]) for axis in (0, 1)])
    fine = np.gradient(driven, when, axis=0)
    velocity = np.column_stack([np.interp(fixes, when, fine[:, axis]) for axis in (0, 1)])
    crossed = _true_crossings(track, track.finish, when, driven)

    position = path + np.cumsum(0.1 / np.sqrt(rate_hz) * random.normal(size=path.shape), axis=0)
    sluggish, ringing = (0.9, -0.18), (0.5, -0.3)
    position += 0.15 * _autoregression(len(fixes), sluggish, random)
    kind = sluggish if noise.slow_doppler_mps else ringing
    velocity += 0.05 * _autoregression(len(fixes), kind, random)
    like = Recording("second", fixes, np.zeros(len(fixes)), np.zeros(len(fixes)))
    told = _recording(track, like, position, velocity)
    assert told.speed_mps is not None
    assert told.course_deg is not None
    told = replace(
        told,
        longitude_deg=np.round(told.longitude_deg, 7),
        latitude_deg=np.round(told.latitude_deg, 7),
        speed_mps=np.round(told.speed_mps, 2),
        course_deg=np.round(told.course_deg, 2),
    )
    return Session(told, crossed)


def _friction_circle(bend: np.ndarray, step: float, grip: float) -> np.ndarray:
    """Speeds along a lap, so that the two accelerations together stay within the grip."""
    speed = np.minimum(np.sqrt(grip / np.maximum(bend, 1e-6)), 45.0)
    for order in (range(2 * len(bend)), range(2 * len(bend), 0, -1)):
        braking = isinstance(order, range) and order.step < 0
        before = None
        for place in order:
            k = place % len(bend)
            if before is not None:
                v = speed[before]
                spare = np.sqrt(max(grip**2 - (v * v * bend[before]) ** 2, 0.0))
                push = spare if braking else min(0.5 * spare, 150.0 / max(v, 5.0))
                speed[k] = min(speed[k], np.sqrt(v * v + 2 * push * step))
            before = k
    return speed


def _autoregression(
    count: int, weights: tuple[float, float], random: np.random.Generator
) -> np.ndarray:
    """Second-order autoregression of unit variance, two axes."""
    first, second = weights
    value = np.zeros((count + 200, 2))
    shock = random.normal(size=value.shape)
    for k in range(2, len(value)):
        value[k] = first * value[k - 1] + second * value[k - 2] + shock[k]
    value = value[200:]
    return value / value.std()


def _true_crossings(track: Track, gate: Gate, when: np.ndarray, path: np.ndarray) -> np.ndarray:
    left, right = track.gate_ends(gate)
    across = (right - left) / np.linalg.norm(right - left)
    ahead = (path - left) @ np.array([-across[1], across[0]])
    along = (path - left) @ across
    inside = (along[1:] > 0) & (along[1:] < np.linalg.norm(right - left))
    k = np.flatnonzero((ahead[:-1] < 0) & (ahead[1:] >= 0) & inside)
    return when[k] - ahead[k] / (ahead[k + 1] - ahead[k]) * (when[k + 1] - when[k])


def straight_times(track: Track, session: Session) -> np.ndarray:
    """Crossing times by straight interpolation between positions, paired with the true ones."""
    fixes = session.recording
    position = track.plane.to_plane(fixes.longitude_deg, fixes.latitude_deg)
    found = _true_crossings(track, track.finish, fixes.time_s, position)
    nearest = np.array([found[np.argmin(np.abs(found - t))] for t in session.crossed_s])
    # A crossing it misses altogether would drown its errors; such laps are left out of them.
    return np.where(np.abs(nearest - session.crossed_s) < 1.0, nearest, np.nan)


def measure(
    generate: Callable[[Track, float, Noise, int], Session],
    rate_hz: float,
    noise: Noise,
    sessions: int,
    seed: int,
) -> tuple[np.ndarray, int]:
    """Errors of lap times, of straight interpolation's, and reported sigmas; and laps lost."""
    rows, lost = [], 0
    for number, name in enumerate(TRACKS):
        track = read_track(FOLDER / f"{name}.geojson")
        for k in range(sessions):
            session = generate(track, rate_hz, noise, seed + 1000 * number + k)
            report = time_laps(track, session.recording)
            begun = np.array([lap.start_s for lap in report.counted])
            truth, straight = session.crossed_s, straight_times(track, session)
            for n in range(len(truth) - 1):
                near = np.flatnonzero(np.abs(begun - truth[n]) < 2.0)
                if len(near) != 1:
                    lost += 1
                    continue
                lap = report.counted[near[0]]
                true_time = truth[n + 1] - truth[n]
                straight_time = straight[n + 1] - straight[n]
                rows.append((lap.time_s - true_time, straight_time - true_time, lap.sigma_s))
    return np.array(rows), lost


CASES = [
    ("10 Hz with Doppler", 10, Noise(), first_generator),
    ("1 Hz with Doppler", 1, Noise(), first_generator),
    ("5 Hz with Doppler", 5, Noise(), first_generator),
    ("25 Hz with Doppler", 25, Noise(), first_generator),
    ("1 Hz, positions only", 1, Noise(doppler=False), first_generator),
    ("5 Hz, positions only", 5, Noise(doppler=False), first_generator),
    ("10 Hz, positions only", 10, Noise(doppler=False), first_generator),
    ("25 Hz, positions only", 25, Noise(doppler=False), first_generator),
    ("10 Hz, wander three times larger", 10, Noise(wander_m=3.0), first_generator),
    ("10 Hz, white noise three times larger", 10, Noise(white_m=0.45), first_generator),
    (
        "10 Hz, Doppler error correlated over 1 s",
        10,
        Noise(doppler_mps=0.0, slow_doppler_mps=0.05),
        first_generator,
    ),
    (
        "10 Hz, positions only, wander three times larger",
        10,
        Noise(doppler=False, wander_m=3.0),
        first_generator,
    ),
    ("10 Hz, 2 % of fixes 5 to 50 m astray", 10, Noise(stray_share=0.02), first_generator),
    ("10 Hz, second generator", 10, Noise(), second_generator),
    (
        "10 Hz, second generator, Doppler errors correlated like positions",
        10,
        Noise(slow_doppler_mps=0.05),
        second_generator,
    ),
]


def main() -> None:
    """Print the table."""
    sessions = int(sys.argv[1]) if len(sys.argv) > 1 else 23
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    print(
        "| case | laps | lost | rms error, ms | straight, ms | ratio | over own bound "
        "| within 1 / 2 sigma, % |"
    )
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, rate_hz, noise, generate in CASES:
        began = time.perf_counter()
        rows, lost = measure(generate, rate_hz, noise, sessions, seed)
        error, straight, sigma = rows.T
        rms, other, bound = (float(np.sqrt(np.nanmean(x**2))) for x in (error, straight, sigma))
        within = [100 * float(np.mean(np.abs(error) < k * sigma)) for k in (1, 2)]
        print(
            f"| {name} | {len(rows)} | {lost} | {1e3 * rms:.2f} | {1e3 * other:.1f} | "
            f"1/{other / rms:.2f} | {rms / bound:.2f} | {within[0]:.0f} / {within[1]:.0f} |",
            flush=True,
        )
        print(f"{name}: {time.perf_counter() - began:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
