"""What all laps of a session together tell: errors against truth, beside what there is.

    python tests/bench/bench_joint.py [--rows NAME ...] [--laps N] [--seed FIRST]
        [--generator line|grip] [--keep FILE] [--minutes M] [--bound SESSIONS]

Every session is on an invented circuit of its own (`joint_circuits`), driven and recorded by
`joint_sessions` or, with ``--generator grip``, by `joint_drivers`.  Beside what trackkit reports
("joint"): straight interpolation of positions, one drive smoothed alone as before laps told of
each other ("today"), and one drive smoothed alone with the true levels ("informed").  The bound is
that of `joint_bound`.

A row that depends on the track file's line comes twice: the line exact, and 0.5 m off as from
another day's laps; others have it 0.5 m off.  With ``--keep`` each session is written down when it
is done and not done again, so that a long trial may be run in pieces; ``--minutes`` ends a piece.
Seeds from 40000 on were not used while developing.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))
from joint_bound import bound_squares
from joint_circuits import SECTORS
from joint_drivers import drives_a_racing_line, receiver_of_another_kind
from joint_places import elapsed_of, straight_elapsed, true_elapsed
from joint_rivals import (
    INFORMED,
    JOINT,
    METHODS,
    STRAIGHT,
    TODAY,
    Timed,
    timed_informed,
    timed_joint,
    timed_straight,
    timed_today,
)
from joint_sessions import Case, Session, keeps_a_line, session, usual_noise

FRESH_SEED = 40_000
WITHIN = {1: (62.0, 74.0), 2: (92.0, 98.0)}
"""Per cent of errors that lie within so many sigmas, least and most."""
NEAR_BOUND = 1.15
DIFFERENCE_PARTS = 12
"""Into how many parts a lap is cut for the bound of time differences."""


@dataclass(frozen=True)
class Row:
    """A row of the table: what is recorded, what is measured, and what it is to reach.

    Parameters
    ----------
    against
        The method whose error is the denominator.
    at_most
        Of the ratio.
    bound
        Which bound of `joint_bound` is for what is measured; empty where its model does not hold.
    """

    label: str
    case: Case
    measure: Callable[[Session, dict[str, list[Timed]]], dict[str, Any]]
    against: str
    at_most: float
    bound: str = ""


def lap_errors(made: Session, timed: dict[str, list[Timed]]) -> dict[str, Any]:
    """Sum up the errors of lap times."""

    def errors(method: str) -> np.ndarray:
        return np.concatenate(
            [
                (timing.crossed_s - driven.crossed_s)[:, [0, -1]] @ [-1.0, 1.0]
                for timing, driven in zip(timed[method], made.driven, strict=True)
            ]
        )

    sigma = {
        method: np.concatenate([timing.lap_sigma_s for timing in timed[method]])
        for method in (TODAY, INFORMED, JOINT)
    }
    return summed({method: errors(method) for method in METHODS}, sigma)


def sector_errors(made: Session, timed: dict[str, list[Timed]]) -> dict[str, Any]:
    """Sum up the errors of sector times."""

    def errors(method: str) -> np.ndarray:
        return np.concatenate(
            [
                np.diff(timing.crossed_s - driven.crossed_s, axis=1).ravel()
                for timing, driven in zip(timed[method], made.driven, strict=True)
            ]
        )

    sigma = {
        method: np.concatenate([timing.sector_sigma_s.ravel() for timing in timed[method]])
        for method in (TODAY, INFORMED, JOINT)
    }
    return summed({method: errors(method) for method in METHODS}, sigma)


def difference_errors(made: Session, timed: dict[str, list[Timed]]) -> dict[str, Any]:
    """Sum up the errors of the time differences of laps of two recordings, every 10 m."""
    track = made.track
    place = np.arange(20.0, track.length_m - 20.0, 10.0)
    laps = range(len(made.driven[0].crossed_s))
    truth = [true_elapsed(track, driven, place) for driven in made.driven]
    errors = {STRAIGHT: [straight_elapsed(track, driven, place) for driven in made.driven]}
    sigma = {}
    for method in (TODAY, INFORMED, JOINT):
        elapsed, variance = zip(
            *(elapsed_of(track, timing, place) for timing in timed[method]), strict=True
        )
        errors[method] = list(elapsed)
        sigma[method] = np.sqrt(variance[0] + variance[1]).ravel()
    off = {m: [a - b for a, b in zip(errors[m], truth, strict=True)] for m in errors}
    result = summed({m: (values[0] - values[1]).ravel() for m, values in off.items()}, sigma)
    return result | {"places": len(place) * len(laps)}


def summed(errors: dict[str, np.ndarray], sigma: dict[str, np.ndarray]) -> dict[str, Any]:
    """Sum up what all methods have timed: squares, and how far errors are in sigmas."""
    good = np.all([np.isfinite(values) for values in errors.values()], axis=0)
    far = {method: np.abs(errors[method] / sigma[method])[good] for method in sigma}
    return {
        "count": int(good.sum()),
        "lost": int((~np.isfinite(errors[JOINT]) & np.isfinite(errors[TODAY])).sum()),
        "square": {method: float(np.sum(values[good] ** 2)) for method, values in errors.items()},
        "sigma_square": {m: float(np.sum(values[good] ** 2)) for m, values in sigma.items()},
        "within": {m: [int(np.sum(values < k)) for k in (1, 2)] for m, values in far.items()},
        "beyond_5": {method: int(np.sum(values > 5.0)) for method, values in far.items()},
    }


DOPPLER, POSITIONS = Case(10.0, True), Case(10.0, False)
ROWS = {
    "lap-10": Row("lap, positions only, 10 Hz, car", POSITIONS, lap_errors, STRAIGHT, 0.47, "lap"),
    "lap-10-kart": Row(
        "lap, positions only, 10 Hz, kart",
        Case(10.0, False, kind="kart"),
        lap_errors,
        STRAIGHT,
        0.50,
        "lap",
    ),
    "lap-10-far": Row(
        "lap, positions only, 10 Hz, car, deviations of 0.8 m",
        Case(10.0, False, deviation_m=(0.8, 0.8)),
        lap_errors,
        STRAIGHT,
        0.70,
        "lap",
    ),
    "lap-1": Row(
        "lap, positions only, 1 Hz, car", Case(1.0, False), lap_errors, STRAIGHT, 0.55, "lap"
    ),
    "lap-1-doppler": Row(
        "lap, 1 Hz with Doppler, car", Case(1.0, True), lap_errors, STRAIGHT, 0.60, "lap"
    ),
    "lap-phone": Row(
        "lap, phone: wander 3 m of 60 s, 1 Hz, positions only, car",
        Case(1.0, False, wander_m=3.0, wander_s=60.0),
        lap_errors,
        STRAIGHT,
        0.6,
        "lap",
    ),
    "lap-10-doppler": Row(
        "lap, 10 Hz with Doppler, car", DOPPLER, lap_errors, INFORMED, 1.0, "lap"
    ),
    "sector-10-doppler": Row(
        "sector, 10 Hz with Doppler, line exact",
        Case(10.0, True, off_m=0.0),
        sector_errors,
        TODAY,
        0.5,
        "sector",
    ),
    "sector-10-doppler-off": Row(
        "sector, 10 Hz with Doppler, line 0.5 m off", DOPPLER, sector_errors, TODAY, 0.5, "sector"
    ),
    "sector-10": Row(
        "sector, positions only, 10 Hz, line exact",
        Case(10.0, False, off_m=0.0),
        sector_errors,
        TODAY,
        0.42,
        "sector",
    ),
    "sector-10-off": Row(
        "sector, positions only, 10 Hz, line 0.5 m off",
        POSITIONS,
        sector_errors,
        TODAY,
        0.42,
        "sector",
    ),
    "difference-10": Row(
        "time difference of two recordings, every 10 m, positions only, 10 Hz, line exact",
        Case(10.0, False, laps=8, recordings=2, off_m=0.0),
        difference_errors,
        TODAY,
        0.45,
        "difference",
    ),
    "difference-10-off": Row(
        "time difference of two recordings, every 10 m, positions only, 10 Hz, line 0.5 m off",
        Case(10.0, False, laps=8, recordings=2),
        difference_errors,
        TODAY,
        0.45,
        "difference",
    ),
    "lap-jumps": Row(
        "lap, positions only with jumps, 10 Hz",
        Case(10.0, False, jumps=True),
        lap_errors,
        TODAY,
        0.5,
    ),
    "three-laps": Row("three laps only", Case(10.0, False, laps=3), lap_errors, TODAY, 1.02, "lap"),
    "two-laps": Row("two laps only", Case(10.0, False, laps=2), lap_errors, TODAY, 1.02, "lap"),
    "other-line": Row(
        "driver changes line halfway", Case(10.0, False, change="line"), lap_errors, TODAY, 1.02
    ),
    "rain-line": Row(
        "rain line after dry line", Case(10.0, False, change="rain"), lap_errors, TODAY, 1.02
    ),
}
GENERATORS = {
    "line": (keeps_a_line, usual_noise),
    "grip": (drives_a_racing_line, receiver_of_another_kind),
}


def measured(row: Row, seed: int, generator: str, *, bound: bool) -> dict[str, Any]:
    """Drive one session and time it by every method."""
    made = session(row.case, seed, *GENERATORS[generator])
    timed = {
        STRAIGHT: [timed_straight(made.track, driven) for driven in made.driven],
        TODAY: [timed_today(made.track, driven) for driven in made.driven],
        INFORMED: [timed_informed(made.track, driven, row.case) for driven in made.driven],
        JOINT: [timed_joint(made.track, driven) for driven in made.driven],
    }
    laps = sum(len(driven.crossed_s) for driven in made.driven)
    result = {"laps": laps, **row.measure(made, timed)}
    if bound and row.bound:
        parts = DIFFERENCE_PARTS if row.bound == "difference" else 0
        result["bound"] = bound_squares(made, parts)[row.bound]
    return result


def cells(row: Row, sessions: list[dict[str, Any]]) -> str:
    """One row of the table."""
    count = np.array([entry["count"] for entry in sessions])
    square = {m: np.array([entry["square"][m] for entry in sessions]) for m in METHODS}
    rms = {m: 1e3 * np.sqrt(values.sum() / count.sum()) for m, values in square.items()}
    ratio = rms[JOINT] / rms[row.against]
    left_out = [square[m].sum() - square[m] for m in (JOINT, row.against)]
    spread = np.nan
    if len(count) > 1:
        spread = np.sqrt((len(count) - 1) * np.sqrt(left_out[0] / left_out[1]).var())
    total = count.sum()
    reported = 1e3 * np.sqrt(sum(entry["sigma_square"][JOINT] for entry in sessions) / total)
    within = [
        100 * sum(entry["within"][JOINT][place] for entry in sessions) / total for place in (0, 1)
    ]
    beyond = sum(entry["beyond_5"][JOINT] for entry in sessions)
    lost = sum(entry["lost"] for entry in sessions)
    honest = all(
        WITHIN[k][0] <= share <= WITHIN[k][1] for k, share in zip((1, 2), within, strict=True)
    )
    return " | ".join(
        [
            row.label,
            f"{sum(entry['laps'] for entry in sessions)}",
            f"{lost}",
            *(f"{rms[method]:.2f}" for method in METHODS),
            f"{ratio:.3f} ± {spread:.3f} of {row.against}",
            f"{row.at_most:.2f}",
            _bound_cell(row, sessions),
            f"{reported:.1f}",
            f"{within[0]:.0f} / {within[1]:.0f}{'' if honest else ' !'}",
            f"{beyond}",
        ]
    )


def _bound_cell(row: Row, sessions: list[dict[str, Any]]) -> str:
    """The bound, and the errors of the same sessions over it."""
    bounded = [entry for entry in sessions if "bound" in entry]
    if not bounded:
        return ""
    # Variances of sectors and of differences are summed over as many as there are errors.
    per_lap = SECTORS if row.bound == "sector" else 1
    laps = sum(entry["laps"] for entry in bounded) * per_lap
    if row.bound == "difference":
        laps /= 2
    bound = np.sqrt(sum(entry["bound"] for entry in bounded) / laps)
    actual = np.sqrt(
        sum(entry["square"][JOINT] for entry in bounded) / sum(entry["count"] for entry in bounded)
    )
    return f"{1e3 * bound:.2f} ({actual / bound:.2f})"


HEAD = """\
| case | laps | lost | straight, ms | today, ms | informed, ms | joint, ms | ratio | at most \
| bound, ms (joint over it) | joint's sigma, ms | within 1 / 2 sigma, % | beyond 5 |
| --- | ---: | ---: | ---: | ---: | ---: | ---: | --- | ---: | ---: | ---: | ---: | ---: |"""


def kept(path: Path | None) -> dict[tuple[str, str, int], dict[str, Any]]:
    """Read what earlier pieces have written down."""
    if path is None or not path.exists():
        return {}
    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    return {(row["row"], row["generator"], row["seed"]): row for row in rows}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rows", nargs="*", default=list(ROWS), choices=list(ROWS))
    parser.add_argument("--laps", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=FRESH_SEED)
    parser.add_argument("--generator", choices=list(GENERATORS), default="line")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--bound", type=int, default=0, help="sessions a row to find it for")
    parser.add_argument("--minutes", type=float, default=np.inf)
    given = parser.parse_args()
    in_model = given.generator == "line"
    began, done = time.perf_counter(), kept(given.keep)
    print(HEAD)
    for name in given.rows:
        row, sessions, laps, seed = ROWS[name], [], 0, given.seed
        while laps < given.laps:
            key = (name, given.generator, seed)
            if key not in done:
                if time.perf_counter() - began > 60.0 * given.minutes:
                    break
                begun = time.perf_counter()
                done[key] = measured(
                    row, seed, given.generator, bound=in_model and seed - given.seed < given.bound
                )
                done[key] |= {"row": name, "generator": given.generator, "seed": seed}
                done[key]["seconds"] = round(time.perf_counter() - begun, 2)
                if given.keep is not None:
                    with given.keep.open("a", encoding="utf-8") as file:
                        file.write(json.dumps(done[key]) + "\n")
            sessions.append(done[key])
            laps += done[key]["laps"]
            seed += 1
        if sessions:
            print(f"| {cells(row, sessions)} |", flush=True)
            seconds = sum(entry["seconds"] for entry in sessions)
            sys.stderr.write(f"{name}: {seconds:.0f} s\n")


if __name__ == "__main__":
    main()
