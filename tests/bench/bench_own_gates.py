"""Whether a page times sector gates that are laid on it as `laps --gates` does.

    python tests/bench/bench_own_gates.py [SETS] [FIRST]

Draws SETS (25) sets of 4 gates, with seeds from FIRST (0) on; the suite compares the first few.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from browsing import Visit, chromium
from own_gate_trial import COUNTED, GATES, compared, recordings_of
from sample_circuits import track_of

from trackkit.pages.html import write_map
from trackkit.timing.lap_times import TimedRecording


def main() -> None:
    """Print the greatest differences, by recording."""
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else 25
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    print(
        "circuit | gates | recording | times | apart at most | sigmas off | of ways | of bests"
        " | unlike"
    )
    with tempfile.TemporaryDirectory() as name, chromium() as browser:
        for circuit in ("pipwick-kart-circuit", "ruddlebeck-full"):
            track = track_of(circuit)
            recordings = recordings_of(track)
            page = Path(name) / f"{circuit}.html"
            write_map(track, page, recordings=recordings, names=list(COUNTED))
            visit = Visit(browser, page.as_uri())
            timed = [TimedRecording.smoothed(recording, track.plane) for recording in recordings]
            trials = compared(visit, track, timed, Path(name), range(first, first + sets))
            visit.page.close()
            for recording, trial in zip(COUNTED, trials, strict=True):
                worst_ms = 1000.0 * np.abs(trial.apart_s).max()
                laps, ways, bests = (
                    100.0 * np.abs(np.array(ratios) - 1.0).max()
                    for ratios in (trial.of_laps, trial.of_ways, trial.of_bests)
                )
                counted = f"{circuit} | {sets * GATES} | {recording} | {len(trial.apart_s)}"
                print(
                    f"{counted} | {worst_ms:.2f} ms | {laps:.1f} % | {ways:.1f} % | "
                    f"{bests:.1f} % | {trial.unlike}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
