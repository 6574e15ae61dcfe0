"""The receiver's wander read from laps, from some of them where there are very many."""

import pytest
from checkout import ROOT

import trackkit.timing.lap_wander
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track


@pytest.fixture(scope="module")
def drive():
    """Forty laps by a receiver that tells positions alone, so that only laps tell its wander."""
    track = read_track(ROOT / "tracks" / "pipwick-kart-circuit.geojson")
    return track, simulate_drive(track, laps=40, rate_hz=1.0, seed=5, doppler=False).recording


def test_times_rest_on_some_of_very_many_laps_as_well_as_on_all(drive, monkeypatch):
    every = time_laps(*drive).counted
    monkeypatch.setattr(trackkit.timing.lap_wander, "_MOST_LAPS", 14)
    some = time_laps(*drive).counted

    assert len(every) == len(some) == 40
    assert [lap.time_s for lap in some] != [lap.time_s for lap in every]
    for one_of_some, of_every in zip(some, every, strict=True):
        assert abs(one_of_some.time_s - of_every.time_s) <= 0.1 * of_every.sigma_s
