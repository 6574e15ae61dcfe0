"""How well laps and their differences are known, all of a recording worked out at once.

Each is held against what is worked out for one sum at a time, whose own tests hold it against
simulated truth.  The circuit is an invented sample, the recording simulated.
"""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from checkout import TRACKS

from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.crossings import sum_sigma
from trackkit.timing.lap_sigmas import lap_sigmas
from trackkit.timing.lap_times import time_laps
from trackkit.timing.passings import passings
from trackkit.track.file import read_track

STRETCHES = [(0, 4), (0, 2), (1, 2), (2, 4), (3, 4)]


@pytest.fixture(scope="module", params=[("doppler", 7), ("positions", 3)])
def timed(request):
    name, laps = request.param
    track = read_track(TRACKS / "pipwick-kart-circuit.geojson")
    drive = simulate_drive(track, laps=laps, rate_hz=5.0, seed=21, doppler=name == "doppler")
    return track, time_laps(track, drive.recording)


@pytest.fixture(scope="module")
def known(timed):
    track, report = timed
    return lap_sigmas(track, report.drive, report.laps, places_of(track), STRETCHES)


def places_of(track):
    return np.array([0.0, 150.0, 420.0, 700.0, track.curve.length_m])


def passed_by(timed, known):
    """Each lap's passings of the places, in the order of `known`."""
    track, report = timed
    by_number = {(lap.session, lap.number): lap for lap in report.laps}
    laps = [by_number[numbers] for numbers in known.laps]
    inner = places_of(track)[1:-1]
    return [
        (lap.passed[0], *passings(track, report.drive, lap, inner), lap.passed[-1]) for lap in laps
    ]


def test_laps_come_fastest_first_and_only_whole_ones(timed, known) -> None:
    _, report = timed
    whole = sorted((lap for lap in report.laps if lap.is_whole), key=lambda lap: lap.time_s)
    assert known.laps == tuple((lap.session, lap.number) for lap in whole)
    assert known.together == len(whole)
    assert known.passed_s[:, -1] == pytest.approx([lap.time_s for lap in whole])
    assert np.all(known.passed_s[:, 0] == 0.0)


def test_sigmas_of_laps_are_those_of_one_sum_at_a_time(timed, known) -> None:
    drive = timed[1].drive
    for lap, row in zip(passed_by(timed, known), known.stretch_sigma_s, strict=True):
        for (begin, end), sigma in zip(STRETCHES, row, strict=True):
            alone = sum_sigma(drive, [(lap[end], 1.0), (lap[begin], -1.0)])
            assert sigma == pytest.approx(alone, rel=1e-6)


def test_sigmas_of_differences_are_those_of_one_sum_at_a_time(timed, known) -> None:
    drive = timed[1].drive
    pairs = list(combinations(passed_by(timed, known), 2))
    assert len(pairs) == len(known.pair_sigma_s)
    for (lap, other), row in zip(pairs, known.pair_sigma_s, strict=True):
        for (begin, end), sigma in zip(STRETCHES, row, strict=True):
            terms = [(lap[end], 1.0), (lap[begin], -1.0), (other[end], -1.0), (other[begin], 1.0)]
            assert sigma == pytest.approx(sum_sigma(drive, terms), rel=1e-6)


def test_of_many_laps_the_fastest_are_held_against_each_other(timed, known, monkeypatch) -> None:
    track, report = timed
    monkeypatch.setattr("trackkit.timing.lap_sigmas.MOST_TOGETHER", 2)
    few = lap_sigmas(track, report.drive, report.laps, places_of(track), STRETCHES)
    assert few.together == 2
    assert few.pair_sigma_s == pytest.approx(known.pair_sigma_s[:1], rel=1e-6)
    assert few.stretch_sigma_s == pytest.approx(known.stretch_sigma_s, rel=1e-6)


def test_what_a_recording_does_not_tell_is_not_a_number(timed) -> None:
    track, report = timed
    laps = [lap for lap in report.laps if not lap.is_whole]
    none = lap_sigmas(track, report.drive, laps, places_of(track), STRETCHES)
    assert none.laps == ()
    assert none.passed_s.shape == (0, 5)
    assert none.pair_sigma_s.shape == (0, len(STRETCHES))
    assert not math.isnan(none.stretch_sigma_s.sum())
