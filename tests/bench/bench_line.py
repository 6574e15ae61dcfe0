"""How well `build` finds the line of all laps together: against the laps as they were driven.

    python tests/bench/bench_line.py [--rows NAME ...] [--seeds FIRST COUNT]
        [--generator line|grip] [--keep FILE]

Every session is on an invented circuit of its own (`joint_circuits`), driven and recorded by
`joint_sessions` or, with ``--generator grip``, by `joint_drivers`.  Truth is the mean of the laps
as they were driven.  Beside it stands what the build says of itself.  With ``--keep`` the figures
of each session are written down, so that two versions of trackkit can be compared session by
session.
Seeds from 61000 on were not used while developing.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from bench_centreline import compared
from joint_drivers import drives_a_racing_line, receiver_of_another_kind
from joint_sessions import Case, Session, keeps_a_line, session, usual_noise

from trackkit.building.build import build_track

FRESH_SEED = 61_000
ROWS = {
    "1-20": Case(1.0, False, laps=20),
    "1-20-kart": Case(1.0, False, kind="kart", laps=20),
    "1-8": Case(1.0, False, laps=8),
    "1-3": Case(1.0, False, laps=3),
    "1-2": Case(1.0, False, laps=2),
    "1-1": Case(1.0, False, laps=1),
    "1-20-far": Case(1.0, False, laps=20, deviation_m=(0.8, 0.8)),
    "1-20-doppler": Case(1.0, True, laps=20),
    "1-5-doppler": Case(1.0, True, laps=5),
    "1-20-phone": Case(1.0, False, laps=20, wander_m=3.0, wander_s=60.0),
    "2-10": Case(2.0, False, laps=10),
    "5-10-kart": Case(5.0, False, kind="kart", laps=10),
    "10-20": Case(10.0, False, laps=20),
    "10-5-kart": Case(10.0, False, kind="kart", laps=5),
    "10-2": Case(10.0, False, laps=2),
    "10-20-doppler": Case(10.0, True, laps=20),
    "10-5-kart-doppler": Case(10.0, True, kind="kart", laps=5),
    "1-12-change": Case(1.0, False, laps=12, change="line"),
    "10-12-jumps": Case(10.0, False, laps=12, jumps=True),
}
GENERATORS = {
    "line": (keeps_a_line, usual_noise),
    "grip": (drives_a_racing_line, receiver_of_another_kind),
}
_STEP_M = 1.0


def mean_driven(made: Session) -> np.ndarray:
    """The mean of the whole laps as driven, every metre of the true centreline, shape (n, 2)."""
    driven, length = made.driven[0], made.ground.curve.length_m
    line = driven.line
    chainage = np.arange(0.0, length, _STEP_M)
    laps = np.arange(made.case.laps)[:, None] * length + chainage
    kept = np.concatenate([[True], np.diff(line.chainage_m) > 1e-9])
    begin = line.chainage_m[kept][0]
    place = [np.interp(laps, line.chainage_m[kept], line.position_m[kept, axis]) for axis in (0, 1)]
    if begin > 0.0:
        raise RuntimeError("the drive begins after its first lap")
    return np.stack(place, axis=-1).mean(axis=0)


def measured(made: Session) -> dict[str, float]:
    """Build one session's track and compare it."""
    begun = time.process_time()
    built = build_track([driven.recording for driven in made.driven], "X")
    spent = time.process_time() - begun
    on_track = made.track.plane.to_plane(*made.ground.plane.to_geographic(mean_driven(made)))
    found = compared(built.track, on_track, made.track)
    sigma = built.track.centreline.accuracy_at(built.track.curve.chainages(2.0))
    claimed = built.track.accuracy_m if sigma is None else np.sqrt(np.mean(sigma[0] ** 2))
    return {**found, "claimed_m": float(claimed), "laps": built.laps_used, "spent_s": spent}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rows", nargs="*", default=list(ROWS), choices=list(ROWS))
    parser.add_argument("--seeds", nargs=2, type=int, default=[FRESH_SEED, 8])
    parser.add_argument("--generator", choices=list(GENERATORS), default="line")
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    print("| case | builds | length, % | shape, m | place, m | claimed, m | heading, ° | s |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name in given.rows:
        rows = []
        for seed in range(given.seeds[0], sum(given.seeds)):
            rows.append(measured(session(ROWS[name], seed, *GENERATORS[given.generator])))
            if given.keep is not None:
                with given.keep.open("a", encoding="utf-8") as file:
                    file.write(json.dumps({"row": name, "seed": seed, **rows[-1]}) + "\n")
        column = {key: np.array([row[key] for row in rows]) for key in rows[0]}
        rms = {key: float(np.sqrt(np.mean(values**2))) for key, values in column.items()}
        print(
            f"| {name} | {len(rows)} | {column['length_percent'].mean():+.3f} (rms "
            f"{rms['length_percent']:.3f}) | {rms['lateral_m']:.3f} | {rms['absolute_m']:.2f} | "
            f"{rms['claimed_m']:.2f} | {rms['heading_deg']:.2f} | {column['spent_s'].mean():.2f} |",
            flush=True,
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
