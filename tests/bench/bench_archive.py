"""What adding costs beside a bare loop, what asking costs, and what becomes of killed writers.

python tests/bench/bench_archive.py rate --recordings 60      one run: loop, then archive
python tests/bench/bench_archive.py ask --laps 1000000
python tests/bench/bench_archive.py kill --kills 20 --writers 4

Recordings are simulated on the sample circuits with fixed seeds, in three formats.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

import numpy as np
from killed_adds import added, every_row, killed_adds, twice
from sample_circuits import CLOSED, track_of

import trackkit
from trackkit.archive.columns import LAPS, RECORDINGS, SESSIONS
from trackkit.archive.rows import table_of_rows
from trackkit.archive.store import replace_rows
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive

SUFFIXES = (".nmea", ".csv", ".gpx")


def season(folder: Path, recordings: int, laps: int, rate_hz: float) -> list[tuple[Path, str]]:
    """Write recordings, and list each with its circuit."""
    folder.mkdir(parents=True, exist_ok=True)
    listed = []
    for number in range(recordings):
        circuit = CLOSED[number % len(CLOSED)]
        path = folder / f"{number:05d}{SUFFIXES[number % 3]}"
        if not path.exists():
            drive = simulate_drive(track_of(circuit), laps=laps, rate_hz=rate_hz, seed=900 + number)
            write_recording(drive.recording, path)
        listed.append((path, circuit))
    return listed


def rate(recordings: int, laps: int, folder: Path) -> None:
    """Time recordings in a bare loop, and add them with one process and with two."""
    listed = season(folder, recordings, laps, 10.0)
    begun = time.perf_counter()
    for path, circuit in listed:
        trackkit.time_laps(track_of(circuit), trackkit.read_recording(path))
    loop_s = time.perf_counter() - begun
    print(f"bare loop of time_laps: {recordings / loop_s:.2f} recordings a second")
    for workers in (1, 2):
        with tempfile.TemporaryDirectory() as at:
            begun = time.perf_counter()
            done = trackkit.add_to_archive([folder], at, workers=workers)
            taken_s = time.perf_counter() - begun
        assert done.timed == recordings
        share = loop_s / taken_s / workers
        print(
            f"archive add, {workers} workers: {recordings / taken_s:.2f} a second, "
            f"{share:.2f} of the loop per core"
        )
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"largest worker: {peak:.0f} MiB")


def ask(laps: int) -> None:
    """Time whole processes that ask an archive of many laps, made by repeating."""
    with tempfile.TemporaryDirectory() as at:
        _many_laps(at, laps)
        for words in (
            ["summary"],
            ["summary", "--by", "driver"],
            ["laps", "--circuit", "track-3", "--driver", "driver 7"],
        ):
            taken = []
            for _ in range(3):
                begun = time.perf_counter()
                command = [sys.executable, "-m", "trackkit", "archive", *words, "--at", at]
                subprocess.run(
                    command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
                )
                taken.append(time.perf_counter() - begun)
            print(f"archive {' '.join(words)}: {min(taken):.2f} s, the best of three")


def _many_laps(at: str, laps: int) -> None:
    random = np.random.default_rng(1)
    each = 20
    for first in range(0, laps // each, 5000):
        numbers = range(first, min(first + 5000, laps // each))
        same = {
            number: {
                "recording": hashlib.sha256(str(number).encode()).hexdigest(),
                "track": f"track-{number % 12}",
                "geometry": "g",
            }
            for number in numbers
        }
        day = {number: f"2026-{number % 12 + 1:02d}-{number % 28 + 1:02d}" for number in numbers}
        sessions = [
            same[n]
            | {
                "session": 1,
                "name": f"Circuit {n % 12}",
                "layout": "",
                "direction": "clockwise",
                "reversed": False,
                "day": day[n],
                "driver": f"driver {n % 97}",
            }
            for n in numbers
        ]
        rows = [
            same[n]
            | {
                "session": 1,
                "lap": lap,
                "kind": "flying",
                "complete": True,
                "counts": True,
                "time_s": 60.0 + float(random.exponential()),
                "sigma_s": 0.01,
            }
            for n in numbers
            for lap in range(1, each + 1)
        ]
        recordings = [same[n] | {"state": "timed"} for n in numbers]
        hashes = [same[n]["recording"] for n in numbers]
        for table, of_table in ((SESSIONS, sessions), (LAPS, rows), (RECORDINGS, recordings)):
            replace_rows(at, table, table_of_rows(table, of_table), hashes)


def kill(kills: int, writers: int, folder: Path, recordings: int) -> None:
    """Kill writers at random moments; hold what is there in the end against an archive without."""
    season(folder, recordings, 2, 5.0)
    with tempfile.TemporaryDirectory() as place:
        at, whole = Path(place) / "killed", Path(place) / "whole"
        at_work = killed_adds(folder, at, kills, writers, longest_s=12.0, seed=77)
        assert added(folder, at) == 0
        added(folder, whole)
        assert twice(at) == []
        assert repr(every_row(at)) == repr(every_row(whole))
    print(f"{kills} kills of {writers} writers, {at_work} at work: nothing lost, nothing twice")


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["rate", "ask", "kill"])
    parser.add_argument("--recordings", type=int, default=40)
    parser.add_argument("--driven-laps", type=int, default=20)
    parser.add_argument("--laps", type=int, default=1_000_000)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--writers", type=int, default=4)
    parser.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()) / "bench-archive"
    )
    given = parser.parse_args()
    if given.what == "rate":
        rate(given.recordings, given.driven_laps, given.folder / f"rate-{given.recordings}")
    elif given.what == "ask":
        ask(given.laps)
    else:
        kill(
            given.kills, given.writers, given.folder / f"kill-{given.recordings}", given.recordings
        )


if __name__ == "__main__":
    main()
