"""Invented outings that several files of this room find laps in."""

import pytest
from drives import drive, stadium


@pytest.fixture(scope="session")
def whole_outing():
    """Parked, creeping about, pit exit, one lap and a bit, a stop of 60 s in it, parked again."""
    return drive(stadium(), begin_m=20.0, laps=1.15, paddock=True, stop_at_m=250.0, cruise=12.0)
