"""The circuit that this room times, and a session driven on it."""

import pytest
from drives import block_circuit, drive, track_of
from timed_block import GATES

from trackkit.timing.lap_times import time_laps


@pytest.fixture(scope="session")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


@pytest.fixture(scope="session")
def session(block):
    """Out of the paddock on the last straight, 3.x laps, and back in."""
    outing = drive(
        block_circuit(), begin_m=1300.0, laps=3.4, cruise=25.0, paddock=True, parked_s=10.0
    )
    return outing, time_laps(block, outing.recording(5, doppler=True))
