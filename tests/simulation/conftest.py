"""Tracks that this room drives on, and one exact drive."""

import numpy as np
import pytest
from practice_tracks import LAP_GATES, LOOP_M, make_track

from trackkit.simulation.simulate import simulate_drive


@pytest.fixture(scope="session")
def kart_track():
    return make_track(LOOP_M, gates=LAP_GATES)


@pytest.fixture(scope="session")
def hill():
    x = np.linspace(0, 1500, 30)
    return make_track(
        np.column_stack([x, 80 * np.sin(x / 120)]),
        closed=False,
        gates=(("start", 5.0), ("sector", 800.0), ("finish", 1500.0)),
        height=lambda share: 300 + 90 * share,
    )


@pytest.fixture(scope="session")
def exact(kart_track):
    return simulate_drive(kart_track, laps=4, noise=0.0)
