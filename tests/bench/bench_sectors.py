"""What `gate suggest` predicts of each sector, against the errors of simulated sessions.

Run ``python tests/bench/bench_sectors.py [SESSIONS] [FIRST_SEED] [CIRCUIT...]``: SESSIONS sessions
of about 15 minutes on each of the invented circuits, with receivers of four kinds, timed over the
three sectors that are suggested by time without a recording.  Predicted without a recording and
from the recording itself; errors are those of times against the simulation's truth.  An error
lasts through a session: ± is one sigma from resampling whole sessions.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trackkit.gates.quality import timing_quality
from trackkit.gates.split import apply_suggestions, suggest_gates
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.report import LapReport
from trackkit.track.file import read_track
from trackkit.track.model import Track

CIRCUITS = (
    "pipwick-kart-circuit",
    "ruddlebeck-short",
    "ruddlebeck-full",
    "saltpenny-atoll-clockwise",
    "morrowfen",
)
RECEIVERS = {
    "10 Hz": (10.0, True),
    "10 Hz, positions alone": (10.0, False),
    "25 Hz": (25.0, True),
    "1 Hz": (1.0, True),
}
SESSION_S = 900.0
SECTORS = 3
FOLDER = Path(__file__).parents[2] / "tracks"
RESAMPLED = 400


@dataclass(frozen=True, eq=False)
class Trial:
    """Sessions on one circuit with one receiver.

    Parameters
    ----------
    error_s
        Of each session the errors of its sector times, shape (laps, sectors).
    told_s2, recorded_s2
        Variance that `laps` tells, and that is predicted from the recording, mean over laps, of
        each session, shape (sessions, sectors).
    assumed_s2
        Variance predicted without a recording, shape (sectors,).
    """

    error_s: list[np.ndarray]
    told_s2: np.ndarray
    recorded_s2: np.ndarray
    assumed_s2: np.ndarray

    def ratios(self, chosen: np.ndarray) -> np.ndarray:
        """Predicted over actual of each sector, shape (3, sectors): assumed, recorded, told."""
        actual = np.concatenate([self.error_s[n] for n in chosen])
        rms = np.sqrt(np.mean(actual**2, axis=0))
        predicted = [
            self.assumed_s2,
            self.recorded_s2[chosen].mean(axis=0),
            self.told_s2[chosen].mean(axis=0),
        ]
        return np.sqrt(predicted) / rms

    def rms(self) -> np.ndarray:
        """Root mean square error of each sector's times, seconds."""
        return np.sqrt(np.mean(np.concatenate(self.error_s) ** 2, axis=0))


def sector_errors(report: LapReport, truth: dict) -> tuple[np.ndarray, np.ndarray]:
    """Errors of the sector times of laps that count, and the sigmas told, (laps, sectors)."""
    by_number = {lap["number"]: lap for lap in truth["laps"]}
    counted = [lap for lap in report.laps if lap.counts]
    found = np.array([[sector.time_s for sector in lap.sectors] for lap in counted])
    told = np.array([[sector.sigma_s for sector in lap.sectors] for lap in counted])
    return found - np.array([by_number[lap.number]["sectors_s"] for lap in counted]), told


def measure(track: Track, receiver: str, sessions: int, seed: int) -> Trial:
    """Drive sessions on a circuit with the gates that are suggested for it."""
    rate_hz, doppler = RECEIVERS[receiver]
    track = track.with_gates(gate for gate in track.gates if gate.kind == "finish")
    split = suggest_gates(track, SECTORS)
    placed, _ = apply_suggestions(track, split)
    places = np.array([split.sectors[0].begin_m, *(sector.end_m for sector in split.sectors)])
    laps = round(SESSION_S / timing_quality(track).lap_s)
    errors, told, recorded = [], [], []
    for number in range(seed, seed + sessions):
        made = simulate_drive(placed, laps=laps, rate_hz=rate_hz, seed=number, doppler=doppler)
        recording = made.recording
        error, sigma = sector_errors(time_laps(placed, recording), made.truth)
        errors.append(error)
        told.append(np.mean(sigma**2, axis=0))
        recorded.append(
            timing_quality(placed, [recording]).sector_variance(places[:-1], places[1:])
        )
    assumed = np.array([sector.sigma_s**2 for sector in split.sectors])
    return Trial(errors, np.array(told), np.array(recorded), assumed)


def row(trial: Trial) -> str:
    """Cells of a table: errors, and each ratio with its one sigma by the bootstrap."""
    generator = np.random.default_rng(1)
    sessions = len(trial.error_s)
    drawn = [trial.ratios(generator.integers(0, sessions, sessions)) for _ in range(RESAMPLED)]
    ratio, spread = trial.ratios(np.arange(sessions)), np.std(drawn, axis=0).mean(axis=1)
    cells = [", ".join(f"{1e3 * value:.0f}" for value in trial.rms())]
    cells += [
        f"{', '.join(f'{value:.2f}' for value in values)} ± {sigma:.2f}"
        for values, sigma in zip(ratio, spread, strict=True)
    ]
    return " | ".join(cells)


def main() -> None:
    """Print one row a circuit and receiver, as a table of Markdown."""
    sessions = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 30_000
    print("| circuit | receiver | errors, ms | without a recording | with | told by `laps` |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name in sys.argv[3:] or CIRCUITS:
        track = read_track(FOLDER / f"{name}.geojson")
        for receiver in RECEIVERS:
            trial = measure(track, receiver, sessions, seed)
            print(f"| `{name}` | {receiver} | {row(trial)} |", flush=True)


if __name__ == "__main__":
    main()
