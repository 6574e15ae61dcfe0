"""Suggested gates against gates at equal lengths, and predicted sigmas, against simulated truth.

Run ``python tests/bench/bench_gates.py [SESSIONS] [FIRST_SEED]``: SESSIONS sessions of 20 laps at
10 Hz on each of five invented circuits.  Seeds used while developing were below 1000.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from trackkit.gatequality import TimingQuality, timing_quality
from trackkit.gates import place_gate
from trackkit.places import Place
from trackkit.simulate import simulate
from trackkit.suggesting import suggest_gates
from trackkit.timing import time_laps
from trackkit.track import Track
from trackkit.trackfile import read_track

TRACKS = (
    "pipwick-kart-circuit", "ruddlebeck-short", "ruddlebeck-full", "saltpenny-atoll-clockwise",
    "morrowfen",
)  # fmt: skip
LAPS = 20
FOLDER = Path(__file__).parents[2] / "tracks"


def with_sectors(track: Track, places: list[float]) -> Track:
    """The track with sector gates at some places and no others."""
    track = track.with_gates(g for g in track.gates if g.kind == "finish")
    for place in places:
        track, _, _ = place_gate(track, "sector", Place(chainage_m=place))
    return track


def errors(track: Track, quality: TimingQuality, sessions: int, seed: int) -> np.ndarray:
    """Sector-time errors of all complete laps, and the predicted sigma of each, shape (2, n)."""
    ends = [g.chainage_m for g in (track.finish, *track.gates_of_kind("sector"))]
    ends.append(track.curve.length_m)
    variance = quality.sector_variance(np.array(ends[:-1]), np.array(ends[1:]))
    sigma = np.sqrt(variance)
    found = []
    for number in range(seed, seed + sessions):
        made = simulate(track, laps=LAPS, rate_hz=10, seed=number)
        truth = {lap["number"]: lap["sectors_s"] for lap in made.truth["laps"]}
        for lap in time_laps(track, made.recording).laps:
            if lap.counts:
                for index, sector in enumerate(lap.sectors):
                    found.append((sector.time_s - truth[lap.number][index], sigma[index]))
    return np.array(found).T


def main() -> None:
    """Print one row a circuit."""
    sessions = int(sys.argv[1]) if len(sys.argv) > 1 else 26
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 5000
    gains = []
    print(
        "circuit                     sector times   equal ms   suggested ms   gain   predicted ms"
    )
    for name in TRACKS:
        track = read_track(FOLDER / f"{name}.geojson")
        quality = timing_quality(track)
        length = track.curve.length_m
        equal = with_sectors(track, [length / 3, 2 * length / 3])
        best = with_sectors(track, [s.chainage_m for s in suggest_gates(quality, 3, "length")])
        before, after = (errors(one, quality, sessions, seed) for one in (equal, best))
        rms = [1e3 * float(np.sqrt(np.mean(one[0] ** 2))) for one in (before, after)]
        said = 1e3 * float(np.sqrt(np.mean(after[1] ** 2)))
        gains.append(1.0 - rms[1] / rms[0])
        print(
            f"{name:28}{after.shape[1]:12}{rms[0]:11.1f}{rms[1]:15.1f}{100 * gains[-1]:6.0f} %"
            f"{said:15.1f}"
        )
    print(f"mean gain {100 * np.mean(gains):.0f} %, least {100 * np.min(gains):.0f} %")


if __name__ == "__main__":
    main()
