"""A library imported from open map data: what the import takes, and what `locate` does with it.

    taskset -c 0 env OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 \
        python tests/bench/bench_map_library.py FOLDER [--circuits 10000]

FOLDER keeps the extract and the library between runs.  The circuits are invented, by world.py
beside this file, in open sea and desert.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "shared")]

from bench_locate import fixes_on, warm
from places import PLACES
from world import outlines

RUNS = 11


def strewn(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Longitudes and latitudes of circuits strewn over the places, shape (count, 100), degrees."""
    generator = np.random.default_rng(8)
    middle = np.array([[place.longitude_deg, place.latitude_deg] for place in PLACES])
    reach = np.array([place.reach_deg for place in PLACES])
    which = generator.choice(len(PLACES), count, p=reach**2 / np.sum(reach**2))
    away = generator.uniform(-0.9, 0.9, (count, 2)) * reach[which, None]
    return outlines(middle[which] + away, generator)


def write_extract(path: Path, longitude: np.ndarray, latitude: np.ndarray) -> None:
    """Write each circuit as a way that is driven one way."""
    import osmium
    from osmium.osm.mutable import Node, Way

    writer = osmium.SimpleWriter(str(path), overwrite=True)
    vertices = longitude.shape[1] - 1
    for number, (x, y) in enumerate(zip(longitude, latitude, strict=True)):
        for index in range(vertices):
            at = ((float(x[index]) + 180.0) % 360.0 - 180.0, float(y[index]))
            writer.add_node(
                Node(id=1 + number * vertices + index, version=1, visible=True, location=at)
            )
    for number in range(len(longitude)):
        first = 1 + number * vertices
        tags = {"highway": "raceway", "oneway": "yes", "name": f"Invented Circuit {number}"}
        nodes = [*range(first, first + vertices), first]
        writer.add_way(Way(id=1 + number, version=1, visible=True, nodes=nodes, tags=tags))
    writer.close()


def processes(library: Path, longitude: np.ndarray, latitude: np.ndarray) -> None:
    """Time `trackkit locate LAT LON` as a whole process, and its memory."""
    took, peak = [], []
    # GNU time tells the memory of the process alone.
    measured = ["/usr/bin/time", "-f", "%M KiB", sys.executable, "-m", "trackkit"]
    generator = np.random.default_rng(5)
    which = generator.integers(0, len(longitude), RUNS)
    x, y = fixes_on(longitude, latitude, which, generator)
    for place in zip(y.tolist(), x.tolist(), strict=True):
        words = [f"{place[0]:.6f}", f"{(place[1] + 180.0) % 360.0 - 180.0:.6f}"]
        began = time.perf_counter()
        done = subprocess.run(
            [*measured, "locate", "--json", "--library", str(library), "--", *words],
            capture_output=True,
            text=True,
            check=True,
            env=os.environ,
        )
        took.append(time.perf_counter() - began)
        peak.append(int(re.findall(r"(\d+) KiB", done.stderr)[-1]) / 1024.0)
        answer = json.loads(done.stdout)
        nearest = answer["candidates"][0]
        assert (answer["answer"], nearest["origin"]) == ("at", "drawn"), nearest
    print(
        f"locate LAT LON, whole process, median of {RUNS}: {np.median(took):.2f} s, "
        f"{max(peak):.0f} MiB"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--circuits", type=int, default=10_000)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    extract, library = given.folder / "world.osm.pbf", given.folder / "library"
    longitude, latitude = strewn(given.circuits)
    if not extract.exists():
        write_extract(extract, longitude, latitude)
    command = [sys.executable, "-m", "trackkit"]
    for what in ("import", "import again, nothing new"):
        began = time.perf_counter()
        subprocess.run(
            [*command, "library", "import", str(extract), "--library", str(library), "--json"],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        took = time.perf_counter() - began
        count = len(list(library.glob("*.geojson")))
        print(f"{what}: {took:.0f} s, {1e3 * took / count:.0f} ms a circuit, {count:,} files")
    from trackkit import open_library

    atlas = open_library([library]).atlas()
    generator = np.random.default_rng(3)
    which = generator.integers(0, len(longitude), 3000)
    x, y = fixes_on(longitude, latitude, which, generator)
    warm(atlas, (x + 180.0) % 360.0 - 180.0, y, f"at one of {count:,} imported circuits")
    processes(library, longitude, latitude)


if __name__ == "__main__":
    main()
