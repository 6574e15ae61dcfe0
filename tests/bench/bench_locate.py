"""What `locate` takes, and how often it is right: every figure of its table, in one run.

    taskset -c 0 env OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 \
        python tests/bench/bench_locate.py [--circuits 100000]

Everything is on one core.  The world and the families are invented, by world.py and families.py
beside this file.  The two other ways are what anyone would try first: geopandas' `sjoin_nearest` in
a projected plane (equidistant cylindrical, EPSG:4087), and the haversine formula to all vertices.
"""

from __future__ import annotations

import argparse
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from families import Family, family, parted_m
from world import world, write_library

from trackkit.library.drive_filter import Locator
from trackkit.library.known import Atlas, Known
from trackkit.recordings.nmea.stream import Fix
from trackkit.simulation.simulate import simulate_drive

EARTH_M = 6_371_008.8


def say(text: str) -> None:
    print(text, flush=True)


@contextmanager
def clock(took: list[float], now: Callable[[], float] = time.perf_counter) -> Iterator[None]:
    began = now()
    yield
    took.append(now() - began)


def atlas_of(longitude: np.ndarray, latitude: np.ndarray) -> Atlas:
    return Atlas.of(
        Known(
            f"invented-{n:06d}",
            f"Invented {n}",
            "",
            None,
            None,
            True,
            4000.0,
            12.0,
            Path("invented"),
            x,
            y,
        )
        for n, (x, y) in enumerate(zip(longitude, latitude, strict=True))
    )


