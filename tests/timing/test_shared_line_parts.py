"""How a drive is laid beside its track, on a circle driven evenly."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.geometry.curve import Curve
from trackkit.motion.beside_track import FAST_M, node_spacing_m
from trackkit.timing.shared_line import _driven, _passes, sideways

RADIUS_M, SPEED_MPS, WHITE_M = 250.0, 25.0, 0.3
LENGTH_M = 2.0 * np.pi * RADIUS_M
LAP_S = LENGTH_M / SPEED_MPS


def circle():
    angle = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    curve = Curve.through(RADIUS_M * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)
    return SimpleNamespace(curve=curve, length_m=curve.length_m, band_m=12.0)


def driven(laps=2.0, *, aside_m=2.0, doppler=True, backwards=False, speed_mps=SPEED_MPS):
    """Round the circle at 10 Hz, so far to the left of it."""
    time = np.arange(0.0, laps * LENGTH_M / speed_mps, 0.1)
    angle = time * speed_mps / RADIUS_M * (-1.0 if backwards else 1.0)
    aside = aside_m(time) if callable(aside_m) else np.full(len(time), aside_m)
    ahead = np.stack([-np.sin(angle), np.cos(angle)], axis=1) * (-1.0 if backwards else 1.0)
    return SimpleNamespace(
        time_s=time,
        position_m=(RADIUS_M - aside)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1),
        velocity_mps=speed_mps * ahead,
        trust=np.ones(len(time)),
        has_doppler=doppler,
        levels=SimpleNamespace(white_m=WHITE_M),
    )


@pytest.mark.parametrize("doppler", [True, False])
def test_nodes_lie_evenly_along_the_way_and_tell_place_and_side(doppler):
    track = circle()

    side = sideways(track, driven(doppler=doppler))

    spacing = node_spacing_m(track.length_m, doppler=doppler)
    assert np.diff(side.way_m).mean() == pytest.approx(spacing, rel=0.01)
    assert side.way_m == pytest.approx(SPEED_MPS * side.time_s, abs=0.01)
    assert side.offset_m == pytest.approx(2.0, abs=0.01)
    where = side.way_m % LENGTH_M
    away = (side.chainage_m - where + 0.5 * LENGTH_M) % LENGTH_M - 0.5 * LENGTH_M
    assert away == pytest.approx(0.0, abs=0.1)
    assert side.left == pytest.approx(track.curve.left(side.chainage_m))


def test_white_noise_of_a_node_is_that_of_all_fixes_up_to_the_next():
    track = circle()

    side = sideways(track, driven())

    fixes = node_spacing_m(track.length_m, doppler=True) / (0.1 * SPEED_MPS)
    assert np.median(side.tie_m) == pytest.approx(WHITE_M / np.sqrt(fixes), rel=0.1)
    assert side.sigma_m == pytest.approx(np.hypot(side.tie_m, FAST_M))


def test_fixes_that_stand_or_are_not_trusted_are_no_nodes():
    drive = driven()
    strays = (drive.time_s > 20.0) & (drive.time_s < 30.0)
    drive.trust[strays] = 1e-6
    standing = (drive.time_s > 50.0) & (drive.time_s < 60.0)
    drive.velocity_mps[standing] = [0.1, 0.0]

    side = sideways(circle(), drive)

    for begin_s, end_s in ((20.0, 30.0), (50.0, 60.0)):
        assert not ((side.time_s > begin_s) & (side.time_s < end_s)).any()
    assert ((side.time_s > 30.0) & (side.time_s < 50.0)).any()


def test_what_is_far_beside_the_band_or_goes_the_other_way_is_no_node():
    track = circle()

    beside = sideways(track, driven(aside_m=lambda time: np.where(time < 30.0, 60.0, -3.0)))

    assert beside.time_s.min() >= 30.0
    assert beside.offset_m == pytest.approx(-3.0, abs=0.01)
    assert sideways(track, driven(aside_m=60.0)) is None
    assert sideways(track, driven(backwards=True)) is None
    assert sideways(track, driven(speed_mps=0.1, laps=0.01)) is None


def test_the_way_driven_is_that_of_the_speeds_between_fixes():
    drive = SimpleNamespace(
        time_s=np.array([0.0, 1.0, 3.0]),
        velocity_mps=np.array([[3.0, 4.0], [0.0, 7.0], [9.0, 12.0]]),
    )

    # 5, 7 and 15 m/s, by the trapezium rule.
    assert _driven(drive).tolist() == [0.0, 6.0, 28.0]


@pytest.mark.parametrize("laps", [1.0, 2.0, 3.6])
def test_places_are_passed_as_often_as_laps_were_driven(laps):
    track = circle()

    passes = _passes(sideways(track, driven(laps)), track.length_m)

    # Of three and a half and a bit, most places were passed four times.
    assert passes == pytest.approx(np.ceil(laps), rel=0.15)
