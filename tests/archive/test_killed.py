"""Writers killed at random moments lose nothing and leave nothing twice."""

from __future__ import annotations

import shutil

import pytest
from killed_adds import added, every_row, killed_adds, twice

import trackkit


@pytest.mark.slow
def test_after_kills_the_archive_is_what_it_is_without(season, home, in_this_process):
    """Two writers at once, two rounds: the whole trial is tests/bench/bench_archive.py."""
    (home / "day").mkdir()
    for name in ("c.gpx", "broken.nmea"):
        shutil.copy2(season / name, home / "day" / name)
    killed_adds(home / "day", home / "killed", kills=2, writers=2, longest_s=4.0, seed=5)
    assert added(home / "day", home / "killed") == 1  # for the broken file
    again = trackkit.add_to_archive([home / "day"], home / "killed")
    assert (again.timed, again.known, again.unusable) == (0, 2, ())
    assert in_this_process == []
    assert twice(home / "killed") == []
    trackkit.add_to_archive([home / "day"], home / "whole")
    assert repr(every_row(home / "killed")) == repr(every_row(home / "whole"))
