"""Noise levels read from a recording itself."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import DOPPLER_MPS, PLANE, WHITE_M, laps, received, root_mean_square

from trackkit.motion.doppler_noise import doppler_levels
from trackkit.motion.noise import USUAL, Measured
from trackkit.motion.noise_levels import (
    _busiest,
    _scale,
    _thinned,
    _white,
    highest,
    tells_wander,
)
from trackkit.motion.smooth import smooth
from trackkit.motion.smoother import LEAST_TRUST


def test_a_recording_longer_than_the_window_its_levels_are_read_from_is_smoothed_whole():
    time = np.arange(0.0, 600.0, 0.1)
    recording = received(time, 8)
    drive = smooth(recording, PLANE)
    assert len(drive.time_s) == len(time)
    error = drive.velocity_mps - laps(time)[1]
    assert root_mean_square(error) < 0.6 * DOPPLER_MPS * np.sqrt(2)


def test_the_wander_of_a_long_recording_with_stray_fixes_is_still_read():
    time = np.arange(0.0, 900.0, 0.1)
    whole = received(time, 31)
    random = np.random.default_rng(31)
    stray = random.random(len(time)) < 0.05
    east = whole.longitude_deg + np.where(stray, random.uniform(1e-4, 5e-4, len(time)), 0.0)
    levels = smooth(replace(whole, longitude_deg=east), PLANE).levels
    # Seven or eight time constants leave the estimate a scatter of about a quarter.
    assert 0.5 < levels.wander_m < 2.0
    assert levels.doppler_mps == pytest.approx(DOPPLER_MPS, rel=0.2)
    assert levels.white_m == pytest.approx(WHITE_M, rel=0.2)


def measured(time, white_m=0.0, doppler_mps=0.0, *, seed=1, doppler=True, direction=None):
    """Laps with white noise alone."""
    random = np.random.default_rng(seed)
    position, velocity = laps(time)
    velocity = velocity + random.normal(0.0, 1.0, velocity.shape) * doppler_mps
    return Measured(
        time,
        position + random.normal(0.0, 1.0, position.shape) * white_m,
        velocity if doppler else np.full_like(velocity, np.nan),
        np.ones(len(time) - 1, bool),
        np.ones(len(time)),
        direction,
    )


TIME = np.arange(0.0, 200.0, 0.1)


def test_the_scale_of_differences_is_their_sigma_though_some_hold_motion():
    noise = 0.7 * np.random.default_rng(1).standard_normal(20_000)
    moving = np.where(np.arange(20_000) % 10 == 0, 50.0, noise)

    assert _scale(noise) == pytest.approx(0.7, rel=0.03)
    assert _scale(moving) == pytest.approx(0.7, rel=0.15)
    assert np.isnan(_scale(noise[:99]))


@pytest.mark.parametrize("sigma_mps", [0.05, 0.2, 1.0])
def test_white_noise_of_velocities_is_read_from_them(sigma_mps):
    levels = doppler_levels(measured(TIME, doppler_mps=sigma_mps))

    assert levels.doppler_mps == pytest.approx(sigma_mps, rel=0.1)
    assert levels.slow_doppler_mps == 0.0


@pytest.mark.parametrize("time_constant_s", [0.3, 0.8])
def test_velocities_that_a_receiver_has_filtered_are_taken_to_err_together(time_constant_s):
    whole = measured(TIME)
    noise = np.zeros_like(whole.velocity_mps)
    random = np.random.default_rng(3)
    fade = np.exp(-0.1 / time_constant_s)
    noise[0] = random.normal(0.0, 0.05, 2)
    for k in range(1, len(noise)):
        noise[k] = fade * noise[k - 1] + random.normal(0.0, 0.05 * np.sqrt(1 - fade**2), 2)

    levels = doppler_levels(replace(whole, velocity_mps=whole.velocity_mps + noise))

    assert levels.slow_doppler_mps == USUAL.doppler_mps
    assert levels.doppler_mps < USUAL.doppler_mps
    # Rather longer than it is: too small an uncertainty is worse than one too large.
    assert 0.9 < levels.slow_doppler_time_s / time_constant_s < 1.7


@pytest.mark.parametrize("time", [TIME[::10], TIME[:30]], ids=["sparse", "short"])
def test_where_differences_show_motion_or_are_few_the_usual_noise_is_assumed(time):
    assert doppler_levels(measured(time, doppler_mps=0.5)) == USUAL


@pytest.mark.parametrize("white_m", [0.1, 0.6])
@pytest.mark.parametrize("doppler", [True, False])
def test_white_noise_of_positions_is_read_from_them(white_m, doppler):
    whole = measured(TIME, white_m, 0.05, doppler=doppler)
    if not doppler:
        whole = replace(whole, velocity_mps=np.full_like(whole.velocity_mps, np.nan))

    levels = _white(whole, np.ones(len(TIME)), USUAL)

    assert levels.white_m == pytest.approx(white_m, rel=0.1)


@pytest.mark.parametrize(
    ("interval_s", "doppler", "read"),
    [
        (0.5, True, True),
        (1.0, True, False),
        (0.25, False, True),
        (0.5, False, False),
    ],
)
def test_positions_too_far_apart_in_time_tell_motion_and_not_noise(interval_s, doppler, read):
    time = interval_s * np.arange(800)

    levels = _white(measured(time, 0.5, 0.05, doppler=doppler), np.ones(800), USUAL)

    assert (levels != USUAL) == read


def test_the_wander_is_told_by_long_quick_recordings_of_a_drive_with_velocities():
    time = np.arange(0.0, 601.0, 0.2)
    whole = measured(time)

    assert tells_wander(whole)
    assert not tells_wander(whole.part(0, len(time) - 10))
    assert not tells_wander(measured(np.arange(0.0, 700.0, 0.5)))
    assert not tells_wander(replace(whole, velocity_mps=0.1 * whole.velocity_mps))
    assert not tells_wander(replace(whole, direction=np.zeros_like(whole.velocity_mps)))


def test_the_busiest_stretch_is_where_most_ground_is_covered():
    # Parked, two thirds of a lap, parked; one stray fix while parked covers no ground.
    moving = np.clip(np.arange(4000) - 2400, 0, 800)
    position = np.column_stack([2.0 * moving, np.zeros(4000)])
    position[300] = [0.0, 1e5]
    whole = replace(measured(0.1 * np.arange(4000)), position_m=position)

    begin, end = _busiest(whole, 1000)

    assert end - begin == 1000
    assert begin <= 2400
    assert end >= 3200
    assert _busiest(whole, 5000) == (0, 4000)


def test_thinned_fixes_are_the_means_of_runs_and_keep_breaks_and_stray_ones():
    whole = measured(np.arange(11.0))
    whole = replace(whole, joined=np.arange(10) != 4)
    weight = np.where(np.arange(11) == 7, LEAST_TRUST, 1.0)

    part, trust = _thinned(whole, weight, 3)

    # Fixes 0-2, 3-5, 6-8; the two left over are dropped.
    assert part.time_s.tolist() == [1.0, 4.0, 7.0]
    assert part.position_m[1] == pytest.approx(whole.position_m[3:6].mean(axis=0))
    assert part.velocity_mps[2] == pytest.approx(whole.velocity_mps[6:9].mean(axis=0))
    # The break between fixes 4 and 5 lies within the second run: it ties nothing to the third.
    assert part.joined.tolist() == [True, False]
    assert trust.tolist() == [1.0, 1.0, LEAST_TRUST]
    assert _thinned(whole, weight, 1) == (whole, weight)


@pytest.mark.parametrize("peak", [0.3, 0.9, 1.0, 1.05, 1.4, 5.0])
def test_a_score_that_is_a_parabola_of_the_logarithm_is_highest_at_its_peak(peak):
    def score(level):
        return -(np.log(level / peak) ** 2)

    assert highest(score, 1.0, 2.0, (0.01, 100.0)) == pytest.approx(peak, rel=1e-9)
    # Beyond the bounds nothing is looked for.
    assert highest(score, 1.0, 2.0, (0.9, 1.1)) == pytest.approx(1.0)
