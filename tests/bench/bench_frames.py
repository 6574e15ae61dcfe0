"""Traces as frames: rows a second, and a million rows as Parquet against pandas alone.

``python tests/bench/bench_frames.py`` needs pyarrow.  Pandas alone is the same rows as a plain
frame, every column as NumPy has it and texts as texts.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import trackkit

ROWS = 1_000_000
ROUNDS = 3


def main() -> None:
    track = trackkit.read_track(ROOT / "tracks" / "pipwick-kart-circuit.geojson")
    drive = trackkit.simulate_drive(track, laps=20, seed=100)
    report = trackkit.time_laps(track, drive.recording)
    trackkit.traces_frame(report)
    begun = time.perf_counter()
    some = trackkit.traces_frame([report] * 4)
    print(f"made: {len(some) / (time.perf_counter() - begun):,.0f} rows a second")
    own = some.take(np.arange(ROWS) % len(some)).reset_index(drop=True)
    plain = pd.DataFrame(
        {
            name: column.astype(object) if column.dtype == "category" else column
            for name, column in own.items()
        }
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rows.parquet"
        for name, frame in (("traces_frame", own), ("pandas alone", plain)):
            best = np.inf
            for _ in range(ROUNDS):
                begun = time.perf_counter()
                frame.to_parquet(path)
                best = min(best, time.perf_counter() - begun)
            print(f"{name}: {ROWS:,} rows as Parquet in {best:.2f} s, {path.stat().st_size:,} B")


if __name__ == "__main__":
    main()
