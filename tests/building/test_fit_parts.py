"""What noise a line is smoothed for, and how far two laps may be apart, by hand-made laps."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.building import fit
from trackkit.building.average import LEAST_SCALE_M, STRAY_SIGMAS, TWO_APART_M
from trackkit.building.fit import _FEWEST_FOR_NOISE, _moved, _noise, _two_apart_m
from trackkit.geometry.curve import Curve
from trackkit.motion.gauss_markov import variance_of_mean
from trackkit.motion.noise import USUAL


def lap_of(lasting_s=60.0, *, doppler=False, speed_mps=15.0, wander_m=None, others_mps=99.0):
    recording = SimpleNamespace(accuracy_m=None, hdop=None, interval_s=0.2)
    drive = SimpleNamespace(
        has_doppler=doppler,
        recording=recording,
        wander_from_recording=wander_m is not None,
        levels=SimpleNamespace(
            white_m=0.3, doppler_mps=0.07, wander_m=wander_m, wander_time_s=100.0
        ),
    )
    # Only what was driven in the lap counts.
    path = SimpleNamespace(
        drive=drive, speed_mps=np.concatenate([np.full(9, speed_mps), np.full(30, others_mps)])
    )
    return SimpleNamespace(path=path, part=slice(0, 9), start_s=10.0, end_s=10.0 + lasting_s)


def averaged(weight, offset, mean):
    return SimpleNamespace(
        weight=np.array(weight), offset_m=np.array(offset), mean_m=np.array(mean)
    )


@pytest.mark.parametrize("count", [1, 3, 5])
def test_but_for_two_laps_as_much_is_between_them_as_ever(count):
    assert _two_apart_m([lap_of(900.0, wander_m=9.0)] * count) == TWO_APART_M


def test_two_laps_may_be_apart_by_what_of_their_wander_is_no_shift():
    laps = [lap_of(300.0, wander_m=3.0), lap_of(500.0, wander_m=2.0)]

    found = _two_apart_m(laps)

    rest = [1.0 - float(variance_of_mean(lasting, 100.0)) for lasting in (300.0, 500.0)]
    variance = 2.0 * LEAST_SCALE_M**2 + rest[0] * 9.0 + rest[1] * 4.0
    assert found == pytest.approx(max(TWO_APART_M, STRAY_SIGMAS * np.sqrt(variance)))
    assert found > TWO_APART_M


def test_velocities_hold_two_laps_together():
    tied = [lap_of(900.0, wander_m=9.0, doppler=True)] * 2

    assert _two_apart_m(tied) == pytest.approx(
        max(TWO_APART_M, STRAY_SIGMAS * np.sqrt(2.0) * LEAST_SCALE_M)
    )


def test_a_line_is_moved_to_its_left():
    angle = np.linspace(0.0, 2.0 * np.pi, 100, endpoint=False)
    circle = Curve.through(50.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)
    chainage = circle.chainages(2.0)

    moved = _moved(circle, chainage, np.full(len(chainage), 3.0))

    # Anticlockwise the left is inside.
    assert moved.length_m == pytest.approx(2.0 * np.pi * 47.0, abs=0.01)


def test_several_laps_tell_their_noise_by_how_they_scatter_where_they_count(monkeypatch):
    given = {}
    monkeypatch.setattr(fit, "noise_of_laps", lambda *told: given.update(told=told) or "laps'")
    weight = np.ones((_FEWEST_FOR_NOISE, 3))
    weight[1, 1] = weight[:, 2] = 0.0
    offset = np.arange(3.0 * _FEWEST_FOR_NOISE).reshape(-1, 3)
    average = averaged(weight, offset, [0.1, 0.2, 0.3])

    assert _noise([lap_of()] * _FEWEST_FOR_NOISE, average, 1.5) == "laps'"

    rest, same_weight, mean, step_m = given["told"]
    # What counts for nothing lies on the mean.
    assert rest[0].tolist() == [0.0, 1.0, 0.3]
    assert rest[1].tolist() == [3.0, 0.2, 0.3]
    assert same_weight.tolist() == weight.tolist()
    assert (mean.tolist(), step_m) == ([0.1, 0.2, 0.3], 1.5)


@pytest.mark.parametrize(
    ("speed_mps", "doppler", "wander_m"),
    [
        # A walk shows the wander in its bends; velocities, or speed, leave none of it there.
        (1.4, False, USUAL.wander_m),
        (2.9, False, USUAL.wander_m),
        (3.1, False, 0.0),
        (1.4, True, 0.0),
        (20.0, False, 0.0),
    ],
)
def test_few_laps_have_the_noise_of_their_receiver(speed_mps, doppler, wander_m, monkeypatch):
    given = {}
    monkeypatch.setattr(fit, "noise_of_receiver", lambda **told: given.update(told) or "its")
    lap = lap_of(speed_mps=speed_mps, doppler=doppler)

    few = [lap] * (_FEWEST_FOR_NOISE - 1)
    assert _noise(few, averaged([[1.0]], [[0.0]], [0.0]), 1.0) == "its"

    assert given == {
        "speed_mps": speed_mps,
        "interval_s": 0.2,
        "white_m": 0.3,
        "doppler_mps": 0.07 if doppler else None,
        "laps": _FEWEST_FOR_NOISE - 1,
        "wander_m": wander_m,
        "wander_time_s": 100.0,
    }
