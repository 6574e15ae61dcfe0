"""The block circuit with bare gates, edits of them, and the gates that a page shows."""

from drives import block_circuit

ROAD = block_circuit()
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]


def move(gate, to_m, **more):
    return {"do": "move", "gate": gate, "to_m": to_m, **more}


def gates_of(shown):
    return {gate["id"]: gate for gate in shown["gates"]}
