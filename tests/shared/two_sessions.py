"""Two practice sessions on an invented circuit with a speed gate, timed."""

from __future__ import annotations

from functools import cache

from drives import block_circuit, track_of

from trackkit.gates.placement import with_gate
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.sessions import Session
from trackkit.track.places import Place

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0), ("two", "sector", 800.0)]


@cache
def block():
    """An invented circuit with three sectors and a speed gate, in a zone with summer time."""
    plain = track_of(block_circuit(), gates=GATES, spacing_m=2.0, timezone="Europe/Vienna")
    track, _, _ = with_gate(plain, "speed", Place(chainage_m=1250.0), name="Trap")
    return track


@cache
def outings():
    return [simulate_drive(block(), laps=3, rate_hz=10, seed=seed) for seed in (1, 2)]


@cache
def sessions():
    return [
        Session(f"{name}.csv", name, time_laps(block(), outing.recording))
        for name, outing in zip(["anna", "bert"], outings(), strict=True)
    ]
