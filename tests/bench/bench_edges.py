"""How true the width between recorded edges, and their centre, are: claimed against actual.

    python tests/bench/bench_edges.py [--seeds FIRST COUNT] [--kind NAME ...]

Invented edges 9.0 m apart on invented circuits (tests/shared/recorded_rounds.py), each recorded by
itself, so that their receivers' wander shares nothing.  Prints a row a kind: pairs, the least and
the largest width told, and of width and centre the root mean square claimed and actual, their
ratio, and the share of all metres within two sigma.  Seeds used while developing were below 15000.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "shared"))

from recorded_rounds import Plan, recorded

from trackkit.building.from_edges import build_between

FRESH_SEED = 15_000
APART_M = 9.0
_EVERY_M = 2.0
_EDGE = Plan(
    "walk",
    seed=0,
    laps=1,
    length_m=800.0,
    corner_m=25.0,
    fastest_mps=1.4,
    sideways_mps2=5.0,
    rate_hz=1,
    doppler_mps=None,
    repeated_m=0.0,
    deviation_m=0.3,
)
_KART = replace(_EDGE, kind="kart", laps=2, fastest_mps=15.0, sideways_mps2=8.0, rate_hz=10)
KINDS = {
    "on foot": _EDGE,
    "on foot, accuracy reported": replace(_EDGE, accuracy=True),
    "kart, with velocities": replace(_KART, doppler_mps=0.05),
    "kart, positions only": _KART,
}


@dataclass(frozen=True, eq=False)
class Pair:
    """What two edges came to, every 2 m of their centre, each of shape (n,)."""

    width_m: np.ndarray
    width_sigma_m: np.ndarray
    aside_m: np.ndarray
    sigma_m: np.ndarray


def measured(plan: Plan) -> Pair:
    """Record two edges of a plan's circuit and build the track between them."""
    left, right = (recorded(plan, aside) for aside in (0.5 * APART_M, -0.5 * APART_M))
    track = build_between([left.recording], [right.recording], "X").track
    chainage = track.curve.chainages(_EVERY_M)
    profile = np.array(track.centreline.width_profile)
    both = profile[:, 1] + profile[:, 2]
    width = np.interp(chainage, profile[:, 0], both, period=track.length_m)
    # The edges are laid out beside the circuit that is recorded here without deviations.
    middle = recorded(replace(plan, deviation_m=0.0))
    aside = middle.aside_m(*track.plane.to_geographic(track.curve.position(chainage)))
    sigma, _ = track.centreline.accuracy_at(chainage)
    return Pair(width, 2.0 * sigma, aside, sigma)


def row(name: str, pairs: list[Pair]) -> str:
    """One row of the table."""
    width = np.concatenate([pair.width_m for pair in pairs])
    text = f"| {name} | {len(pairs)} | {width.min():.1f} to {width.max():.1f} |"
    for sigma, off in (
        (np.concatenate([p.width_sigma_m for p in pairs]), width - APART_M),
        (np.concatenate([p.sigma_m for p in pairs]), np.concatenate([p.aside_m for p in pairs])),
    ):
        claimed, actual = (float(np.sqrt(np.mean(some**2))) for some in (sigma, off))
        within = 100 * float(np.mean(np.abs(off) <= 2 * sigma))
        text += f" {claimed:.2f} | {actual:.2f} | {claimed / actual:.2f} | {within:.1f} % |"
    return text


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", nargs=2, type=int, default=[FRESH_SEED, 30])
    parser.add_argument("--kind", nargs="*", default=list(KINDS))
    given = parser.parse_args()
    first, count = given.seeds
    heads = ("claimed, m", "actual, m", "ratio", "within 2 sigma")
    print("| edges | pairs | width told, m |", *(f"{h} |" for h in (*heads, *heads)))
    print("| --- | ---: | ---: |" + " ---: |" * 8)
    for name in given.kind:
        print(
            row(name, [measured(replace(KINDS[name], seed=first + k)) for k in range(count)]),
            flush=True,
        )


if __name__ == "__main__":
    main()
