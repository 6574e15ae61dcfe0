"""How errors of laps and of a drawn line are told apart, against sums and normal densities."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from trackkit.building import drawn_and_driven
from trackkit.building.drawn_and_driven import (
    _LOCAL_FACTOR,
    _OFFSET_FACTOR,
    _OWN_M,
    _USUAL_LOCAL,
    _USUAL_OFFSET,
    Weighing,
    _moved,
    _smooth_correlation,
    _wander_correlation,
)
from trackkit.building.line_accuracy import KnownLine
from trackkit.geometry.curve import Curve
from trackkit.motion.noise import USUAL

RADIUS_M = 100.0
LENGTH_M = 2.0 * np.pi * RADIUS_M


def circle():
    angle = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    return Curve.through(RADIUS_M * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


def fitted(laps, *, drives=1, speed_mps=10.0, closed=True):
    curve = circle()
    chainage = curve.chainages(5.0)
    owners = [SimpleNamespace() for _ in range(drives)]
    found = [
        SimpleNamespace(path=SimpleNamespace(drive=owners[number % drives]))
        for number in range(laps)
    ]
    return SimpleNamespace(
        curve=SimpleNamespace(length_m=curve.length_m, closed=closed),
        chainage_m=chainage,
        speed_mps=np.full(len(chainage), speed_mps),
        laps=found,
    )


@pytest.mark.parametrize(
    ("laps", "drives", "a_drive"), [(1, 1, 1), (3, 1, 3), (6, 2, 3), (2, 2, 1)]
)
@pytest.mark.parametrize("closed", [True, False])
def test_errors_of_the_mean_of_laps_are_alike_as_the_wander_is(laps, drives, a_drive, closed):
    place = np.array([0.0, 50.0, 300.0, 600.0])
    lap_s = LENGTH_M / 10.0

    found = _wander_correlation(fitted(laps, drives=drives, closed=closed), place)

    # Each lap with each, in the order that they were driven; at a place this lap or the next.
    def alike(lag_s):
        lap = np.arange(a_drive)
        apart = lag_s + (lap[:, None] - lap) * lap_s
        return np.exp(-np.abs(apart) / USUAL.wander_time_s).sum()

    lag = np.abs(place[:, None] - place) / 10.0
    expected = np.vectorize(alike)(lag)
    if closed:
        expected = np.maximum(expected, np.vectorize(alike)(lap_s - lag))
    assert found == pytest.approx(expected / alike(0.0), abs=2e-3)


def test_driven_slowly_places_are_farther_apart_in_time():
    place = np.array([0.0, 100.0])

    slow = _wander_correlation(fitted(1, speed_mps=2.0), place)
    fast = _wander_correlation(fitted(1, speed_mps=40.0), place)

    assert slow[0, 1] == pytest.approx(np.exp(-50.0 / USUAL.wander_time_s), abs=0.01)
    assert fast[0, 1] == pytest.approx(np.exp(-2.5 / USUAL.wander_time_s), abs=0.01)


def matern(apart_m, length_m):
    """Matern's correlation of order 5/2 (Rasmussen & Williams 2006, section 4.2; from memory)."""
    far = np.sqrt(5.0) * np.abs(apart_m) / length_m
    return (1.0 + far + far**2 / 3.0) * np.exp(-far)


def test_a_smooth_error_round_a_lap_comes_from_either_side():
    curve = circle()
    place = curve.chainages(25.0)

    found = _smooth_correlation(curve, place, 120.0)

    apart = place[:, None] - place
    both = sum(matern(apart + turn * curve.length_m, 120.0) for turn in range(-40, 41))
    assert found == pytest.approx(both / both[0, 0], abs=1e-7)


def test_a_smooth_error_of_a_course_does_not_come_round():
    vertex = np.column_stack([np.linspace(0.0, 600.0, 100), np.zeros(100)])
    course = Curve.through(vertex, closed=False)
    place = np.array([0.0, 30.0, 590.0])

    assert _smooth_correlation(course, place, 60.0) == pytest.approx(
        matern(place[:, None] - place, 60.0)
    )


