"""Traces as frames, and a million of their rows as Parquet against pandas alone.

``python tests/bench/bench_frames.py`` needs pyarrow.  What is timed, by the process:

- laid out: from a timed report to columns by chainage with their sigmas (`trace_columns`), which
  is work of its own, in rows a second;
- flattened: from those columns of many laps to one frame of a million rows, and written;
- pandas alone: the same frame, there already, written.
"""

from __future__ import annotations

import sys
import tempfile
import time
from itertools import cycle, islice
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import trackkit
from trackkit.frames.laps import TracedLap, flattened
from trackkit.timing.trace_columns import trace_columns

ROWS = 1_000_000
ROUNDS = 5


def best_of(rounds, work):
    taken = []
    for _ in range(rounds):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def main() -> None:
    track = trackkit.read_track(ROOT / "tracks" / "pipwick-kart-circuit.geojson")
    report = trackkit.time_laps(track, trackkit.simulate_drive(track, laps=20, seed=100).recording)
    rows = len(trackkit.traces_frame(report))
    laid_s = best_of(ROUNDS, lambda: list(trace_columns(track, report.drive, report.laps)))
    frame_s = best_of(ROUNDS, lambda: trackkit.traces_frame(report))
    print(f"laid out: {rows / laid_s:,.0f} rows a second; as frames: {rows / frame_s:,.0f}")

    traced = [
        TracedLap((track.id, report.name, None, 1, lap.number, lap.kind), report.start, columns, {})
        for lap, columns in trace_columns(track, report.drive, report.laps)
    ]
    many = list(islice(cycle(traced), -(-ROWS * len(traced) // rows)))
    own = flattened(many, ())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rows.parquet"
        alone_s = best_of(ROUNDS, lambda: own.to_parquet(path))
        flat_s = best_of(ROUNDS, lambda: flattened(many, ()))
        both_s = best_of(ROUNDS, lambda: flattened(many, ()).to_parquet(path))
    print(f"flattened: {len(own):,} rows in {flat_s:.2f} s, and written in {both_s:.2f} s")
    print(f"pandas alone: written in {alone_s:.2f} s; {both_s / alone_s:.2f} times that")
    assert np.isfinite(own["elapsed_sigma_s"]).all()


if __name__ == "__main__":
    main()
