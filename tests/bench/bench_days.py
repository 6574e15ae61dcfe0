"""Laps of whole days with stops, spins, roll-backs and lost fixes, against what truly happened.

Run ``PYTHONPATH=tests/shared python tests/bench/bench_days.py [DAYS] [FIRST_SEED]``; it prints the
table that docs/timing.md shows.  Seeds used while developing were below 1000, and those of the
suite are 60,000 and a few more.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

from troubled_days import day, score

from trackkit.timing.lap_times import time_laps


def within(over, sigmas):
    """Share, in per cent, of those within so many sigma."""
    over = np.array(over)
    over = over[np.isfinite(over)]
    return f"{100 * np.mean(np.abs(over) < sigmas):.0f}"


def main():
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 20_000
    scores = {}
    for seed in range(first, first + days):
        true = day(seed)
        outcome = score(true, time_laps(true.track, true.recording))
        doppler = "with Doppler" if true.doppler else "positions only"
        scores.setdefault((doppler, true.rate_hz), []).append(outcome)
        wrong = (outcome.lost, outcome.invented, outcome.sessions_wrong)
        if any((*wrong, outcome.counted_in_error, outcome.set_aside_in_error)):
            print(seed, outcome, file=sys.stderr)
    print(
        "| receiver | days | laps | lost | invented | counted in error | set aside in error |"
        " sessions wrong | median within 1 / 2 sigma, % | theoretical best, % |"
    )
    print("| --- | " + " | ".join(["---:"] * 9) + " |")
    every = [outcome for outcomes in scores.values() for outcome in outcomes]
    rows = [(f"{rate:g} Hz, {doppler}", scores[doppler, rate]) for doppler, rate in sorted(scores)]
    for name, outcomes in [*rows, ("all", every)]:
        total = [
            sum(getattr(outcome, field) for outcome in outcomes)
            for field in (
                "laps",
                "lost",
                "invented",
                "counted_in_error",
                "set_aside_in_error",
                "sessions_wrong",
            )
        ]
        median = [outcome.median_over_sigma for outcome in outcomes]
        best = [outcome.theoretical_over_sigma for outcome in outcomes]
        shares = [f"{within(over, 1)} / {within(over, 2)}" for over in (median, best)]
        print(f"| {' | '.join(map(str, [name, len(outcomes), *total, *shares]))} |")


if __name__ == "__main__":
    main()
