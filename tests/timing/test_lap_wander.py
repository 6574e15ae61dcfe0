"""The receiver's wander read from how laps lie beside each other, where it is known."""

from types import SimpleNamespace

import numpy as np
import pytest
from checkout import ROOT

import trackkit.timing.lap_wander
from trackkit.geometry.curve import Curve
from trackkit.motion.gauss_markov import covariance_of_means
from trackkit.motion.noise import USUAL
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.lap_wander import FEWEST_LAPS, levels_from_laps
from trackkit.track.file import read_track

ANGLE = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
TRACK = SimpleNamespace(
    curve=Curve.through(150.0 * np.column_stack([np.cos(ANGLE), np.sin(ANGLE)]), closed=True)
)
LAP_S = 240.0


def driven(shift_m, *, swerve_m=0.0, taken_out=0.0):
    """Laps of a circle, each shifted as a whole by metres east and north, shape (laps, 2).

    A share of the shifts may have been taken out by smoothing, which then calls it wander.
    """
    count = len(shift_m)
    step = LAP_S / 100
    time = step * np.arange(100 * count)
    chainage = TRACK.curve.wrap(TRACK.curve.length_m * time / LAP_S)
    lap = (time / LAP_S).astype(int)
    ahead, left = TRACK.curve.direction(chainage), TRACK.curve.left(chainage)
    swerve = swerve_m * np.sin(5.0 * 2.0 * np.pi * chainage / TRACK.curve.length_m + 2.0 * lap)
    moved = np.asarray(shift_m, dtype=float)[lap]
    drive = SimpleNamespace(
        time_s=time,
        position_m=TRACK.curve.position(chainage)
        + (1.0 - taken_out) * moved
        + swerve[:, None] * left,
        wander_m=taken_out * moved,
        velocity_mps=4.0 * ahead,
        speed_mps=np.full(len(time), 4.0),
        trust=np.ones(len(time)),
        levels=USUAL,
    )
    return drive, [(LAP_S * n, LAP_S * (n + 1) - step) for n in range(count)]


def wander_from_laps(track, drive, laps):
    return levels_from_laps(track, drive, laps).wander_m


def shifts(sigma_m, count=60):
    """What a wander of some sigma and the usual time constant gives as the means over laps."""
    spans = [(LAP_S * n, LAP_S * (n + 1)) for n in range(count)]
    factor = np.linalg.cholesky(covariance_of_means(spans, USUAL.wander_time_s))
    return sigma_m * factor @ np.random.default_rng(8).standard_normal((count, 2))


@pytest.mark.parametrize("taken_out", [0.0, 0.6])
@pytest.mark.parametrize("sigma_m", [0.5, 2.0, 5.0])
def test_a_wander_that_many_laps_show_is_read_from_them(sigma_m, taken_out):
    drive, laps = driven(shifts(sigma_m), taken_out=taken_out)

    # 120 values have a standard deviation that scatters by one part in sqrt(240).
    assert wander_from_laps(TRACK, drive, laps) == pytest.approx(sigma_m, rel=0.25)


def test_a_drivers_swerves_are_not_added_to_the_wander():
    steady, swerving = (
        wander_from_laps(TRACK, *driven(shifts(0.5), swerve_m=swerve_m)) for swerve_m in (0.0, 1.5)
    )

    assert 0.1 < swerving < 1.05 * steady


def test_the_time_constant_is_read_from_how_alike_neighbouring_laps_are():
    spans = [(LAP_S * n, LAP_S * (n + 1)) for n in range(60)]
    drawn = []
    for time_constant_s in (40.0, 120.0, 400.0):
        factor = np.linalg.cholesky(covariance_of_means(spans, time_constant_s))
        shift = 2.0 * factor @ np.random.default_rng(8).standard_normal((60, 2))
        drawn.append(levels_from_laps(TRACK, *driven(shift)).wander_time_s)

    assert drawn == sorted(drawn)
    assert drawn[0] < 0.8 * USUAL.wander_time_s
    assert drawn[1] == pytest.approx(USUAL.wander_time_s, rel=0.25)
    assert drawn[2] > 1.25 * USUAL.wander_time_s


def test_places_where_positions_are_not_trusted_tell_no_wander():
    shift = shifts(1.0)
    drive, laps = driven(shift)
    aside = np.arange(len(drive.time_s)) % 100 < 12
    drive.position_m[aside] += 15.0 * np.sign(np.sin(drive.time_s[aside] / LAP_S))[:, None]
    drive.trust[aside] = 1e-6

    spoiled = wander_from_laps(TRACK, drive, laps)

    assert spoiled == pytest.approx(wander_from_laps(TRACK, *driven(shift)), rel=0.1)


def test_few_laps_draw_the_wander_to_the_usual_one_unless_they_are_far_from_it():
    few, many = shifts(1.5, FEWEST_LAPS), shifts(1.5)
    few *= np.sqrt((shifts(1.5) ** 2).mean() / (few**2).mean())

    drawn, read = (wander_from_laps(TRACK, *driven(shift)) for shift in (few, many))

    assert USUAL.wander_m < drawn < read
    assert wander_from_laps(TRACK, *driven(20.0 * few)) > 15.0


def test_fewer_than_six_laps_tell_no_wander():
    few, enough = (driven(shifts(1.7, count)) for count in (FEWEST_LAPS - 1, FEWEST_LAPS))

    assert levels_from_laps(TRACK, *few) == USUAL
    assert levels_from_laps(TRACK, *enough) != USUAL


@pytest.fixture(scope="module")
def drive():
    """Forty laps by a receiver that tells positions alone, so that only laps tell its wander."""
    track = read_track(ROOT / "tracks" / "pipwick-kart-circuit.geojson")
    return track, simulate_drive(track, laps=40, rate_hz=1.0, seed=5, doppler=False).recording


@pytest.mark.slow
def test_times_rest_on_some_of_very_many_laps_as_well_as_on_all(drive, monkeypatch):
    every = time_laps(*drive).counted
    monkeypatch.setattr(trackkit.timing.lap_wander, "_MOST_LAPS", 14)
    some = time_laps(*drive).counted

    assert len(every) == len(some) == 40
    assert [lap.time_s for lap in some] != [lap.time_s for lap in every]
    for one_of_some, of_every in zip(some, every, strict=True):
        assert abs(one_of_some.time_s - of_every.time_s) <= 0.1 * of_every.sigma_s
