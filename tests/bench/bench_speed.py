"""How fast recordings are smoothed and timed.

Run on one core: ``OPENBLAS_NUM_THREADS=1 taskset -c 0 python tests/bench/bench_speed.py``.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from trackkit.motion.smooth import smooth
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import read_track

TRACK = Path(__file__).parents[2] / "tracks" / "pipwick-kart-circuit.geojson"
REPEATS = 5


def main() -> None:
    """Print fixes a second of smoothing, and seconds of whole processes."""
    track = read_track(TRACK)
    recording = simulate_drive(track, laps=33, rate_hz=25, seed=3).recording
    levels = smooth(recording, track.plane).levels
    print("| what | fixes | best of 5 |")
    print("| --- | ---: | ---: |")
    for what, given in (("smoothing", levels), ("reading the noise levels and smoothing", None)):
        taken = []
        for _ in range(REPEATS):
            # Processor time: other work on the machine counts for little in it.
            began = time.process_time()
            smooth(recording, track.plane, given)
            taken.append(time.process_time() - began)
        rate = len(recording) / min(taken)
        print(f"| {what} | {len(recording):,} | {rate:,.0f} fixes a second of processor time |")
    # An installed program has its modules compiled; a development machine may forbid that.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        for suffix in ("nmea", "csv"):
            path = Path(folder) / f"session.{suffix}"
            write_recording(recording, path)
            command = [sys.executable, "-m", "trackkit", "laps", str(TRACK), str(path)]
            taken, worked = [], []
            for _ in range(REPEATS):
                began, before = time.perf_counter(), os.times()
                subprocess.run(command, check=True, capture_output=True, env=environment)
                taken.append(time.perf_counter() - began)
                after = os.times()
                worked.append(
                    after.children_user
                    - before.children_user
                    + after.children_system
                    - before.children_system
                )
            spread = f"{min(taken):.2f} s ({min(worked):.2f} s of processor time)"
            what = f"`trackkit laps`, {suffix.upper()}, whole process"
            print(f"| {what} | {len(recording):,} | {spread} |")


if __name__ == "__main__":
    main()