def test_the_error_of_laps_is_that_of_all_sizes_by_their_normal_densities(monkeypatch):
    # A grid of few sizes will do, each of them reckoned plainly.
    offsets, locals_, lengths = (0.3, 1.1), (0.2, 0.8), (30.0, 120.0)
    for name, values in (("_OFFSETS", offsets), ("_LOCALS", locals_), ("_LENGTHS_M", lengths)):
        monkeypatch.setattr(drawn_and_driven, name, values)
    laps = SimpleNamespace(**(vars(fitted(3)) | {"curve": circle(), "accuracy_m": 0.8}))
    stated_m = 2.0

    weighing = Weighing.of(laps, stated_m)
    place, left = weighing.chainage_m, weighing.left
    aside = np.random.default_rng(3).normal(size=len(place))
    error, variance, drawn = weighing.error_of_laps(aside)

    curve = laps.curve
    facing = left @ left.T
    wander = 0.8**2 * _wander_correlation(laps, place)
    seen = wander * facing
    chances, errors, variances, sizes = [], [], [], []
    for length, local, offset in product(lengths, locals_, offsets):
        near = _smooth_correlation(curve, place, length)
        total = seen + _OWN_M**2 * np.eye(len(place))
        total = total + (stated_m * local) ** 2 * near + (stated_m * offset) ** 2 * facing
        # Sizes are log-normal beforehand, about the usual ones.
        before = sum(
            norm(np.log(usual), factor).logpdf(np.log(size))
            for size, usual, factor in (
                (local, _USUAL_LOCAL, _LOCAL_FACTOR),
                (offset, _USUAL_OFFSET, _OFFSET_FACTOR),
            )
        )
        chances.append(multivariate_normal(np.zeros(len(place)), total).logpdf(aside) + before)
        solved = np.linalg.solve(total, aside)
        errors.append(-wander @ (left * solved[:, None]))
        variances.append(np.diag(seen - seen @ np.linalg.solve(total, seen)))
        sizes.append(stated_m * np.hypot(offset, local))
    share = np.exp(np.array(chances) - max(chances))
    share /= share.sum()
    expected = np.einsum("m,mij->ij", share, errors)
    assert error == pytest.approx(expected, abs=1e-6)
    apart = np.einsum("mij,ij->mi", np.array(errors) - expected, left)
    assert variance == pytest.approx(share @ (np.array(variances) + apart**2), abs=1e-6)
    assert drawn == pytest.approx(share @ sizes, rel=1e-6)


@pytest.mark.parametrize("closed", [True, False])
def test_a_line_is_moved_by_what_it_is_off_and_known_no_worse_than_before(closed):
    curve = circle() if closed else Curve.through(circle().vertex_m, closed=False)
    chainage = curve.chainages(curve.length_m / 40)
    known = KnownLine(np.full(3, 0.8), np.array(["measured"] * 3), "laps", True)
    line = SimpleNamespace(
        curve=curve, chainage_m=np.array([0.0, 100.0, 400.0]), accuracy=known, accuracy_m=0.8
    )
    error = np.tile([3.0, -1.0], (len(chainage), 1))
    variance = np.where(chainage < 250.0, 0.4, 1.6) ** 2

    moved = _moved(line, chainage, error, variance, 2.34)

    back = moved.curve.position(moved.curve.chainages(20.0)) + np.array([3.0, -1.0])
    _, aside = curve.project(back)
    assert aside == pytest.approx(0.0, abs=0.02)
    # Half of what it was known to; and never worse.
    assert moved.accuracy.sigma_m == pytest.approx([0.4, 0.4, 0.8], abs=0.01)
    assert moved.accuracy.basis == "laps, and the drawn line, which was off by 2.3 m"
    assert (moved.accuracy.assumed, moved.drawn_m) == (True, 2.34)
    assert moved.chainage_m == pytest.approx(line.chainage_m, rel=1e-3)
