"""How much of a lap time's error comes of not knowing the receiver's levels of noise.

Run ``python tests/bench/bench_levels.py [SESSIONS] [FIRST_SEED] [PART...]``: SESSIONS sessions of
15 laps on each of three invented circuits for every case, made and judged as
tests/shared/level_trials.py says, and printed as the tables that docs/timing.md shows.  PART is
one of `rates`, `winding`, `jumps`, `positions`; all of them without it, and a rate after a colon
(`winding:10`) is that rate alone.  Seeds used while
developing were below 1000.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

from level_trials import FILTERED, PHONE, WHITE, Case, Summary, measure, summary

CASES = {
    "rates": [
        Case(f"{rate_hz:g} Hz, {kind}", rate_hz, levels)
        for kind, levels in (("white", WHITE), ("correlated over 1 s", FILTERED))
        for rate_hz in (1.0, 2.0, 4.0, 5.0, 6.0, 8.0, 10.0, 20.0, 25.0)
    ],
    "winding": [
        Case(f"winding, {rate_hz:g} Hz, {kind}", rate_hz, levels, winding=True)
        for kind, levels in (("white", WHITE), ("correlated over 1 s", FILTERED))
        for rate_hz in (4.0, 5.0, 6.0, 8.0, 10.0, 20.0)
    ],
    "jumps": [
        Case(f"jumps, {rate_hz:g} Hz", rate_hz, WHITE, doppler=False, jumps=True)
        for rate_hz in (1.0, 2.0, 5.0, 10.0, 25.0)
    ],
    "positions": [
        Case("phone: wander 3 m, 60 s; 1 Hz", 1.0, PHONE, doppler=False),
        *(
            Case(f"usual wander, {rate_hz:g} Hz", rate_hz, WHITE, doppler=False)
            for rate_hz in (1.0, 5.0, 10.0)
        ),
    ],
}


def _judged(got: Summary) -> list[str]:
    """Cells of the ratio and of what sigma is worth."""
    return [
        f"{got.ratio:.3f} ± {got.ratio_sigma:.3f}",
        f"{got.over_sigma:.2f}",
        f"{got.within_1:.0f} / {got.within_2:.0f}",
    ]


def main() -> None:
    """Print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    for asked in sys.argv[3:] or CASES:
        part, _, rate = asked.partition(":")
        other = "without those fixes" if part == "jumps" else "informed"
        print(
            f"| {part} | laps | lost | alone, ms | {other}, ms | ratio | over own sigma "
            "| within 1 / 2 sigma, % | together, ms | ratio | over own sigma "
            "| within 1 / 2 sigma, % | beyond 5 sigma |"
        )
        print("| --- |" + " ---: |" * 12)
        for case in CASES[part]:
            if rate and case.rate_hz != float(rate):
                continue
            began = time.perf_counter()
            rows = measure(case, count, seed)
            alone, together = summary(rows), summary(rows, together=True)
            cells = [case.name, f"{alone.laps}", f"{together.lost}"]
            cells += [f"{alone.own_ms:.2f}", f"{alone.other_ms:.2f}", *_judged(alone)]
            cells += [f"{together.own_ms:.2f}", *_judged(together), f"{together.beyond_5}"]
            print(f"| {' | '.join(cells)} |", flush=True)
            print(f"{case.name}: {time.perf_counter() - began:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
