"""Long recordings: what timing and building cost, and whether that grows with their length.

``python tests/bench/bench_long.py [HOURS...]`` (24 takes some minutes): makes recordings at 25 Hz,
gives each to `laps` and `build` in a process of its own, and prints the processor time a million
fixes and the most memory in use.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from trackkit import read_track, simulate_drive, write_recording

ROOT = Path(__file__).parents[2]
TRACK = ROOT / "tracks" / "pipwick-kart-circuit.geojson"
RATE_HZ = 25.0
LAP_S = 51.0
SHORT_AND_LONG_H = (1.5, 24.0)


def cost(words: list[str]) -> tuple[float, float]:
    """Run a command; return seconds of processor time and MiB."""
    process = subprocess.Popen(
        [sys.executable, "-m", "trackkit", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, state, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(state)
    if process.returncode:
        raise SystemExit(f"trackkit {' '.join(words)}: exit status {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main() -> None:
    """Measure."""
    hours = [float(text) for text in sys.argv[1:]] or SHORT_AND_LONG_H
    with tempfile.TemporaryDirectory() as folder:
        for length_h in hours:
            laps = round(3600 * length_h / LAP_S)
            recording = simulate_drive(
                read_track(TRACK), laps=laps, rate_hz=RATE_HZ, seed=3
            ).recording
            path = Path(folder) / f"{length_h:g}h.csv"
            write_recording(recording, path)
            built = Path(folder) / f"{length_h:g}h.geojson"
            for words in (
                ["laps", str(TRACK), str(path), "--json"],
                ["build", str(path), "--name", "Long", "-o", str(built)],
            ):
                seconds, most_mib = cost(words)
                print(
                    f"{words[0]:6} {len(recording):>10,} fixes {seconds:8.1f} s, "
                    f"{1e6 * seconds / len(recording):6.1f} s a million, {most_mib:6,.0f} MiB"
                )


if __name__ == "__main__":
    main()
