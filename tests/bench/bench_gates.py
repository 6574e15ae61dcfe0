"""Suggested gates against gates at equal lengths, and predicted sigmas, against simulated truth.

Run ``python tests/bench/bench_gates.py [SESSIONS] [FIRST_SEED]``: SESSIONS sessions of 20 laps at
10 Hz on each of five invented circuits, both sets of gates timed in the same sessions.  Errors
last through a session, so that the figures are as sure as the number of sessions makes them: ±
is one sigma from resampling whole sessions.  Seeds used while developing were below 1000.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from trackkit.gates.placement import with_gate
from trackkit.gates.quality import TimingQuality, timing_quality
from trackkit.gates.suggest import best_split
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.report import LapReport
from trackkit.track.file import read_track
from trackkit.track.model import Track
from trackkit.track.places import Place

TRACKS = (
    "pipwick-kart-circuit",
    "ruddlebeck-short",
    "ruddlebeck-full",
    "saltpenny-atoll-clockwise",
    "morrowfen",
)
LAPS = 20
FOLDER = Path(__file__).parents[2] / "tracks"
RESAMPLED = 400


def with_sectors(track: Track, places: list[float]) -> Track:
    """The track with sector gates at some places and no others."""
    track = track.with_gates(g for g in track.gates if g.kind == "finish")
    for place in places:
        track, _, _ = with_gate(track, "sector", Place(chainage_m=place))
    return track


def late(report: LapReport, truth: dict) -> np.ndarray:
    """By how much each crossing of each complete lap is late, shape (laps, gates + 1), seconds."""
    by_number = {lap["number"]: lap for lap in truth["laps"]}
    errors = []
    for lap in report.laps:
        if lap.counts:
            true = np.cumsum([0.0, *by_number[lap.number]["sectors_s"]])
            found = np.cumsum([0.0, *(sector.time_s for sector in lap.sectors)])
            begun = next(
                c["time_s"]
                for c in truth["crossings"]
                if c["gate"] == "finish" and abs(c["time_s"] - lap.start_s) < 1.0
            )
            errors.append(lap.start_s - begun + found - true)
    return np.array(errors)


def variances(quality: TimingQuality, places: np.ndarray) -> np.ndarray:
    """Predicted variance of the time from each place to each, s^2; crossings on the diagonal."""
    variance = quality.sector_variance(places[:, None], places[None, :])
    np.fill_diagonal(variance, quality.at(quality.receiver_sigma_s, places) ** 2)
    return variance


def rms(values: list[np.ndarray]) -> float:
    return float(np.sqrt(np.mean(np.concatenate([np.ravel(v) for v in values]) ** 2)))


@dataclass(frozen=True, eq=False)
class Measured:
    """Sessions on one circuit: how late crossings were, and the variances predicted for them.

    `sets` are the gates of each set, as indices of places: even lengths first, suggested second.
    """

    late_s: list[np.ndarray]
    variance_s2: list[np.ndarray]
    sets: list[list[int]]

    def sectors(self, chosen: np.ndarray, which: int) -> float:
        """Root mean square error of sector times, of some sessions and one set."""
        return rms([np.diff(self.late_s[n][:, self.sets[which]], axis=1) for n in chosen])

    def gain(self, chosen: np.ndarray) -> float:
        return 1.0 - self.sectors(chosen, 1) / self.sectors(chosen, 0)

    def sector_ratio(self, chosen: np.ndarray) -> float:
        pairs = [pair for one in self.sets for pair in pairwise(one)]
        predicted = np.mean([self.variance_s2[n][pair] for n in chosen for pair in pairs])
        return float(np.sqrt(predicted)) / rms(
            [np.diff(self.late_s[n][:, one], axis=1) for one in self.sets for n in chosen]
        )

    def crossing_ratio(self, chosen: np.ndarray) -> float:
        predicted = np.mean([np.diagonal(self.variance_s2[n])[:-1] for n in chosen])
        return float(np.sqrt(predicted)) / rms([self.late_s[n][:, :-1] for n in chosen])

    def lap_ratio(self, chosen: np.ndarray) -> float:
        predicted = np.mean([self.variance_s2[n][0, -1] for n in chosen])
        return float(np.sqrt(predicted)) / rms(
            [self.late_s[n][:, -1] - self.late_s[n][:, 0] for n in chosen]
        )


def resampled(sessions: int, figure: Callable[[np.ndarray], float]) -> str:
    """Write a figure of all sessions, and its one sigma by the bootstrap over sessions."""
    generator = np.random.default_rng(1)
    drawn = [figure(generator.integers(0, sessions, sessions)) for _ in range(RESAMPLED)]
    return f"{figure(np.arange(sessions)):.2f} ± {np.std(drawn):.2f}"


def measure(name: str, sessions: int, seed: int) -> Measured:
    """Drive sessions on a circuit, with the gates of both sets."""
    track = read_track(FOLDER / f"{name}.geojson")
    length = track.curve.length_m
    suggested = [s.chainage_m for s in best_split(timing_quality(track), 3, "length")]
    sets = [[length / 3, 2 * length / 3], suggested]
    both = with_sectors(track, sorted(sets[0] + sets[1]))
    places = np.array([0.0, *(g.chainage_m for g in both.gates_of_kind("sector")), length])
    late_s, variance_s2 = [], []
    for number in range(seed, seed + sessions):
        made = simulate_drive(both, laps=LAPS, rate_hz=10, seed=number)
        late_s.append(late(time_laps(both, made.recording), made.truth))
        variance_s2.append(variances(timing_quality(both, [made.recording]), places))
    which = [
        [0, *(1 + int(np.argmin(np.abs(places[1:-1] - at))) for at in one), len(places) - 1]
        for one in sets
    ]
    return Measured(late_s, variance_s2, which)


def main() -> None:
    """Print one row a circuit, as a table of Markdown."""
    sessions = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 5000
    print(
        "| circuit | laps | equal, ms | suggested, ms | lower by | sector σ | crossing σ | lap σ |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    gains = []
    every = np.arange(sessions)
    for name in TRACKS:
        got = measure(name, sessions, seed)
        gains.append(got.gain(every))
        equal, suggested = (1e3 * got.sectors(every, which) for which in (0, 1))
        cells = [
            resampled(sessions, one)
            for one in (
                lambda chosen, got=got: 100.0 * got.gain(chosen),
                got.sector_ratio,
                got.crossing_ratio,
                got.lap_ratio,
            )
        ]
        print(
            f"| `{name}` | {sum(map(len, got.late_s)):,} | {equal:.1f} | {suggested:.1f} | "
            f"{cells[0]} % | " + " | ".join(cells[1:]) + " |",
            flush=True,
        )
    print(f"\nlower by {100 * np.mean(gains):.1f} % on average, {100 * min(gains):.1f} % at least")


if __name__ == "__main__":
    main()
