"""The official line found from official times, against simulated truth.

Run ``python tests/bench/bench_align.py [TRIALS] [FIRST_SEED]``: TRIALS sessions of 60 laps at 10 Hz
with Doppler on each of five invented circuits, speed varying by 1 % from lap to lap, the official
line anywhere within 30 m of the finish gate, official times rounded to milliseconds.  Seeds used
while developing were below 1000.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from trackkit.official.align import Observed, align_line
from trackkit.official.passings import covariance_along, passings
from trackkit.simulation.drive import Run
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track
from trackkit.track.model import Track

TRACKS = (
    "pipwick-kart-circuit",
    "ruddlebeck-short",
    "ruddlebeck-full",
    "saltpenny-atoll-clockwise",
    "morrowfen",
)
LAPS = 60
WITHIN_M = 30.0
FOLDER = Path(__file__).parents[2] / "tracks"
CASES = ("lap times", "times of day, clock unknown", "times of day, receiver's clock")


def true_times(run: Run, chainage_m: float, length_m: float, near_s: np.ndarray) -> np.ndarray:
    """When the drive truly was at a chainage, each time the nearest to a moment."""
    fine = np.arange(run.start_s, run.end_s, 0.01)
    gone = run.chainage(fine) - chainage_m
    turn = np.round(np.interp(near_s, fine, gone) / length_m)
    return np.interp(turn * length_m, gone, fine)


def trial(track: Track, seed: int) -> list[tuple[float, float, bool, bool]]:
    """Error, sigma, whether the interval holds the truth and whether it is conclusive, by case."""
    made = simulate_drive(track, laps=LAPS, rate_hz=10, seed=seed)
    report = time_laps(track, made.recording)
    ahead = float(np.random.default_rng([seed, 7]).uniform(-WITHIN_M, WITHIN_M))
    laps = [lap for lap in report.laps if lap.counts]
    crossings = list(dict.fromkeys(c for lap in laps for c in (lap.passed[0], lap.passed[-1])))
    place = {crossing: index for index, crossing in enumerate(crossings)}
    at = track.finish.chainage_m
    near = np.array([crossing.time_s for crossing in crossings])
    moment = true_times(made.runs[0], at + ahead, track.curve.length_m, near)
    line = passings(track, report.drive, at, crossings)
    begin = np.array([place[lap.passed[0]] for lap in laps])
    end = np.array([place[lap.passed[-1]] for lap in laps])
    by_laps = Observed(
        (line,),
        covariance_along(report.drive, [line]),
        begin,
        end,
        np.round(moment[end] - moment[begin], 3),
        np.full(len(laps), 1e-3),
    )
    by_day = replace(
        by_laps,
        begin=np.full(len(moment), -1),
        end=np.arange(len(moment)),
        value_s=np.round(moment, 3),
        rounding_s=np.full(len(moment), 1e-3),
    )
    found = (
        align_line([by_laps]),
        align_line([replace(by_day, value_s=by_day.value_s + 3.217)]),
        align_line([by_day], clock_within_s=0.0),
    )
    return [
        (one.ahead_m - ahead, one.sigma_m, one.low_m <= ahead <= one.high_m, one.conclusive)
        for one in found
    ]


def main() -> None:
    """Print one row a circuit and case, and one for all together."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20_000
    print(f"{'circuit':28}{'official':32}trials   bias m   rms m   said m   in 95 %   told")
    every = []
    for number, name in enumerate(TRACKS):
        track = read_track(FOLDER / f"{name}.geojson")
        seeds = range(seed + number * trials, seed + (number + 1) * trials)
        every.append(np.array([trial(track, one) for one in seeds]))
        for case, label in enumerate(CASES):
            print(row(name, label, every[-1][:, case]), flush=True)
    for case, label in enumerate(CASES):
        print(row("all", label, np.concatenate(every)[:, case]))


def row(name: str, label: str, found: np.ndarray) -> str:
    """Write one row of the table."""
    error, sigma, inside, told = found.T
    rms, said = (float(np.sqrt(np.mean(values**2))) for values in (error, sigma))
    return (
        f"{name:28}{label:32}{len(error):6}{error.mean():9.2f}{rms:8.2f}{said:9.2f}"
        f"{100 * inside.mean():8.1f} %{100 * told.mean():5.0f} %"
    )


if __name__ == "__main__":
    main()
