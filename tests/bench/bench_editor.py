"""What one step of a drag takes on the server behind `trackkit edit`, with a session loaded.

    taskset -c 0 env OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python tests/bench/bench_editor.py

Sessions of 20 laps at 25 Hz are simulated on invented circuits.  A step is all that the server does
for one request: the edit, laps and sectors, what gates are worth, findings, and the JSON.
"""

from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np

from trackkit.checks.evaluate import evaluate, prepare
from trackkit.editor.session import Editing
from trackkit.gates.placement import with_gate
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import read_track
from trackkit.track.places import Place

FOLDER = Path(__file__).parents[2] / "tracks"
TRACKS = ("pipwick-kart-circuit", "ruddlebeck-full", "morrowfen")
STEPS = 100


def step_ms(editing: Editing, gate: str, begin_m: float, step_m: float) -> np.ndarray:
    took = []
    for n in range(STEPS):
        to_m = begin_m + step_m * (n + 1)
        began = time.perf_counter()
        editing.apply(
            {"do": "move", "gate": gate, "to_m": to_m, "merge": gate, "datum_m": 0.0, "light": True}
        )
        json.dumps(editing.state(gate))
        took.append(1e3 * (time.perf_counter() - began))
    return np.array(took)


def main() -> None:
    """Print one row a circuit and gate."""
    print("circuit                 fixes  gate      median ms   95 % ms   from nothing ms   times")
    for name in TRACKS:
        track = read_track(FOLDER / f"{name}.geojson")
        for share in (0.15, 0.45, 0.75):
            if len(track.gates_of_kind("sector")) < 5:
                track, _, _ = with_gate(track, "sector", Place(share * track.curve.length_m))
        recording = simulate_drive(track, laps=20, rate_hz=25, seed=7).recording
        began = time.perf_counter()
        evaluate(track, prepare(track, [recording]))
        afresh = 1e3 * (time.perf_counter() - began)
        for gate in (track.gates_of_kind("sector")[1], track.finish):
            editing = Editing(track, prepare(track, [recording]))
            editing.state()
            took = step_ms(editing, gate.id, gate.chainage_m, 0.37)
            middle, most = np.median(took), np.percentile(took, 95)
            print(
                f"{name:22}{len(recording):7}  {gate.kind:8}{middle:11.1f}{most:10.1f}"
                f"{afresh:18.0f}{afresh / middle:8.1f}"
            )


if __name__ == "__main__":
    main()
