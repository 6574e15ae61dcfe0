"""Positions that jump aside for seconds and back, where no velocity tells."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import PLANE, laps, received, root_mean_square

from trackkit.motion.jumps import LONGEST_JUMP_S, jumping_positions
from trackkit.motion.noise import Measured
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

JUMPS = ((40.0, 42.5, 4.0, 1.0), (85.0, 94.0, -9.0, 12.0), (140.0, 146.0, 0.0, -5.0))
"""From when until when, seconds, and how far east and north, metres."""


def inside(time, begin_s, end_s):
    # Half a millisecond, since times are sums.
    return (time > begin_s - 5e-4) & (time < end_s - 5e-4)


def with_jumps(time, position, jumps=JUMPS):
    moved, jumping = position.copy(), np.zeros(len(time), bool)
    for begin_s, end_s, east_m, north_m in jumps:
        moved[inside(time, begin_s, end_s)] += [east_m, north_m]
        jumping |= inside(time, begin_s, end_s)
    return moved, jumping


def measured(rate_hz, *, jumps=JUMPS, velocity=False, seed=1):
    time = np.arange(0.0, 180.0, 1.0 / rate_hz)
    position, speeds = laps(time)
    position = position + np.random.default_rng(seed).normal(0.0, 0.15, position.shape)
    moved, jumping = with_jumps(time, position, jumps)
    given = speeds if velocity else np.full_like(speeds, np.nan)
    return Measured(time, moved, given, np.ones(len(time) - 1, bool), np.ones(len(time))), jumping


@pytest.mark.parametrize("rate_hz", [2.0, 4.0, 5.0, 10.0, 25.0])
def test_exactly_the_fixes_of_jumps_are_found(rate_hz):
    whole, jumping = measured(rate_hz)

    assert jumping_positions(whole).tolist() == jumping.tolist()
    assert not jumping_positions(measured(rate_hz, jumps=())[0]).any()


def test_a_single_fix_astray_is_a_jump_of_one_fix():
    whole, _ = measured(10.0, jumps=())
    whole.position_m[700] += [20.0, -10.0]

    assert np.flatnonzero(jumping_positions(whole)).tolist() == [700]


def test_positions_that_stay_where_they_went_have_not_jumped():
    for end_s in (180.0, 40.0 + LONGEST_JUMP_S + 1.0):
        whole, _ = measured(10.0, jumps=((40.0, end_s, 8.0, 3.0),))
        assert not jumping_positions(whole).any()


def test_two_steps_that_do_not_cancel_are_no_jump():
    whole, _ = measured(10.0, jumps=((40.0, 180.0, 8.0, 3.0), (46.0, 180.0, 5.0, -8.0)))

    assert not jumping_positions(whole).any()


def test_nothing_is_looked_for_across_gaps_nor_where_velocities_tell():
    whole, jumping = measured(10.0)
    gone = np.zeros_like(jumping)
    for begin_s, end_s, _, _ in JUMPS:
        for edge_s in (begin_s, end_s):
            gone |= inside(whole.time_s, edge_s - 0.5, edge_s + 0.5)
    count = int((~gone).sum())
    cut = Measured(
        whole.time_s[~gone],
        whole.position_m[~gone],
        whole.velocity_mps[~gone],
        np.ones(count - 1, bool),
        np.ones(count),
    )

    assert not jumping_positions(cut).any()
    assert not jumping_positions(measured(10.0, velocity=True)[0]).any()


@pytest.mark.parametrize("rate_hz", [2.0, 5.0, 10.0])
@pytest.mark.parametrize("seed", [3, 4])
def test_jumps_cost_a_drive_what_gaps_of_their_length_cost(rate_hz, seed):
    time = np.arange(0.0, 180.0, 1.0 / rate_hz)
    clean = received(time, seed, doppler=False)
    position = PLANE.to_plane(clean.longitude_deg, clean.latitude_deg)
    moved, jumping = with_jumps(time, position)
    longitude, latitude = PLANE.to_geographic(moved)
    jumped = replace(clean, longitude_deg=longitude, latitude_deg=latitude)
    gaps = Recording("gaps", time[~jumping], longitude[~jumping], latitude[~jumping])

    truth = laps(time)[0]
    drives = [smooth(recording, PLANE) for recording in (jumped, gaps)]
    cost, cost_of_gaps = (root_mean_square(drive.at(time)[0] - truth) for drive in drives)

    assert jumping.sum() > 30
    assert cost <= 1.05 * cost_of_gaps
    # That the positions there are not to be trusted shows, and how well the drive is known without.
    assert drives[0].trust[jumping].max() < 0.01
    assert drives[0].trust[~jumping] == pytest.approx(drives[1].trust, abs=0.01)
    middle = np.array([int(np.argmin(np.abs(time - 89.5)))])
    slope = np.array([[1.0, 0.0]])
    sigma = np.sqrt(drives[0].variance(middle, np.array([0.5]), slope))
    before = np.sqrt(drives[0].variance(middle - int(20 * rate_hz), np.array([0.5]), slope))
    assert sigma > 1.5 * before
