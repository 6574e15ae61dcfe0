"""How a drive is laid out between its fixes, and where it stops or is not told, by small cases."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from ellipse import PLANE, received

from trackkit.building.bridges import LONGEST_BEND_S
from trackkit.building.path import (
    _CLOSE_STEPS,
    _bent_gaps,
    _between_close,
    _gaps,
    _ground_speed,
    _in_gap,
    _nodes,
    _paced,
    _stops,
)
from trackkit.motion.smooth import smooth


def test_between_fixes_a_second_apart_nodes_follow_the_drive():
    drive = smooth(received(np.arange(0.0, 40.0), 4), PLANE)
    index = np.arange(len(drive.time_s))

    time, position, heading = _nodes(drive, index)

    assert np.all(np.diff(time) > 0.0)
    assert np.linalg.norm(np.diff(position, axis=0), axis=1).max() < 3.2
    assert position == pytest.approx(drive.at(time)[0], abs=1e-6)
    velocity = drive.at(time)[1]
    velocity /= np.linalg.norm(velocity, axis=1, keepdims=True)
    assert heading == pytest.approx(velocity, abs=1e-6)
    # Every fix is one of them, and between two they lie evenly in time.
    assert np.isin(np.round(drive.time_s, 9), np.round(time, 9)).all()
    step = np.diff(time)
    assert step == pytest.approx(1.0 / np.round(1.0 / step), abs=1e-9)


def test_fixes_that_were_passed_over_are_not_filled_in():
    drive = smooth(received(np.arange(0.0, 40.0), 4), PLANE)
    index = np.delete(np.arange(40), np.s_[10:20])

    time, _, _ = _nodes(drive, index)

    assert not ((time > 9.0) & (time < 20.0)).any()
    assert ((time > 8.0) & (time < 9.0)).any()


def test_a_step_has_close_ones_on_either_side_where_all_of_some_are():
    random = np.random.default_rng(3)
    for count in (0, 1, 5, 40):
        close = random.random(count) < 0.8
        expected = [
            place >= _CLOSE_STEPS
            and place + _CLOSE_STEPS < count
            and close[place - _CLOSE_STEPS : place].all()
            and close[place + 1 : place + 1 + _CLOSE_STEPS].all()
            for place in range(count)
        ]
        assert _between_close(close).tolist() == expected


def test_over_a_long_gap_the_pace_is_even_and_elsewhere_as_it_was():
    # A fix, two nodes bunched at the ends of a long gap, a fix, one node, the last fix.
    long_s = 3.0 * LONGEST_BEND_S
    time = np.array([0.0, 0.3 * long_s, 0.5 * long_s, long_s, long_s + 1.0, long_s + 5.0])
    position = np.column_stack([[0.0, 10.0, 90.0, 100.0, 130.0, 140.0], np.zeros(6)])

    paced = _paced(time, position, np.array([0, 3, 5]))

    assert paced == pytest.approx([0.0, 0.1 * long_s, 0.9 * long_s, *time[3:]])
    short = time / 4.0
    np.testing.assert_array_equal(_paced(short, position, np.array([0, 3, 5])), short)


def logged(time_s, speed_mps=10.0):
    time = np.asarray(time_s, dtype=float)
    position = np.column_stack([speed_mps * time, np.zeros(len(time))])
    return SimpleNamespace(time_s=time, position_m=position, has_doppler=False)


@pytest.mark.parametrize(
    ("usual_s", "gap_s", "marked"),
    # A gap is 1.5 s or three usual steps, whichever is more.
    [(0.1, 1.4, False), (0.1, 1.6, True), (1.0, 2.9, False), (1.0, 3.1, True)],
)
def test_a_gap_is_a_step_much_longer_than_is_usual_on_the_way(usual_s, gap_s, marked):
    before = usual_s * np.arange(40)
    drive = logged(np.concatenate([before, before[-1] + gap_s + usual_s * np.arange(40)]))

    assert np.flatnonzero(_gaps(drive)).tolist() == [39] * marked


def test_a_stop_without_fixes_is_no_gap():
    drive = logged(np.concatenate([np.arange(0.0, 4.0, 0.1), 100.0 + np.arange(0.0, 4.0, 0.1)]))
    drive.position_m[40:] -= drive.position_m[40] - drive.position_m[39]

    assert not _gaps(drive).any()
    drive.position_m[40:] += [10.5, 0.0]
    assert np.flatnonzero(_gaps(drive)).tolist() == [39]


@pytest.mark.parametrize(("gap_s", "bent"), [(599.0, True), (601.0, False)])
def test_over_more_than_ten_minutes_the_ends_of_a_gap_tell_nothing(gap_s, bent):
    before = 0.1 * np.arange(40)
    drive = logged(np.concatenate([before, before[-1] + gap_s + before]))
    # Of the way hardly any lies in it.
    drive.position_m[40:] += [12.0 - 10.0 * gap_s, 0.0]

    assert _gaps(drive).any()
    assert _bent_gaps(drive).any() == bent


def test_times_within_a_gap_are_marked_and_its_ends_are_not():
    drive = logged([*np.arange(0.0, 30.1, 0.5), *np.arange(38.0, 68.1, 0.5)])

    times = np.array([-1.0, 29.9, 30.0, 30.1, 37.9, 38.0, 38.2, 68.0, 69.0])

    assert _in_gap(drive, times).tolist() == [False] * 3 + [True] * 2 + [False] * 4
    assert not _in_gap(logged([3.0]), np.array([1.0, 3.0])).any()


@pytest.mark.parametrize("interval_s", [0.1, 0.5, 4.0])
def test_without_velocities_speed_is_the_way_of_two_seconds_over_them(interval_s):
    drive = logged(np.arange(0.0, 20.0, interval_s), speed_mps=7.0)

    assert _ground_speed(drive) == pytest.approx(7.0)
    # To and fro within two seconds nothing is driven.
    if interval_s == 0.5:
        drive.position_m[:, 0] = 5.0 * (np.arange(40) % 2)
        assert _ground_speed(drive)[2:-2] == pytest.approx(0.0)


def test_with_velocities_speed_is_theirs():
    drive = SimpleNamespace(has_doppler=True, speed_mps=np.array([1.0, 2.0]))

    assert _ground_speed(drive).tolist() == [1.0, 2.0]


def test_a_stop_lasts_from_the_last_fix_that_moved_to_the_next_that_does():
    drive = SimpleNamespace(time_s=np.arange(30.0))
    moving = np.ones(30, dtype=bool)
    moving[5:9] = moving[15:18] = moving[26:] = False

    # From 4 s to 9 s is as long as a stop has to be; from 14 s to 18 s is not.
    assert _stops(drive, moving) == ((4.0, 5.0),)
    moving[24:26] = moving[:3] = False
    assert _stops(drive, moving) == ((4.0, 5.0), (23.0, 6.0))
    moving[3:] = False
    assert _stops(drive, moving) == ((0.0, 29.0),)
