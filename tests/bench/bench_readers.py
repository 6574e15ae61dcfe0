"""How long reading half an hour at 25 Hz takes, as a whole process on one core.

    python tests/bench/bench_readers.py [FOLDER]

FOLDER, if given, keeps the recordings.  The drive is practice on an invented circuit.
"""

from __future__ import annotations

import functools
import operator
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROUNDS = 7
MOST_S = 0.7
"""What `trackkit laps` on such a recording can spare for reading, imports included, of its 2 s."""

TRACK = Path(__file__).parents[2] / "tracks" / "pipwick-kart-circuit.geojson"
READ = """
import os, sys
from trackkit.recordings.read import read_recording
fixes = len(read_recording(sys.argv[1]))
spent = os.times()
print(fixes, spent.user + spent.system)
"""
LIMITED = (".nmea", ".vtg.nmea", ".csv")


def recordings(folder: Path) -> list[Path]:
    """Write one drive in every format: GPX, CSV, and NMEA with RMC and GGA, then VTG as well."""
    paths = [folder / f"drive{suffix}" for suffix in (".nmea", ".csv", ".gpx")]
    for path in paths:
        if not path.exists():
            command = [sys.executable, "-m", "trackkit", "simulate", TRACK, "-o", path]
            command += ["--rate", "25", "--laps", "33"]
            subprocess.run(command, check=True, capture_output=True)
    more = folder / "drive.vtg.nmea"
    with more.open("w", encoding="ascii", newline="") as out:
        for line in paths[0].read_text("ascii").splitlines():
            out.write(f"{line}\r\n")
            fields = line.split(",")
            if fields[0] == "$GNRMC":
                body = f"GNVTG,{fields[8]},T,,M,{fields[7]},N,{float(fields[7]) * 1.852:.3f},K,A"
                total = functools.reduce(operator.xor, body.encode())
                out.write(f"${body}*{total:02X}\r\n")
    return [paths[0], more, *paths[1:]]


def seconds(path: Path) -> tuple[int, float]:
    """Read a recording in processes of their own, on one core; processor time of the quickest."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    best, fixes = float("inf"), 0
    for _ in range(ROUNDS):
        command = [sys.executable, "-c", READ, str(path)]
        done = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
        fixes, spent = int(done.stdout.split()[0]), float(done.stdout.split()[1])
        best = min(best, spent)
    return fixes, best


def main() -> int:
    """Print the table; 1 where a limit is passed."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        missed = 0
        sys.stdout.write("| recording | MB | fixes | seconds, whole process | at most |\n")
        sys.stdout.write("| --- | --- | --- | --- | --- |\n")
        for path in recordings(folder):
            fixes, spent = seconds(path)
            limited = path.name.removeprefix("drive") in LIMITED
            missed += limited and spent > MOST_S
            size = path.stat().st_size / 1e6
            most = MOST_S if limited else ""
            sys.stdout.write(f"| {path.name} | {size:.1f} | {fixes:,} | {spent:.2f} | {most} |\n")
    return int(missed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
