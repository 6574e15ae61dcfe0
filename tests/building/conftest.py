"""Invented outings that several files of this room find laps in, and a track built of one."""

import pytest
from drives import drive, stadium

from trackkit.building.build import build_track


@pytest.fixture(scope="session")
def whole_outing():
    """Parked, creeping about, pit exit, one lap and a bit, a stop of 60 s in it, parked again."""
    return drive(stadium(), begin_m=20.0, laps=1.15, paddock=True, stop_at_m=250.0, cruise=12.0)


@pytest.fixture(scope="session")
def athletics():
    outing = drive(stadium(), begin_m=20.0, laps=1.15, paddock=True, stop_at_m=250.0, cruise=12.0)
    return build_track([outing.recording(10, doppler=True)], "Invented Oval")
