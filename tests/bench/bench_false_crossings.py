"""Predicted probabilities of false and missed crossings against passages simulated one by one.

Run ``python tests/bench/bench_false_crossings.py [SEED]``: 10,000 passages of each case, none
sharing a random number with another, and exact binomial intervals (Clopper and Pearson) at 99 %
for all cases together (Bonferroni).  Passages are cut with the gate by shapely where they are
quick; slow ones are followed fix by fix with the wander as it goes on.
"""

from __future__ import annotations

import sys
from itertools import pairwise

import numpy as np
import shapely
from scipy.stats import binomtest

from trackkit.gates.false_crossings import (
    RECEIVER_M,
    creeping_probability,
    parked_probability,
    passage_probability,
)

PASSAGES = 10_000
LINE_M = 0.5
WANDER_S = 120.0
ALONG = np.linspace(-40.0, 40.0, 161)
STRAIGHT = np.stack([ALONG, np.zeros(161)], axis=1)
PATHS = {
    "straight": STRAIGHT,
    "askew": STRAIGHT @ np.array([[0.8, 0.6], [-0.6, 0.8]]),
    "bend": np.stack([30 * np.sin(ALONG / 30), 30 - 30 * np.cos(ALONG / 30)], axis=1),
}
ENDS_M = (0.1, 0.4, 0.8, 1.2, 1.6, 2.0, 2.5, 3.0)
PARKED = [
    (0.3, 30.0),
    (0.7, 60.0),
    (1.5, 60.0),
    (2.0, 120.0),
    (2.5, 120.0),
    (3.0, 60.0),
    (-1.0, 60.0),
    (-2.0, 120.0),
]
CREEPING = [
    # How far behind the line it comes to, at which speed, and how long it waits there.
    (0.8, 1.0, 30.0),
    (1.2, 0.5, 60.0),
    (1.5, 0.2, 60.0),
    (2.0, 0.5, 120.0),
    (2.5, 1.0, 120.0),
]
BESIDE_SLOWLY = [(0.4, 1.0), (1.0, 0.5), (1.6, 1.0), (2.2, 0.5)]


def quick(path: np.ndarray, end_m: float, generator: np.random.Generator) -> int:
    """Count passages along a path that cross a gate whose right end is so far to its left."""
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    aside = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    offset = LINE_M * generator.standard_normal((PASSAGES, 1, 1))
    shift = RECEIVER_M * generator.standard_normal((PASSAGES, 1, 2))
    passages = shapely.linestrings(path + offset * aside + shift)
    gate = shapely.LineString([(0.0, end_m + 12.0), (0.0, end_m)])
    return int(shapely.intersects(gate, passages).sum())


def wander(fixes: int, generator: np.random.Generator, sigma_m: float = 1.0):
    """First-order Gauss-Markov wander on one axis, fix by fix, a second apart."""
    fade = np.exp(-1.0 / WANDER_S)
    now = sigma_m * generator.standard_normal(PASSAGES)
    for _ in range(fixes):
        yield now
        fresh = sigma_m * np.sqrt(1 - fade**2) * generator.standard_normal(PASSAGES)
        now = fade * now + fresh


def slow(behind_m: np.ndarray, generator: np.random.Generator) -> int:
    """Count vehicles whose recorded position goes over the line."""
    over = np.zeros(PASSAGES, dtype=bool)
    ahead = (w - b for w, b in zip(wander(len(behind_m), generator), behind_m, strict=True))
    for before, after in pairwise(ahead):
        over |= (before < 0) & (after >= 0)
    return int(over.sum())


def beside_slowly(end_m: float, speed_mps: float, generator: np.random.Generator) -> int:
    """Count slow vehicles driving past a gate's end that are recorded as crossing it."""
    time = np.arange(0.0, 16.0 / speed_mps)
    aside = LINE_M * generator.standard_normal(PASSAGES)
    counted = np.zeros(PASSAGES, dtype=bool)
    along = wander(len(time), generator, RECEIVER_M)
    across = wander(len(time), generator, RECEIVER_M)
    places = (
        (speed_mps * t - 8.0 + x, aside + y) for t, x, y in zip(time, along, across, strict=True)
    )
    for (x0, y0), (x1, y1) in pairwise(places):
        share = np.where(x1 > x0, -x0 / np.where(x1 > x0, x1 - x0, 1.0), 0.0)
        height = y0 + share * (y1 - y0)
        counted |= (x0 < 0) & (x1 >= 0) & (height >= end_m) & (height <= end_m + 12.0)
    return int(counted.sum())


def creep(stop_m: float, speed_mps: float, wait_s: float) -> np.ndarray:
    """Distances behind the line, a second apart: from 8 m at a speed, then waiting."""
    return np.maximum(stop_m, 8.0 - speed_mps * np.arange((8.0 - stop_m) / speed_mps + wait_s))


def cases(seed: int):
    """Every case: its name, the probability predicted, and how many were counted."""
    stream = iter(np.random.SeedSequence(seed).spawn(500))

    def fresh() -> np.random.Generator:
        return np.random.default_rng(next(stream))

    for name, path in PATHS.items():
        for end in ENDS_M:
            for kind, at in (("false", end), ("missed", -end)):
                gate = np.array([0.0, at + 12.0]), np.array([0.0, at])
                counts = passage_probability(path, *gate, receiver_m=RECEIVER_M, line_m=LINE_M)
                found = quick(path, at, fresh())
                if kind == "missed":
                    counts, found = 1.0 - counts, PASSAGES - found
                yield f"{kind}, {name} path, gate's end {end:.1f} m away", counts, found
    for behind, seconds in PARKED:
        where = f"{behind:.1f} m behind" if behind > 0 else f"{-behind:.1f} m in front"
        said = parked_probability(behind, seconds)
        found = slow(np.full(int(seconds) + 1, behind), fresh())
        yield f"parked {where} for {seconds:.0f} s", said, found
    for stop, speed, wait in CREEPING:
        behind = creep(stop, speed, wait)
        what = f"creeping at {speed:.1f} m/s to {stop:.1f} m behind, waiting {wait:.0f} s"
        yield what, creeping_probability(behind), slow(behind, fresh())
    for end, speed in BESIDE_SLOWLY:
        gate = np.array([0.0, end + 12.0]), np.array([0.0, end])
        said = passage_probability(STRAIGHT, *gate, receiver_m=RECEIVER_M, line_m=LINE_M)
        what = f"false, at {speed:.1f} m/s past the gate's end {end:.1f} m away"
        yield what, said, beside_slowly(end, speed, fresh())


def main() -> None:
    """Print one row a case, as a table of Markdown."""
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    rows = [row for row in cases(seed) if 0.001 <= row[1] <= 0.5]
    level = 1.0 - 0.01 / len(rows)
    print("| case | predicted | simulated | interval | within |")
    print("| --- | --- | --- | --- | --- |")
    outside = 0
    for what, said, count in rows:
        low, high = binomtest(count, PASSAGES).proportion_ci(level, method="exact")
        within = low <= said <= high
        outside += not within
        print(
            f"| {what} | {said:.4f} | {count / PASSAGES:.4f} | {low:.4f} to {high:.4f} | "
            f"{'yes' if within else 'NO'} |"
        )
    print(f"\n{len(rows)} cases, {outside} outside")


if __name__ == "__main__":
    main()
