"""How true the accuracy is that `build` claims: claimed against actual, metre by metre.

    python tests/bench/bench_accuracy.py [--seeds FIRST COUNT] [--kind NAME ...] [--each]

Invented circuits and receivers (tests/shared/recorded_rounds.py) whose repeated line is known.
Prints a row a kind: builds, root mean square claimed and actual, their ratio, and the share of all
metres within two sigma; with --each a row a build.  The seeds from 9500 on were not used while
developing.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "shared"))

from recorded_rounds import Plan, plans, recorded

from trackkit.building.build import build_track
from trackkit.errors import NoLapError

FRESH_SEED = 9500
RATIO = (0.8, 1.25)
WITHIN = (0.90, 0.99)
_EVERY_M = 2.0


def measured(plan: Plan) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Build a plan's track: sigma, distance from truth and kind, every 2 m."""
    driven = recorded(plan)
    track = build_track([driven.recording], "X").track
    chainage = track.curve.chainages(_EVERY_M)
    place = track.plane.to_geographic(track.curve.position(chainage))
    aside = driven.aside_m(*place)
    known = track.centreline.accuracy_at(chainage)
    if known is None:
        return np.full(len(chainage), track.accuracy_m), aside, np.full(len(chainage), "none")
    return known[0], aside, known[1]


def row(label: str, builds: int, sigma: np.ndarray, aside: np.ndarray) -> tuple[str, bool]:
    """One row of the table, and whether it meets what it must."""
    claimed, actual = (float(np.sqrt(np.mean(some**2))) for some in (sigma, aside))
    within = float(np.mean(aside <= 2 * sigma))
    ratio = claimed / max(actual, 1e-9)
    good = RATIO[0] <= ratio <= RATIO[1] and WITHIN[0] <= within <= WITHIN[1]
    text = f"| {label} | {builds} | {claimed:.2f} | {actual:.2f} | {ratio:.2f} |"
    return f"{text} {100 * within:.1f} % |\n", good


def main() -> int:
    """Print the table; 1 where a figure is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", nargs=2, type=int, default=[FRESH_SEED, 36])
    parser.add_argument("--kind", nargs="*")
    parser.add_argument("--each", action="store_true")
    given = parser.parse_args()
    found: dict[str, list[tuple[np.ndarray, np.ndarray, np.ndarray]]] = defaultdict(list)
    for plan in plans(*given.seeds):
        if given.kind and plan.kind not in given.kind:
            continue
        try:
            one = measured(plan)
        except NoLapError as error:
            sys.stderr.write(f"{plan}: {error}\n")
            continue
        found[plan.kind].append(one)
        if given.each:
            extra = f"{plan.laps} laps {plan.rate_hz} Hz doppler {plan.doppler_mps}"
            kinds = {str(kind): int(np.sum(one[2] == kind)) for kind in np.unique(one[2])}
            text, _ = row(f"{plan.kind} {plan.seed} {extra} {kinds}", 1, one[0], one[1])
            sys.stdout.write(text)
            sys.stdout.flush()
    sys.stdout.write("| | builds | claimed, m | actual, m | ratio | within 2 sigma |\n")
    sys.stdout.write("| --- | --- | --- | --- | --- | --- |\n")
    missed = 0
    for kind, builds in found.items():
        sigma, aside, _ = (np.concatenate(column) for column in zip(*builds, strict=True))
        text, good = row(kind, len(builds), sigma, aside)
        sys.stdout.write(text)
        missed += not good
    sigma, aside, how = (
        np.concatenate(column)
        for column in zip(*(one for builds in found.values() for one in builds), strict=True)
    )
    every = [one for builds in found.values() for one in builds]
    for name in ("measured", "thin", "carried"):
        builds = sum(bool(np.any(one[2] == name)) for one in every)
        if builds:
            text, good = row(f"all that is {name}", builds, sigma[how == name], aside[how == name])
            sys.stdout.write(text)
            missed += not good
    return int(missed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
