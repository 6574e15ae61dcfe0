"""How errors of laps and of a drawn line are told apart, against sums and normal densities."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from trackkit.building.drawn_and_driven import _estimate, _moved, _wander_correlation
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


def test_an_estimate_is_that_of_the_normal_distribution_of_both_errors():
    random = np.random.default_rng(3)
    count = 12
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    left = np.stack([-np.cos(angle), -np.sin(angle)], axis=1)
    root = random.normal(size=(count, count))
    wander = root @ root.T / count
    root = random.normal(size=(count, count))
    drawn = root @ root.T / count + 0.1 * np.eye(count)
    total = wander * (left @ left.T) + drawn
    aside = random.normal(size=count)

    chance, error, rest = _estimate(total, wander, left, aside, 0.8)

    # What is seen is the drawn line's error less the laps', each seen to the left.
    density = multivariate_normal(np.zeros(count), total).logpdf(aside)
    assert chance == pytest.approx(density + 0.5 * count * np.log(2.0 * np.pi) - 0.32)
    solved = np.linalg.solve(total, aside)
    for axis in range(2):
        assert error[:, axis] == pytest.approx(-wander @ (left[:, axis] * solved))
    seen = wander * (left @ left.T)
    assert rest == pytest.approx(
        np.diag(seen) - np.diag(seen @ np.linalg.solve(total, seen)), abs=1e-9
    )


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