def fixes_on(
    longitude: np.ndarray, latitude: np.ndarray, which: np.ndarray, generator: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """One fix beside the line of each circuit asked for, 4 m (one sigma) from it."""
    segment = generator.integers(0, longitude.shape[1] - 1, len(which))
    share = generator.random(len(which))
    away = np.degrees(generator.normal(size=(2, len(which))) * 4.0 / EARTH_M)
    x, y = (
        line[which, segment] + share * (line[which, segment + 1] - line[which, segment])
        for line in (longitude, latitude)
    )
    return x + away[0] / np.cos(np.radians(y)), y + away[1]


def pace_ms() -> float:
    """Time a loop of 100,000 additions: virtual machines change their pace all the time."""
    began = time.perf_counter()
    total = 0
    for number in range(100_000):
        total += number
    return 1e3 * (time.perf_counter() - began)


def warm(atlas: Atlas, longitude: np.ndarray, latitude: np.ndarray, label: str) -> None:
    took: list[float] = []
    busy: list[float] = []
    pace = [pace_ms()]
    for x, y in zip(longitude.tolist(), latitude.tolist(), strict=True):
        with clock(took), clock(busy, time.thread_time):
            atlas.locate(x, y)
    half, late = np.percentile(np.array(took) * 1e6, [50, 99])
    half_busy, late_busy = np.percentile(np.array(busy) * 1e6, [50, 99])
    say(
        f"one fix, warm, {label}: median {half:.0f} us, 99th percentile {late:.0f} us "
        f"(of the processor's time {half_busy:.0f} and {late_busy:.0f}; 100,000 additions take "
        f"{pace[0]:.1f} ms before and {pace_ms():.1f} ms after)"
    )


def by_sjoin(
    longitude: np.ndarray, latitude: np.ndarray, x: np.ndarray, y: np.ndarray
) -> tuple[float, np.ndarray]:
    import geopandas
    import shapely

    lines = geopandas.GeoDataFrame(
        geometry=shapely.linestrings(np.stack([longitude, latitude], axis=-1)), crs=4326
    ).to_crs(4087)
    points = geopandas.GeoDataFrame(geometry=geopandas.points_from_xy(x, y), crs=4326).to_crs(4087)
    geopandas.sjoin_nearest(points[:100], lines)
    took: list[float] = []
    with clock(took):
        joined = geopandas.sjoin_nearest(points, lines, distance_col="distance")
    joined = joined[~joined.index.duplicated()]
    return took[0], joined["distance"].to_numpy()


def by_haversine(
    longitude: np.ndarray, latitude: np.ndarray, x: np.ndarray, y: np.ndarray
) -> float:
    far, up = np.radians(longitude.ravel()), np.radians(latitude.ravel())
    cosine = np.cos(up)
    took: list[float] = []
    with clock(took):
        for a, b in zip(np.radians(x), np.radians(y), strict=True):
            root = np.sin((up - b) / 2) ** 2 + cosine * np.cos(b) * np.sin((far - a) / 2) ** 2
            (2 * EARTH_M * np.arcsin(np.sqrt(root))).min()
    return took[0]


def many(longitude: np.ndarray, latitude: np.ndarray, atlas: Atlas, fixes: int) -> None:
    generator = np.random.default_rng(1)
    count = len(longitude)
    x, y = fixes_on(longitude, latitude, generator.integers(0, count, fixes), generator)
    drives = np.repeat(generator.integers(0, count, 200), fixes // 200)
    a, b = fixes_on(longitude, latitude, drives, generator)
    atlas.nearest(x[:1000], y[:1000])
    took: list[float] = []
    with clock(took), clock(took, time.process_time):
        _, distance = atlas.nearest(x, y)
    rate = fixes / took[1]
    say(
        f"{fixes:,} fixes strewn over {count:,} circuits: {rate:,.0f} a second "
        f"({fixes / took[0]:,.0f} by the processor's time)"
    )
    with clock(took), clock(took, time.process_time):
        atlas.nearest(a, b)
    say(
        f"as many as 200 drives: {len(a) / took[3]:,.0f} a second "
        f"({len(a) / took[2]:,.0f} by the processor's time)"
    )
    part = slice(0, min(fixes, 200_000))
    seconds, flat = by_sjoin(longitude, latitude, x[part], y[part])
    theirs = len(x[part]) / seconds
    wrong = np.abs(flat - distance[part])
    say(
        f"geopandas sjoin_nearest: {theirs:,.0f} a second; we are {rate / theirs:.1f} times it; "
        f"{np.mean(wrong > 0.1):.0%} of its distances are wrong by more than 0.1 m, "
        f"up to {wrong.max():,.1f} m"
    )
    slow = 5 / by_haversine(longitude, latitude, x[:5], y[:5])
    say(f"haversine to all vertices: {slow:.2f} a second; we are {rate / slow:,.0f} times it")
    exact(longitude, latitude, x, y, distance)


def exact(
    longitude: np.ndarray, latitude: np.ndarray, x: np.ndarray, y: np.ndarray, found: np.ndarray
) -> None:
    """Measure some of them again with geodesics to every circuit within reach."""
    from trackkit.geometry.geodesy import distance_to_polyline, geodesic_distance

    worst = 0.0
    for row in np.random.default_rng(2).integers(0, len(x), 60).tolist():
        away = geodesic_distance(x[row], y[row], longitude[:, 0], latitude[:, 0])
        near = np.flatnonzero(away < 30_000.0)
        true = min(
            distance_to_polyline(x[row], y[row], longitude[n], latitude[n]) for n in near.tolist()
        )
        worst = max(worst, abs(true - float(found[row])))
    say(f"largest error of 60 of them against geodesics: {worst * 1000:.2f} mm")


def process(folder: Path, circuits: int) -> None:
    """Time whole processes, and building the index, on a library of track files."""
    longitude, latitude = world(circuits)
    write_library(folder, longitude, latitude)
    environment = dict(os.environ, XDG_CACHE_HOME=str(folder / "cache"))
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    program = [sys.executable, "-m", "trackkit", "locate", "--library", str(folder), "--json"]
    place = [f"{latitude[7, 3]:.5f}", f"{longitude[7, 3]:.5f}"]

    def run() -> float:
        began = time.perf_counter()
        subprocess.run([*program, *place], stdout=subprocess.DEVNULL, env=environment, check=True)
        return time.perf_counter() - began

    say(f"index build, {circuits:,} files, whole process: {run():.1f} s")
    time.sleep(2.1)
    run()
    before = os.times()
    times = [run() for _ in range(11)]
    after = os.times()
    busy = after.children_user + after.children_system
    busy -= before.children_user + before.children_system
    # A process begun from a large one counts that one's memory as its own peak; so it tells itself.
    telling = (
        "import sys; from trackkit.cli import run; status = run(sys.argv[1:]);"
        "print(open('/proc/self/status').read(), file=sys.stderr)"
    )
    said = subprocess.run(
        [sys.executable, "-c", telling, *program[3:], *place],
        capture_output=True,
        text=True,
        env=environment,
        check=True,
    ).stderr
    size = int(re.search(r"VmHWM:\s+(\d+) kB", said)[1]) / 1024  # type: ignore[index]
    say(
        f"trackkit locate LAT LON, {circuits:,} circuits: median {np.median(times):.3f} s, "
        f"slowest {max(times):.3f} s ({busy / len(times):.3f} s of the processor's time), "
        f"{size:.0f} MiB"
    )
    changed = folder / "invented-000077.geojson"
    changed.write_text(changed.read_text("utf-8").replace("Invented 77", "Renamed 77"), "utf-8")
    say(f"after one file changed, whole process: {run():.3f} s")


def judged(members: Family, number: int, windows: int, rate_hz: float) -> Iterator[tuple[int, ...]]:
    """Drive every layout, and judge 20 s from a moment by chance: parted, right, wrongly sure."""
    generator = np.random.default_rng([7, number])
    atlas = Atlas.of(members.known)
    for index, track in enumerate(members.tracks):
        practice = simulate_drive(track, laps=2, rate_hz=rate_hz, seed=100 * number + index)
        drive = practice.recording
        assert drive.speed_mps is not None
        assert drive.course_deg is not None
        moving = np.flatnonzero(drive.speed_mps > 8.0)
        for _ in range(windows):
            begin = generator.uniform(drive.time_s[moving[0]], drive.time_s[moving[-1]] - 20.0)
            chosen = np.flatnonzero((drive.time_s >= begin) & (drive.time_s < begin + 20.0))
            locator = Locator(atlas.near)
            for row in chosen.tolist():
                judgement = locator.update(
                    Fix(
                        float(drive.longitude_deg[row]),
                        float(drive.latitude_deg[row]),
                        float(drive.speed_mps[row]),
                        float(drive.course_deg[row]),
                    )
                )
            place = practice.position_m(drive.time_s[chosen])
            same_way = [
                other
                for other in members.tracks
                if other is not track and other.direction == track.direction
            ]
            parted = all(parted_m(place, other, practice.plane) > 20.0 for other in same_way)
            first = judgement.candidates[0]
            right = first.id == track.id and not first.reversed
            yield int(parted), int(right), int(not right and (first.probability or 0.0) > 0.9)


def driven(families: int, windows: int) -> None:
    for rate_hz in (10.0, 1.0):
        rows = np.array(
            [row for n in range(families) for row in judged(family(n), n, windows, rate_hz)]
        )
        parted = rows[rows[:, 0] == 1]
        say(
            f"20 s of driving at {rate_hz:g} Hz, {families} families: {len(rows)} drives; right in "
            f"{parted[:, 1].mean():.1%} of the {len(parted)} that had parted; over 90 % sure of a "
            f"wrong one in {rows[:, 2].mean():.2%} of all"
        )


def streamed() -> None:
    members = family(0)
    drive = simulate_drive(members.tracks[0], laps=3, rate_hz=10.0).recording
    assert drive.speed_mps is not None
    assert drive.course_deg is not None
    locator = Locator(Atlas.of(members.known).near)
    took: list[float] = []
    for x, y, v, c in zip(
        drive.longitude_deg, drive.latitude_deg, drive.speed_mps, drive.course_deg, strict=True
    ):
        with clock(took):
            locator.update(Fix(float(x), float(y), float(v), float(c)))
    half = len(took) // 2
    early, late = (1e6 * np.mean(part) for part in (took[10:half], took[half:]))
    say(
        f"Locator.update: {early:.0f} us a fix in the first half of {len(took):,} fixes, "
        f"{late:.0f} us in the second; slowest {1e3 * max(took):.1f} ms"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--circuits", type=int, default=100_000)
    parser.add_argument("--fixes", type=int, default=1_000_000)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--families", type=int, default=20)
    parser.add_argument("--windows", type=int, default=8)
    given = parser.parse_args()
    longitude, latitude = world(given.circuits)
    took: list[float] = []
    with clock(took):
        atlas = atlas_of(longitude, latitude)
        atlas.locate(0.0, 0.0)
    say(
        f"holding {given.circuits:,} circuits in memory takes {took[0]:.1f} s and "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB"
    )
    generator = np.random.default_rng(3)
    which = generator.integers(0, given.circuits, 3000)
    warm(atlas, *fixes_on(longitude, latitude, which, generator), "at a circuit")
    anywhere = (
        generator.uniform(-180, 180, 1000),
        np.degrees(np.arcsin(generator.uniform(-1, 1, 1000))),
    )
    warm(atlas, *anywhere, "anywhere on Earth")
    many(longitude, latitude, atlas, given.fixes)
    del atlas
    with tempfile.TemporaryDirectory() as folder:
        process(Path(folder) / "tracks", given.files)
    streamed()
    driven(given.families, given.windows)


if __name__ == "__main__":
    main()
