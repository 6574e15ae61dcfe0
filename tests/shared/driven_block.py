"""The block circuit with two sector gates, and a session on it, as a receiver has it."""

from dataclasses import replace
from functools import cache

from drives import block_circuit, corner_speed, drive, track_of

ROAD = block_circuit()
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]


@cache
def block():
    return track_of(ROAD, gates=GATES, spacing_m=2.0, revised="2024-01-01T00:00:00Z")


@cache
def recording():
    outing = drive(ROAD, begin_m=1300.0, laps=4.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    return outing.recording(10, doppler=True, noise=0.5, seed=4)


def moved(track, gate_id, **changes):
    return replace(
        track, gates=tuple(replace(g, **changes) if g.id == gate_id else g for g in track.gates)
    )
