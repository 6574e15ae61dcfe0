"""The block circuit with three sector gates and a speed gate, named as people would."""

from dataclasses import replace
from functools import cache

from drives import block_circuit, track_of

from trackkit.track.places import Place

GATES = [
    ("finish", "finish", 0.0),
    ("gate-a", "sector", 300.0),
    ("gate-b", "sector", 700.0),
    ("gate-c", "speed", 1000.0),
    ("gate-d", "sector", 1250.0),
]


def at(chainage_m):
    return Place(chainage_m=chainage_m)


@cache
def block():
    track = track_of(block_circuit(), gates=GATES, spacing_m=2.0)
    named = {"gate-a": "Sector 1 end", "gate-b": "Sector 2 end", "gate-d": "Sector 3 end"}
    return track.with_gates(replace(g, name=named.get(g.id, g.name)) for g in track.gates)
