"""What adding costs beside a bare loop, what asking costs, and what becomes of killed writers.

python tests/bench/bench_archive.py rate --recordings 60      loops, archive, cluster, joblib
python tests/bench/bench_archive.py refresh --recordings 24   after a moved gate, beside adding
python tests/bench/bench_archive.py damaged --recordings 10000
python tests/bench/bench_archive.py ask --laps 1000000
python tests/bench/bench_archive.py kill --kills 20 --writers 4

Recordings are simulated on the sample circuits with fixed seeds, in three formats.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from multiprocessing import Process
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

import numpy as np
from killed_adds import added, every_row, finished, killed_adds, killed_commands, twice
from sample_circuits import CLOSED, track_of

import trackkit
from trackkit.archive.columns import LAPS, RECORDINGS, SESSIONS
from trackkit.archive.rows import table_of_rows
from trackkit.archive.store import replace_rows
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive

SUFFIXES = (".nmea", ".csv", ".gpx")
WAYS = ("loop", "archive 1", "two loops", "archive 2", "cluster", "joblib")


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


def rate(recordings: int, laps: int, folder: Path, rounds: int) -> None:
    """Do the same work in several ways, in turn, each as processes of its own, and compare.

    Processor time is that of all processes of a way together; it is steadier than the clock on a
    machine that does other work.
    """
    season(folder, recordings, laps, 10.0)
    clock_s: dict[str, list[float]] = {way: [] for way in WAYS}
    work_s: dict[str, list[float]] = {way: [] for way in WAYS}
    largest_mib: dict[str, float] = {}
    for _ in range(rounds):
        for way in WAYS:
            begun = time.perf_counter()
            words = ["way", "--way", way, "--recordings", recordings, "--driven-laps", laps]
            command = [sys.executable, __file__, *words, "--folder", folder.parent]
            process = subprocess.Popen([str(word) for word in command])
            _, status, used = os.wait4(process.pid, 0)
            assert status == 0, way
            clock_s[way].append(time.perf_counter() - begun)
            work_s[way].append(used.ru_utime + used.ru_stime)
            largest_mib[way] = max(largest_mib.get(way, 0.0), used.ru_maxrss / 1024)
    print(f"{recordings} recordings of {laps} laps at 10 Hz, {rounds} rounds, medians")
    loop_s = statistics.median(work_s["loop"])
    for way in WAYS:
        work, clock = statistics.median(work_s[way]), statistics.median(clock_s[way])
        print(
            f"{way:12} clock {clock:6.1f} s, processors {work:6.1f} s, "
            f"{loop_s / work:.2f} of the loop for each second of a processor, "
            f"largest process {largest_mib[way]:.0f} MiB",
            flush=True,
        )


def _loop(listed: list[tuple[Path, str]]) -> None:
    tracks = {circuit: track_of(circuit) for circuit in CLOSED}
    for path, circuit in listed:
        trackkit.time_laps(tracks[circuit], trackkit.read_recording(path))


def _to_csv(path: Path, circuit: str, folder: str) -> None:
    """Time a recording and write its laps: what a user would give to joblib."""
    report = trackkit.time_laps(track_of(circuit), trackkit.read_recording(path))
    trackkit.laps_frame(report).to_csv(Path(folder) / f"{path.stem}.csv")


def way(name: str, recordings: int, laps: int, folder: Path) -> None:
    """Do the work of `rate` in one way."""
    listed = season(folder, recordings, laps, 10.0)
    with tempfile.TemporaryDirectory() as at:
        if name == "loop":
            _loop(listed)
        elif name == "two loops":
            halves = [Process(target=_loop, args=(listed[half::2],)) for half in (0, 1)]
            for half in halves:
                half.start()
            for half in halves:
                half.join()
        elif name == "joblib":
            from joblib import Parallel, delayed

            Parallel(n_jobs=2)(delayed(_to_csv)(path, circuit, at) for path, circuit in listed)
        elif name == "cluster":
            from distributed import LocalCluster

            with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
                done = trackkit.add_to_archive([folder], at, scheduler=cluster.scheduler_address)
            assert done.timed == recordings
        else:
            done = trackkit.add_to_archive([folder], at, workers=int(name.rpartition(" ")[2]))
            assert done.timed == recordings


def refresh(recordings: int, laps: int, folder: Path, rounds: int) -> None:
    """Add, move a gate of each circuit and refresh, each as a command of one worker, and compare.

    Processor time is that of the whole command, its start and its worker included.
    """
    season(folder, recordings, laps, 10.0)
    work_s: dict[str, list[float]] = {"add": [], "refresh": [], "refresh of nothing": []}
    for number in range(rounds):
        with tempfile.TemporaryDirectory() as place:
            library = Path(place) / "tracks"
            library.mkdir()
            for circuit in CLOSED:
                trackkit.write_track(track_of(circuit), library / f"{circuit}.geojson")
            same = ["--library", str(library), "--at", f"{place}/archive", "--workers", "1"]
            work_s["add"].append(_processor_s(["add", str(folder), *same]))
            for path in library.glob("*.geojson"):
                _move_a_gate(path, 5.0 + number)
            work_s["refresh"].append(_processor_s(["refresh", *same]))
            work_s["refresh of nothing"].append(_processor_s(["refresh", *same]))
    print(f"{recordings} recordings of {laps} laps at 10 Hz, {rounds} rounds, medians")
    for name, taken in work_s.items():
        taken_s = statistics.median(taken)
        times = statistics.median(work_s["add"]) / taken_s
        print(f"{name:20} processors {taken_s:6.2f} s, adding takes {times:.1f} times that")


def _processor_s(words: list[str], stdout: int | None = None) -> float:
    command = [sys.executable, "-m", "trackkit", "archive", *words]
    process = subprocess.Popen(command, stdout=stdout, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    assert status == 0, words
    return used.ru_utime + used.ru_stime


def _move_a_gate(path: Path, by_m: float) -> None:
    track = trackkit.read_track(path)
    gate = next(gate for gate in track.gates if gate.kind == "sector")
    moved = trackkit.move_gate(track, gate.id, f"{gate.chainage_m + by_m:.1f}m")
    trackkit.write_track(moved.track, path, force=True)


def damaged(files: int, folder: Path) -> None:
    """Add many small files, one in 200 damaged, and look what came of each."""
    folder.mkdir(parents=True, exist_ok=True)
    drive = simulate_drive(track_of(CLOSED[0]), laps=1, rate_hz=1.0, seed=5)
    write_recording(drive.recording, folder.with_suffix(".csv"))
    heading, *lines = folder.with_suffix(".csv").read_text().splitlines()
    broken = set(range(100, files, 200))
    for number in range(files):
        # Each on a day of its own: what is the same driving would be held against each other.
        day = (date(2000, 1, 1) + timedelta(days=number)).isoformat()
        own = [f"{day}{line[len(day) :]}" for line in lines]
        if number in broken:
            own = [line[::-1] for line in own]
        (folder / f"{number:05d}.csv").write_text("\n".join([heading, *own, ""]))
    with tempfile.TemporaryDirectory() as at:
        begun, before = time.perf_counter(), os.times()
        done = trackkit.add_to_archive([folder], at)
        taken_s, after = time.perf_counter() - begun, os.times()
        work_s = sum(after[:4]) - sum(before[:4])
    assert done.timed == files - len(broken), done
    assert {int(Path(each.file).stem) for each in done.unusable} == broken
    assert all(each.text for each in done.unusable)
    print(
        f"{files} files, {len(broken)} damaged: each told, all others timed, {taken_s:.0f} s, "
        f"processors {work_s:.0f} s"
    )


def ask(laps: int) -> None:
    """Time whole processes that ask an archive of many laps, made by repeating."""
    with tempfile.TemporaryDirectory() as at:
        _many_laps(at, laps)
        for words in (
            ["summary"],
            ["summary", "--by", "driver"],
            ["laps", "--circuit", "track-3", "--driver", "driver 7"],
        ):
            clock_s, work_s = [], []
            for _ in range(5):
                begun = time.perf_counter()
                work_s.append(_processor_s([*words, "--at", at], stdout=subprocess.DEVNULL))
                clock_s.append(time.perf_counter() - begun)
            print(
                f"archive {' '.join(words)}: processors {statistics.median(work_s):.2f} s, "
                f"clock {statistics.median(clock_s):.2f} s (least {min(work_s):.2f} and "
                f"{min(clock_s):.2f} s), of five",
                flush=True,
            )


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
        print(
            f"add: {kills} kills of {writers} writers, {at_work} at work: nothing lost, "
            "nothing twice",
            flush=True,
        )
        _kill_refreshes(kills, writers, folder, whole)


def _kill_refreshes(kills: int, writers: int, folder: Path, whole: Path) -> None:
    """Move a gate of each circuit before each start, so that there is always work to be killed."""
    library = whole.parent / "tracks"
    library.mkdir()
    for circuit in CLOSED:
        trackkit.write_track(track_of(circuit), library / f"{circuit}.geojson")
    at = Path(shutil.copytree(whole, whole.parent / "killed-refreshes"))

    def moved(number: int) -> None:
        for path in library.glob("*.geojson"):
            _move_a_gate(path, 5.0 if number % 2 else -4.0)

    words = ["refresh", "--library", str(library), "--at", str(at)]
    at_work = killed_commands(words, folder, kills, writers, 12.0, seed=78, before=moved)
    for each in (at, whole):
        assert finished([*words[:-1], str(each)], folder) == 0
    assert twice(at) == []
    assert repr(every_row(at)) == repr(every_row(whole))
    print(
        f"refresh: {kills} kills of {writers} writers, {at_work} at work: nothing lost, "
        "nothing twice",
        flush=True,
    )


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["rate", "way", "refresh", "ask", "kill", "damaged"])
    parser.add_argument("--recordings", type=int, default=40)
    parser.add_argument("--driven-laps", type=int, default=20)
    parser.add_argument("--laps", type=int, default=1_000_000)
    parser.add_argument("--way", choices=WAYS)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--writers", type=int, default=4)
    parser.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()) / "bench-archive"
    )
    given = parser.parse_args()
    season_folder = given.folder / f"rate-{given.recordings}"
    if given.what == "rate":
        rate(given.recordings, given.driven_laps, season_folder, given.rounds)
    elif given.what == "way":
        way(given.way, given.recordings, given.driven_laps, season_folder)
    elif given.what == "refresh":
        refresh(given.recordings, given.driven_laps, season_folder, given.rounds)
    elif given.what == "damaged":
        damaged(given.recordings, given.folder / f"damaged-{given.recordings}")
    elif given.what == "ask":
        ask(given.laps)
    else:
        kill(
            given.kills, given.writers, given.folder / f"kill-{given.recordings}", given.recordings
        )


if __name__ == "__main__":
    main()
