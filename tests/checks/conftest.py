"""The clean circuit that this room damages."""

import pytest
from drives import block_circuit, track_of

GATES = [
    ("finish", "finish", 0.0),
    ("gate-a", "sector", 347.0),
    ("gate-b", "sector", 800.0),
    ("gate-c", "speed", 1000.0),
]


@pytest.fixture(scope="session")
def clean():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)
