"""How well `build` finds the line that was driven: the figures it must reach, against known truth.

    python tests/bench/bench_centreline.py [--seeds FIRST COUNT] [--case NAME ...]

Practice drives on invented circuits, receiver noise of docs/methods.md; the seeds from 9100 on
were not used while developing.  Truth is the mean of the lines driven on the laps in question,
laid out by the circuit's own chainage.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "shared"))

from drives import Road, arc, straight, track_of

from trackkit.building.build import build_track
from trackkit.geometry.curve import Curve
from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import Simulation, simulate_drive
from trackkit.track.file import read_track
from trackkit.track.model import Track

TRACKS = HERE.parents[1] / "tracks"
FRESH_SEED = 9100
TIGHT_M = 15.0


def tight_circuit() -> Road:
    """Lay out an invented circuit of 1,180 m, anticlockwise, four corners of it of 15 m radius."""
    quarter = arc(TIGHT_M, 90)
    return Road(
        (
            straight(110),
            quarter,
            straight(60),
            arc(-40, 90),
            straight(60),
            quarter,
            straight(120),
            quarter,
            straight(300),
            arc(40, 90),
            straight(210),
            quarter,
            straight(100),
        ),
    )


def closed_exactly(road: Road) -> Road:
    """Refuse a road whose end is not its beginning."""
    (begin, end), (ahead, ended) = road.at([0.0, road.length_m - 1e-9])
    if np.linalg.norm(begin - end) > 1e-6 or ahead @ ended < 1 - 1e-9:
        raise ValueError(f"the road ends {end - begin} from where it begins")
    return road


def driven_lines(simulation: Simulation, track: Track, laps: int) -> np.ndarray:
    """Each flying lap's true positions at every metre of the track, shape (laps, n, 2)."""
    chainage = track.curve.chainages(1.0)
    run = simulation.runs[0]
    instant = np.arange(run.start_s, run.end_s, 0.02)
    way = run.chainage(instant)
    keep = np.concatenate([[True], np.diff(way) > 1e-6])
    begin = track.finish.chainage_m + track.curve.length_m
    lines = []
    for lap in range(laps):
        reached = np.interp(begin + lap * track.curve.length_m + chainage, way[keep], instant[keep])
        lines.append(simulation.position_m(reached))
    return np.array(lines)


def compared(built: Track, truth_m: np.ndarray, track: Track) -> dict[str, float]:
    """Measure a built line against a true one: metres, degrees, per cent of the length."""
    on_built = built.plane.to_plane(*track.plane.to_geographic(truth_m))
    true = Curve.through(on_built, closed=True)
    chainage = true.chainages(1.0)
    position, ahead = true.position(chainage), true.direction(chainage)
    where, offset = built.curve.project(position, ahead)
    left = built.curve.left(where)
    shift = np.linalg.lstsq(left, offset, rcond=None)[0]
    # The overall shift is taken out: along a bend it would pass for a change of heading.
    where, _ = built.curve.project(position - shift, ahead)
    found = built.curve.direction(where)
    heading = np.degrees(np.arcsin(ahead[:, 0] * found[:, 1] - ahead[:, 1] * found[:, 0]))
    return {
        "lateral_m": float(np.sqrt(np.mean((offset - left @ shift) ** 2))),
        "absolute_m": float(np.sqrt(np.mean(offset**2))),
        "heading_deg": float(np.sqrt(np.mean(heading**2))),
        "length_percent": 100.0 * (built.length_m / true.length_m - 1.0),
    }


def circle_radius(position_m: np.ndarray) -> float:
    """Radius of the circle that fits best (linear least squares; Kasa 1976, from memory)."""
    middle = position_m.mean(axis=0)
    point = position_m - middle
    system = np.column_stack([2 * point, np.ones(len(point))])
    solved = np.linalg.lstsq(system, (point**2).sum(axis=1), rcond=None)[0]
    return float(np.sqrt(solved[2] + solved[:2] @ solved[:2]))


def radius_errors(built: Track, truth_m: np.ndarray, road: Road, track: Track) -> list[float]:
    """Relative error of the least radius at each corner of 15 m, against a circle through truth."""
    starts = np.concatenate([[0.0], np.cumsum(road.lengths)])
    chainage = track.curve.chainages(1.0)
    errors = []
    for begin, (length, radius) in zip(starts, road.pieces, strict=False):
        if radius != TIGHT_M:
            continue
        inside = (chainage > begin + 0.2 * length) & (chainage < begin + 0.8 * length)
        true = circle_radius(truth_m[inside])
        longitude, latitude = track.plane.to_geographic(truth_m[inside].mean(axis=0))
        place = built.plane.to_plane(longitude, latitude)
        apex = built.plane.to_plane(*np.array([c.apex for c in built.corners]).T)
        nearest = built.corners[int(np.argmin(np.linalg.norm(apex - place, axis=1)))]
        errors.append(nearest.min_radius_m / true - 1.0)
    return errors


def circuits() -> Iterator[tuple[str, Track, Road | None]]:
    """Name the circuits the figures are measured on."""
    road = closed_exactly(tight_circuit())
    finish = [("finish", "finish", 0.0)]
    yield "tight 1.2 km", track_of(road, gates=finish, spacing_m=1.0), road
    yield "kart 0.9 km", read_track(TRACKS / "pipwick-kart-circuit.geojson"), None
    yield "car 3.9 km", read_track(TRACKS / "morrowfen.geojson"), None


