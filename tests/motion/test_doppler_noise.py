"""White and filtered noise of velocities told apart, whatever the drive and the rate."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import PLANE, received, recorded

from trackkit.motion.doppler_noise import doppler_levels
from trackkit.motion.noise import USUAL, Measured
from trackkit.motion.smooth import smooth

SIGMA_MPS = 0.05


def weaving(time):
    """Twenty metres a second round a circle, weaving all the way: positions and velocities."""
    turn, weave = 0.2 * time, 2.0 * np.pi * time / 4.0
    away, outward = 100.0 + 4.0 * np.sin(weave), 2.0 * np.pi * np.cos(weave)
    along = np.column_stack([np.cos(turn), np.sin(turn)])
    across = np.column_stack([-along[:, 1], along[:, 0]])
    return away[:, None] * along, outward[:, None] * along + 0.2 * away[:, None] * across


def filtered(count, kept, random):
    """A first-order Gauss-Markov process of unit variance, drawn step by step."""
    noise = random.standard_normal((count, 2))
    for k in range(1, count):
        noise[k] = kept * noise[k - 1] + np.sqrt(1.0 - kept**2) * noise[k]
    return noise


def measured(rate_hz, noise, seconds=300.0):
    time = np.arange(0.0, seconds, 1.0 / rate_hz)
    position, velocity = weaving(time)
    velocity = velocity + SIGMA_MPS * noise(len(time), np.random.default_rng(round(rate_hz)))
    return Measured(time, position, velocity, np.ones(len(time) - 1, bool), np.ones(len(time)))


def white(count, random):
    return random.standard_normal((count, 2))


@pytest.mark.parametrize("rate_hz", [5.0, 6.0, 8.0, 10.0])
def test_white_noise_of_a_winding_drive_is_not_taken_for_filtered(rate_hz):
    whole = measured(rate_hz, white)
    random = np.random.default_rng(3)
    position = whole.position_m + 0.15 * random.standard_normal(whole.position_m.shape)

    levels = smooth(recorded(whole.time_s, position, whole.velocity_mps), PLANE).levels

    assert levels.slow_doppler_mps == 0.0
    assert levels.doppler_mps == pytest.approx(SIGMA_MPS, rel=0.2)


@pytest.mark.parametrize("rate_hz", [4.0, 5.0, 6.0, 8.0, 10.0, 20.0, 25.0])
def test_noise_is_read_as_what_it_is_at_any_rate(rate_hz):
    plain = doppler_levels(measured(rate_hz, white))
    slow = doppler_levels(
        measured(rate_hz, lambda n, random: filtered(n, np.exp(-1.0 / rate_hz), random))
    )

    assert plain.slow_doppler_mps == 0.0
    assert plain.doppler_mps == pytest.approx(SIGMA_MPS, rel=0.15)
    assert slow.slow_doppler_mps == SIGMA_MPS
    assert slow.doppler_mps < 0.3 * SIGMA_MPS
    assert 0.7 < slow.slow_doppler_time_s < 1.5


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 25.0])
def test_speeds_without_courses_err_as_much_as_velocities_do(rate_hz):
    time = np.arange(0.0, 200.0, 1.0 / rate_hz)
    recording = replace(received(time, 3), course_deg=None)

    levels = smooth(recording, PLANE).levels

    assert levels.slow_doppler_mps == 0.0
    assert levels.doppler_mps == pytest.approx(SIGMA_MPS, rel=0.15)


def test_rows_written_faster_than_the_receiver_measures_say_nothing_new():
    once = measured(10.0, white)
    time = 0.05 * np.arange(2 * len(once.time_s))
    twice = Measured(
        time,
        np.repeat(once.position_m, 2, axis=0),
        np.repeat(once.velocity_mps, 2, axis=0),
        np.ones(len(time) - 1, bool),
        np.ones(len(time)),
    )

    assert doppler_levels(twice).doppler_mps == pytest.approx(
        doppler_levels(once).doppler_mps, rel=0.02
    )


def test_noise_is_read_from_where_fixes_come_evenly_and_the_vehicle_moves():
    whole = measured(10.0, white)
    stands = (whole.time_s > 100.0) & (whole.time_s < 200.0)
    velocity = np.where(stands[:, None], 0.001, whole.velocity_mps)
    kept = np.ones(len(whole.time_s), bool)
    kept[400:600:7] = False
    part = Measured(
        whole.time_s[kept],
        whole.position_m[kept],
        velocity[kept],
        np.ones(int(kept.sum()) - 1, bool),
        np.ones(int(kept.sum())),
    )

    assert doppler_levels(part).doppler_mps == pytest.approx(SIGMA_MPS, rel=0.15)
    unmoved = replace(whole, velocity_mps=np.full_like(velocity, 0.5))
    assert doppler_levels(unmoved) == USUAL
