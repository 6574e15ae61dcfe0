"""What `gate suggest` predicts of each sector, against the errors of simulated sessions.

Run ``python tests/bench/bench_sectors.py [SESSIONS] [FIRST_SEED] [CIRCUIT...]``: with each receiver
SESSIONS sessions of about 15 minutes on each of the invented circuits, a third as many with
positions alone, timed over the three sectors that are suggested by time without a recording.
Predicted from the recording itself, and for the receiver that is assumed then also without one;
errors are those of times against the simulation's truth.  Every circuit counts alike.  An error
lasts through a session: ± is one sigma from resampling whole sessions of each circuit.
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
    f"{rate_hz:g} Hz{'' if doppler else ', positions alone'}": (rate_hz, doppler)
    for rate_hz in (1.0, 5.0, 10.0, 25.0)
    for doppler in (True, False)
}
ASSUMED = "10 Hz"
"""The receiver that is assumed without a recording."""
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

    def excess(self, chosen: np.ndarray) -> np.ndarray:
        """Variance of errors over that predicted, (3, sectors): assumed, recorded, told."""
        actual = np.concatenate([self.error_s[n] for n in chosen])
        predicted = [
            self.assumed_s2,
            self.recorded_s2[chosen].mean(axis=0),
            self.told_s2[chosen].mean(axis=0),
        ]
        return np.mean(actual**2, axis=0) / predicted

    def rms_s(self) -> float:
        """Root mean square error of the sector times, seconds."""
        return float(np.sqrt(np.mean(np.concatenate(self.error_s) ** 2)))


def ratios(trials: list[Trial], generator: np.random.Generator | None = None) -> np.ndarray:
    """Sigma predicted over actual, (3, sectors), all circuits counting alike.

    With a generator of whole sessions drawn again, else of all.
    """
    excess = []
    for trial in trials:
        sessions = len(trial.error_s)
        chosen = np.arange(sessions)
        if generator is not None:
            chosen = generator.integers(0, sessions, sessions)
        excess.append(trial.excess(chosen))
    return 1.0 / np.sqrt(np.mean(excess, axis=0))


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


def row(trials: list[Trial], receiver: str) -> str:
    """Cells of a table: errors, and each sector's ratio with its one sigma by the bootstrap."""
    generator = np.random.default_rng(1)
    spread = np.std([ratios(trials, generator) for _ in range(RESAMPLED)], axis=0).mean(axis=1)
    errors = [1e3 * trial.rms_s() for trial in trials]
    cells = [f"{min(errors):.1f} to {max(errors):.1f}"]
    cells += [
        f"{', '.join(f'{value:.2f}' for value in values)} ± {sigma:.2f}"
        for values, sigma in zip(ratios(trials), spread, strict=True)
    ]
    if receiver != ASSUMED:
        cells[1] = "-"
    return " | ".join(cells)


def main() -> None:
    """Print one row a receiver, as a table of Markdown."""
    sessions = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 30_000
    tracks = [read_track(FOLDER / f"{name}.geojson") for name in sys.argv[3:] or CIRCUITS]
    print("| receiver | errors, ms | without a recording | with | told by `laps` |")
    print("| --- | --- | --- | --- | --- |")
    for receiver in RECEIVERS:
        # Without velocities errors come and go within a session, and fewer sessions tell as much.
        count = sessions if RECEIVERS[receiver][1] else max(sessions // 3, 1)
        trials = [measure(track, receiver, count, seed) for track in tracks]
        print(f"| {receiver} | {row(trials, receiver)} |", flush=True)


if __name__ == "__main__":
    main()