def flying(practice: Simulation, margin_s: float = 2.0) -> Recording:
    """Cut the flying laps out of a practice recording, with a little before and after.

    Out lap and in lap would otherwise be averaged as well, and truth is the flying laps' mean.
    """
    crossings = [c["time_s"] for c in practice.truth["crossings"] if c["gate"] == "finish"]
    whole = practice.recording
    inside = (whole.time_s > crossings[0] - margin_s) & (whole.time_s < crossings[-1] + margin_s)
    columns = ("longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    return replace(
        whole,
        **{column: getattr(whole, column)[inside] for column in columns},
        elevation_m=None,
        time_s=whole.time_s[inside] - whole.time_s[inside][0],
    )


def one_lap(seeds: range) -> dict[str, list[float]]:
    """One flying lap: out lap, lap and in lap are recorded, and the flying lap alone is used."""
    found: dict[str, list[float]] = {}
    for name, track, _ in circuits():
        for seed in seeds:
            practice = simulate_drive(track, laps=1, rate_hz=10, seed=seed)
            part = flying(practice, margin_s=0.5)
            built = build_track([part], "X").track
            measured = compared(built, driven_lines(practice, track, 1)[0], track)
            found.setdefault(f"one lap, lateral m, {name}", []).append(measured["lateral_m"])
    return found


def ten_laps(seeds: range) -> dict[str, list[float]]:
    """Ten laps of one recording."""
    found: dict[str, list[float]] = {}
    for name, track, road in circuits():
        for seed in seeds:
            practice = simulate_drive(track, laps=10, rate_hz=10, seed=seed)
            built = build_track([flying(practice)], "X").track
            truth = driven_lines(practice, track, 10).mean(axis=0)
            measured = compared(built, truth, track)
            for label, key in (
                ("lateral m", "lateral_m"),
                ("length %", "length_percent"),
                ("heading deg", "heading_deg"),
            ):
                found.setdefault(f"ten laps, {label}, {name}", []).append(measured[key])
            if road is not None:
                errors = radius_errors(built, truth, road, track)
                found.setdefault(f"ten laps, radius of 15 m, share, {name}", []).extend(errors)
    return found


def five_days(seeds: range) -> dict[str, list[float]]:
    """Ten laps in each of five recordings of different days."""
    found: dict[str, list[float]] = {}
    for name, track, _ in circuits():
        for seed in seeds:
            days = [
                simulate_drive(track, laps=10, rate_hz=10, seed=1000 * seed + d) for d in range(5)
            ]
            built = build_track([flying(day) for day in days], "X").track
            truth = np.concatenate([driven_lines(day, track, 10) for day in days]).mean(axis=0)
            measured = compared(built, truth, track)
            found.setdefault(f"five days, absolute m, {name}", []).append(measured["absolute_m"])
            if built.accuracy_m is not None:
                found.setdefault(f"five days, accuracy_m stated, {name}", []).append(
                    built.accuracy_m
                )
    return found


def sixty_laps(seeds: range) -> dict[str, list[float]]:
    """Sixty laps at 25 Hz of 4 km, read from NMEA, as a whole process."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.nmea"
        command = [sys.executable, "-m", "trackkit"]
        made = [*command, "simulate", str(TRACKS / "morrowfen.geojson"), "-o", str(path)]
        made += ["--laps", "60", "--rate", "25", "--seed", str(seeds.start)]
        subprocess.run(made, check=True, capture_output=True)
        begun = time.perf_counter()
        target = str(Path(folder) / "t.geojson")
        build = [*command, "build", str(path), "--name", "X", "-o", target]
        watched = [sys.executable, "-c", _WATCH, *build]
        done = subprocess.run(watched, check=True, capture_output=True, text=True)
        spent = time.perf_counter() - begun
        return {
            "60 laps at 25 Hz, s": [spent],
            "60 laps at 25 Hz, MiB": [float(done.stdout.splitlines()[-1])],
        }


_WATCH = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)
"""

LIMITS = (
    ("one lap, lateral", 0.25),
    ("ten laps, lateral", 0.20),
    ("ten laps, length", 0.03),
    ("ten laps, heading", 1.0),
    ("ten laps, radius", 0.05),
    ("five days, absolute", 0.6),
    ("60 laps at 25 Hz, s", 10.0),
    ("60 laps at 25 Hz, MiB", 1024.0),
)
CASES: dict[str, Callable[[range], dict[str, list[float]]]] = {
    "one": one_lap,
    "ten": ten_laps,
    "days": five_days,
    "sixty": sixty_laps,
}


def main() -> int:
    """Print the table; 1 where a figure is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", nargs=2, type=int, default=[FRESH_SEED, 4])
    parser.add_argument("--case", nargs="*", choices=sorted(CASES), default=list(CASES))
    given = parser.parse_args()
    seeds = range(given.seeds[0], given.seeds[0] + given.seeds[1])
    missed = 0
    sys.stdout.write("| case | rms | worst | must reach |\n| --- | --- | --- | --- |\n")
    for case in given.case:
        for label, values in CASES[case](seeds).items():
            limit = next((most for name, most in LIMITS if label.startswith(name)), None)
            size = float(np.sqrt(np.mean(np.square(values))))
            worst = float(np.max(np.abs(values)))
            missed += limit is not None and size > limit
            told = "" if limit is None else f"{limit:g}"
            sys.stdout.write(f"| {label} | {size:.3f} | {worst:.3f} | {told} |\n")
            sys.stdout.flush()
    return int(missed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
