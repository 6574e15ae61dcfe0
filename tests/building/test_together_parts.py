"""How the laps of a drive are laid beside a curve, on a circle driven evenly."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.building.together import _knots, _levels, _sideways, _suits, _tells_by_itself
from trackkit.geometry.curve import Curve
from trackkit.motion.beside_track import FAST_M
from trackkit.motion.noise import Levels
from trackkit.motion.position_error import walked_m2ps

RADIUS_M, SPEED_MPS = 100.0, 20.0
LENGTH_M = 2.0 * np.pi * RADIUS_M
LAP_S = LENGTH_M / SPEED_MPS
WHITE_M = 0.4


def circle():
    angle = np.linspace(0.0, 2.0 * np.pi, 300, endpoint=False)
    return Curve.through(RADIUS_M * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


CURVE = circle()
CHAINAGE = CURVE.chainages(1.0)


@dataclass(eq=False)
class Driven:
    """Round the circle at 10 Hz, smoothed 2 m to the left of it, recorded 3 m."""

    has_doppler: bool
    time_s: np.ndarray
    trust: np.ndarray
    levels: object

    def _at(self, aside_m):
        angle = self.time_s * SPEED_MPS / RADIUS_M
        return (RADIUS_M - aside_m) * np.stack([np.cos(angle), np.sin(angle)], axis=1)

    @property
    def position_m(self):
        return self._at(2.0)

    @property
    def measured_m(self):
        return self._at(3.0)

    @property
    def speed_mps(self):
        return np.full(len(self.time_s), SPEED_MPS)

    @property
    def velocity_mps(self):
        angle = self.time_s * SPEED_MPS / RADIUS_M
        return SPEED_MPS * np.stack([-np.sin(angle), np.cos(angle)], axis=1)


def laid(*, has_doppler=True, laps=2.0, weight=None, trust=1.0):
    """What is laid out of a drive that goes on for half a lap after its last one."""
    time = np.arange(0.0, (laps + 0.5) * LAP_S, 0.1)
    drive = Driven(has_doppler, time, np.full(len(time), trust), SimpleNamespace(white_m=WHITE_M))
    step_m = 4.0
    way = np.arange(0.0, SPEED_MPS * time[-1], step_m)
    path = SimpleNamespace(drive=drive, step_m=step_m, time_s=way / SPEED_MPS)
    number = int(laps)
    found = [
        SimpleNamespace(path=path, start_s=n * LAP_S, end_s=(n + 1) * LAP_S, length_m=LENGTH_M)
        for n in range(number)
    ]
    # In whatever order they come.
    found = found[::-1]
    weight = np.ones((number, len(CHAINAGE))) if weight is None else weight
    return _sideways(CURVE, CHAINAGE, found, SimpleNamespace(weight=weight), drive)


@pytest.mark.parametrize(("has_doppler", "aside_m"), [(True, 2.0), (False, 3.0)])
def test_nodes_lie_ten_metres_apart_where_the_drive_or_its_fixes_are(has_doppler, aside_m):
    side = laid(has_doppler=has_doppler)

    assert side.offset_m == pytest.approx(aside_m, abs=0.02)
    inner = side.time_s[2:-2]
    assert np.median(np.diff(side.way_m)) == pytest.approx(10.0, abs=0.1)
    # Two laps, and nothing of what was driven after.
    assert len(side.time_s) == pytest.approx(2.0 * LENGTH_M / 10.0, abs=3)
    assert side.time_s[-1] < 2.0 * LAP_S
    assert side.way_m[2:-2] == pytest.approx(SPEED_MPS * inner, abs=0.1)
    where = (SPEED_MPS * inner) % LENGTH_M
    away = (side.chainage_m[2:-2] - where + 0.5 * LENGTH_M) % LENGTH_M - 0.5 * LENGTH_M
    assert away == pytest.approx(0.0, abs=0.1)
    assert side.left == pytest.approx(CURVE.left(side.chainage_m))


@pytest.mark.parametrize("has_doppler", [True, False])
def test_of_the_fixes_of_a_node_the_middle_one_counts_or_their_mean(has_doppler):
    side = laid(has_doppler=has_doppler)

    # Five fixes a node; where there are more or fewer, a mean lies between two.
    tenths = np.round(side.time_s * 10.0, 6)
    assert np.all(tenths == np.round(tenths)) == has_doppler


def test_white_noise_of_a_node_is_that_of_its_fixes_averaged():
    side = laid()

    assert np.median(side.tie_m) == pytest.approx(WHITE_M / np.sqrt(5.0))
    assert side.sigma_m == pytest.approx(np.hypot(side.tie_m, FAST_M))


def test_where_a_lap_counts_for_nothing_its_offsets_say_nothing():
    # Laps come last first: of the first one a stretch does not count.
    weight = np.ones((2, len(CHAINAGE)))
    weight[1, 200:300] = 0.4

    side = laid(weight=weight)

    quiet = np.isinf(side.sigma_m)
    first = side.time_s < LAP_S
    assert not quiet[~first].any()
    inside = first & (side.chainage_m > 206.0) & (side.chainage_m < 294.0)
    outside = first & ((side.chainage_m < 194.0) | (side.chainage_m > 306.0))
    assert quiet[inside].all()
    assert not quiet[outside].any()


@pytest.mark.parametrize("nothing", ["laps of no length", "fixes that are not trusted"])
def test_of_too_few_fixes_nothing_is_laid_out(nothing):
    if nothing == "laps of no length":
        weight = np.ones((1, len(CHAINAGE)))
        time = np.arange(0.0, 4.0, 0.1)
        drive = Driven(True, time, np.ones(len(time)), SimpleNamespace(white_m=WHITE_M))
        path = SimpleNamespace(drive=drive, step_m=4.0, time_s=np.arange(0.0, 4.0, 0.2))
        lap = SimpleNamespace(path=path, start_s=0.0, end_s=4.0, length_m=80.0)
        side = _sideways(CURVE, CHAINAGE, [lap], SimpleNamespace(weight=weight), drive)
    else:
        side = laid(trust=1e-6)

    assert side is None


@pytest.mark.parametrize(
    ("alone", "interval_s", "suits"), [(False, 1.0, True), (True, 1.0, False), (False, 3.0, False)]
)
def test_sparse_fixes_and_speeds_without_courses_are_not_laid_together(alone, interval_s, suits):
    drive = SimpleNamespace(has_speed_alone=alone, recording=SimpleNamespace(interval_s=interval_s))

    assert _suits(drive) == suits


@pytest.mark.parametrize(
    ("doppler", "interval_s", "tells"), [(True, 0.1, True), (True, 1.0, False), (False, 0.1, False)]
)
def test_velocities_that_come_often_tell_a_shape_by_themselves(doppler, interval_s, tells):
    drive = SimpleNamespace(has_doppler=doppler, recording=SimpleNamespace(interval_s=interval_s))

    assert _tells_by_itself(drive) == tells


@pytest.mark.parametrize("doppler", [True, False])
def test_levels_of_a_drive_are_the_likeliest_of_its_wander(doppler):
    levels = Levels()
    drive = SimpleNamespace(
        has_doppler=doppler, levels=levels, recording=SimpleNamespace(interval_s=1.0)
    )
    wander = SimpleNamespace(
        weight=(0.25, 0.75), factor=(1.0, 2.0), time_s=(50.0, 200.0), expected_m={id(drive): 0.8}
    )

    found = _levels(drive, wander)

    # Weighed by their logarithms: 2 to the three quarters, and 50 times 4 to the three quarters.
    assert found.wander_m == pytest.approx(0.8 * 2.0**0.75)
    assert found.wander_time_s == pytest.approx(50.0 * 4.0**0.75)
    assert found.walk_m2ps == (walked_m2ps(levels, 1.0) if doppler else None)


@pytest.mark.parametrize(("length_m", "count"), [(100.0, 40), (500.0, 100), (9000.0, 280)])
@pytest.mark.parametrize("closed", [True, False])
def test_knots_lie_close_along_all_of_a_line(length_m, count, closed):
    curve = SimpleNamespace(
        length_m=length_m, closed=closed, left=lambda where: np.zeros((len(where), 2))
    )

    knots = _knots(curve)

    assert len(knots.chainage_m) == count
    assert knots.chainage_m[0] == 0.0
    # On a lap the end is the beginning again.
    assert (knots.chainage_m[-1] == length_m) == (not closed)
    assert (knots.length_m, knots.closed) == (length_m, closed)
