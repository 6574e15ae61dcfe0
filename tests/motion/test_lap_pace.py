"""What a lap gains on other laps at a place, on laps whose paces are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rings import LENGTH_M, POSITIONS, ring

from trackkit.motion.lap_pace import _FEWEST_LAPS, _LONGEST_S, LapPace, _medians


@pytest.fixture(scope="module")
def side():
    """Eight laps at 20 m/s."""
    return ring(8, POSITIONS, 9, step_m=10.0)[0]


def test_laps_that_are_alike_gain_nothing(side):
    pace = LapPace.of(side, LENGTH_M)

    gained, sigma = pace.gained(np.arange(5.0, side.time_s[-1] - 5.0, 1.7))

    assert gained == pytest.approx(0.0, abs=1e-6)
    # Nobody is believed to drive a second more alike than to two decimetres.
    assert sigma == pytest.approx(0.2)


@pytest.mark.parametrize("share", [0.8, 1.1])
def test_a_pace_that_differs_all_along_a_lap_is_not_gained_at_a_moment(side, share):
    # One lap is driven at another speed throughout.
    lap = side.way_m // LENGTH_M == 4
    step = np.diff(side.time_s, prepend=0.0)
    slower = replace(side, time_s=np.cumsum(np.where(lap, step / share, step)))
    pace = LapPace.of(slower, LENGTH_M)
    middle = slower.time_s[lap][20:-20]

    gained, _ = pace.gained(middle)

    assert gained == pytest.approx(0.0, abs=0.05)
    # Ahead it gets all the same: on other laps, in the time a mark takes.
    ahead = np.interp(middle[[0, -1]], pace.time_s, pace.ahead_m)
    taken_s = middle[-1] - middle[0]
    assert np.diff(ahead)[0] == pytest.approx(
        20.0 * share * taken_s * (1.0 - 1.0 / share), rel=0.02
    )


def test_near_the_ends_and_where_fixes_are_missing_nothing_is_told(side):
    begin_s, end_s = side.time_s[[0, -1]]
    gap = (side.time_s < 100.0) | (side.time_s > 100.0 + 1.2 * _LONGEST_S)
    pace = LapPace.of(side.only(np.flatnonzero(gap)), LENGTH_M)

    _, sigma = pace.gained(np.array([begin_s + 2.5, begin_s + 6.0, 101.0, 110.0, end_s - 2.5]))

    assert np.isfinite(sigma).tolist() == [False, True, False, True, False]


def test_fixes_a_little_less_far_apart_still_tell(side):
    gap = (side.time_s < 100.0) | (side.time_s > 100.0 + 0.8 * _LONGEST_S)
    pace = LapPace.of(side.only(np.flatnonzero(gap)), LENGTH_M)

    _, sigma = pace.gained(np.array([101.0]))

    assert np.isfinite(sigma).all()


def test_where_laps_differ_less_is_told(side):
    # All laps but the last few brake at one place, each by more than the one before.
    place = np.abs(side.chainage_m - 300.0) < 60.0
    lap = np.floor(side.way_m / LENGTH_M)
    step = np.diff(side.time_s, prepend=0.0) * np.where(place, 1.0 + 0.3 * (lap % 3), 1.0)
    pace = LapPace.of(replace(side, time_s=np.cumsum(step)), LENGTH_M)

    at = [np.argmin(np.abs(side.way_m - (3 * LENGTH_M + where))) for where in (300.0, 80.0)]
    _, (unsteady, steady) = pace.gained(np.cumsum(step)[at])

    assert unsteady > 2.0 * steady


@pytest.mark.parametrize(("laps", "enough"), [(_FEWEST_LAPS - 1.1, False), (_FEWEST_LAPS, True)])
def test_it_takes_a_few_laps(laps, enough):
    assert (LapPace.of(ring(laps, POSITIONS, 1)[0], LENGTH_M) is not None) == enough


@pytest.mark.parametrize("begin_m", [0.0, 100.0, 500.0])
def test_laps_count_from_wherever_the_drive_begins(begin_m):
    side = ring(6, POSITIONS, 9, step_m=10.0)[0]
    turned = replace(side, chainage_m=(side.chainage_m + begin_m) % LENGTH_M)

    pace = LapPace.of(turned, LENGTH_M)

    gained, sigma = pace.gained(np.array([80.0, 120.0]))
    assert gained == pytest.approx(0.0, abs=1e-6)
    assert sigma == pytest.approx(0.2)


def test_medians_are_those_of_what_there_is_where_there_is_enough():
    random = np.random.default_rng(4)
    table = random.normal(size=(6, 9))
    table[random.random(table.shape) < 0.4] = np.nan
    row, column = (index.ravel() for index in np.indices(table.shape))

    found = _medians(row, column, table.ravel(), table.shape)

    enough = np.isfinite(table).sum(axis=0) >= _FEWEST_LAPS
    assert 0 < enough.sum() < len(enough)
    assert found[enough] == pytest.approx(np.nanmedian(table[:, enough], axis=0))
    assert np.isnan(found[~enough]).all()
