"""Lines drawn on a map and revised with laps, against the best weighting of both.

By hand, ``python tests/bench/bench_drawn.py [TRIALS [FIRST_SEED [CASE [positions | told]]]]``: the
table of docs/open-map.md; with "positions" of a receiver that gives no speed and course, with
"told" where the method knows how large drawn lines' shifts as a whole are, one sigma.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from drawn_trials import ratio_to_best, trial

from trackkit.building import drawn_and_driven
from trackkit.building.from_line import DRAWN_SIGMA_M
from trackkit.library.folders import shipped_folder
from trackkit.track.file import read_track

CIRCUITS = ("pipwick-kart-circuit", "gullhatch-oval", "morrowfen")
CASES = (
    ("as the file states", 2.1, 2.1, 60.0),
    ("shifted as a whole", 3.0, 0.5, 60.0),
    ("off from place to place", 0.5, 3.0, 60.0),
    ("drawn well", 0.7, 0.7, 40.0),
    ("drawn badly", 4.0, 3.0, 100.0),
)


def main(trials: int, first: int, only: str = "", given: str = "") -> None:
    print(
        "| drawn line | laps | drawn m | laps alone m | best weighting m | revised m | "
        "ratio | shape m | states m |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for name, whole, local, over in CASES:
        if only not in name:
            continue
        if given == "told":
            vars(drawn_and_driven)["_OFFSETS"] = (whole / DRAWN_SIGMA_M,)
        for laps in (1, 3):
            done = [
                trial(
                    read_track(shipped_folder() / f"{CIRCUITS[n % len(CIRCUITS)]}.geojson"),
                    first + n,
                    laps=laps,
                    whole_m=whole,
                    local_m=local,
                    over_m=over,
                    doppler=given != "positions",
                )
                for n in range(trials)
            ]
            drawn, alone, best, revised = ratio_to_best(done)
            shape = float(np.sqrt(np.mean([one.shape_m**2 for one in done])))
            stated = float(np.sqrt(np.mean([one.stated_m**2 for one in done])))
            print(
                f"| {name} | {laps} | {drawn:.2f} | {alone:.2f} | {best:.2f} | {revised:.2f} | "
                f"{revised / best:.2f} | {shape:.2f} | {stated:.2f} |",
                flush=True,
            )


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:3]]
    main(*numbers, *(12, 1)[len(numbers) :], *sys.argv[3:5])
