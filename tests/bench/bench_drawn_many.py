"""Many drawn lines for each few laps, against the best weighting of both, with standard errors.

By hand, ``python tests/bench/bench_drawn_many.py [SEEDS [FIRST_SEED [DRAWN [positions]]]]``: the
ratios of docs/open-map.md.  `bench_drawn.py` draws a line, reads it and revises it; here only its
error is drawn, at the places where `Weighing` looks at it, so that a hundred take as long as one.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from bench_drawn import CASES, CIRCUITS
from drawn_trials import aside_of, drawn_over, some_laps

from trackkit.building.build import laps_by_recording
from trackkit.building.drawn_and_driven import Weighing
from trackkit.building.fit import fit_line
from trackkit.building.from_line import DRAWN_SIGMA_M
from trackkit.library.folders import shipped_folder
from trackkit.track.file import read_track

RESAMPLED = 400


def squares(track, seed, laps, count, rounding_m, *, doppler):
    """Mean squares of laps, drawn, both together and revised: {case: (count, 4)}; their weight."""
    generator = np.random.default_rng([seed, laps, 1])
    recording = some_laps(track, laps, seed, doppler=doppler)
    per_recording, _ = laps_by_recording([recording], track.plane, is_open=False)
    fitted = fit_line(list(per_recording[0]), closed=True)
    weighing = Weighing.of(fitted, DRAWN_SIGMA_M)
    curve, chainage, left = fitted.curve, weighing.chainage_m, weighing.left
    place = curve.position(chainage)
    beside, _ = track.curve.project(place, curve.direction(chainage))
    of_laps = np.einsum("ij,ij->i", place - track.curve.position(beside), left)
    rounding = np.interp(beside, *rounding_m, period=track.curve.length_m)
    apart = np.abs(chainage[:, None] - chainage)
    apart = np.minimum(apart, curve.length_m - apart)
    found = {}
    for name, whole, local, over in CASES:
        root = np.linalg.cholesky(np.exp(-((apart / over) ** 2)) + 1e-5 * np.eye(len(apart)))
        rows = []
        for _ in range(count):
            drawn = left @ (whole * generator.normal(size=2)) + rounding
            drawn = drawn + local * root @ generator.normal(size=len(chainage))
            error, _, _ = weighing.error_of_laps(drawn - of_laps)
            revised = of_laps - np.einsum("ij,ij->i", error, left)
            pairs = ((of_laps, of_laps), (drawn, drawn), (of_laps, drawn), (revised, revised))
            rows.append([np.mean(one * other) for one, other in pairs])
        found[name] = np.array(rows)
    return found, track.curve.length_m


def ratio(rows, weights):
    laps, drawn, both, revised = weights @ rows
    share = laps / (laps + drawn)
    best = share**2 * drawn + (1.0 - share) ** 2 * laps + 2.0 * share * (1.0 - share) * both
    return np.sqrt(revised / best)


def main(seeds: int, first: int, count: int, given: str = "") -> None:
    tracks = [read_track(shipped_folder() / f"{name}.geojson") for name in CIRCUITS]
    roundings = []
    for track in tracks:
        none = drawn_over(track, np.random.default_rng(1), whole_m=0.0, local_m=0.0)
        along = track.curve.chainages(4.0)
        roundings.append((along, aside_of(track, none, none.curve, along)))
    print("| drawn line | laps | ratio | one sigma |\n| --- | --- | --- | --- |")
    for laps in (1, 3):
        each = [
            squares(
                tracks[n % len(tracks)],
                first + n,
                laps,
                count,
                roundings[n % len(tracks)],
                doppler=given != "positions",
            )
            for n in range(seeds)
        ]
        weights = np.array([weight for _, weight in each])
        for name, *_ in CASES:
            rows = np.array([found[name].mean(axis=0) for found, _ in each])
            generator = np.random.default_rng(1)
            again = [
                ratio(rows[taken], weights[taken])
                for taken in generator.integers(0, seeds, (RESAMPLED, seeds))
            ]
            print(f"| {name} | {laps} | {ratio(rows, weights):.3f} | {np.std(again):.3f} |")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:4]]
    main(*numbers, *(12, 1, 10)[len(numbers) :], *sys.argv[4:5])
