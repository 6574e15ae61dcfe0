"""The circuit that this room places gates on."""

import pytest
from drives import block_circuit, track_of


@pytest.fixture(scope="session")
def bare():
    return track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)
