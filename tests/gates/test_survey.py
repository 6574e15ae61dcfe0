"""Averaged fixes: the accuracy is that of correlated noise, checked against simulated wander."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, t

from trackkit.errors import RecordingError
from trackkit.gates.survey import (
    _allan_variance,
    _block_means,
    _student,
    average,
    survey_place,
)
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.gauss_markov import sample_path
from trackkit.motion.noise import USUAL
from trackkit.recordings.recording import Recording

PLANE = LocalPlane(161.0, 47.0)


def standing(seconds, seed, rate_hz=1.0, drift=0.0, wander=(1.0, 120.0), white=0.15):
    random = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, 1.0 / rate_hz)
    wander_m, wander_time_s = wander
    noise = wander_m * sample_path(time, wander_time_s, random)
    noise += white * random.standard_normal((len(time), 2))
    noise[:, 0] += drift * time
    longitude, latitude = PLANE.to_geographic(noise)
    return Recording("stand", time, longitude, latitude)


def error_of(survey):
    return PLANE.to_plane(*survey.position)


def covered(surveys):
    error = np.array([error_of(s) for s in surveys])
    return float(np.mean(np.abs(error) < 1.96 * np.array([[s.sigma_m] for s in surveys])))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seconds", "wander", "white"),
    [
        (1800.0, (0.5, 20.0), 0.15),
        (3600.0, (0.3, 60.0), 0.05),
        (3600.0, (1.0, 120.0), 0.15),
        (1800.0, (0.0, 120.0), 0.2),
        (300.0, (1.0, 120.0), 0.15),
    ],
    ids=["quick wander", "small wander", "usual wander", "white noise alone", "too short to tell"],
)
def test_an_interval_of_two_sigma_holds_the_truth_as_often_as_it_should(seconds, wander, white):
    surveys = [average(standing(seconds, seed, wander=wander, white=white)) for seed in range(120)]

    # 240 axes, 95 %: 1.4 % one sigma; the error is allowed to be a little overstated.
    assert 0.905 < covered(surveys) < 0.995
    reached = np.sqrt(np.mean([error_of(s) ** 2 for s in surveys]))
    assert np.median([s.sigma_m for s in surveys]) < 1.5 * reached


def test_a_long_recording_tells_its_own_wander():
    survey = average(standing(3600.0, 2, wander=(0.4, 30.0)))

    assert survey.wander_from_recording
    assert survey.wander_m == pytest.approx(0.4, rel=0.4)
    assert survey.wander_time_s == pytest.approx(30.0, rel=0.7)
    assert "as the recording itself shows" in survey.basis


def test_white_noise_alone_is_no_wander():
    survey = average(standing(1800.0, 2, wander=(0.0, 120.0)))

    assert survey.wander_m < 0.05
    assert survey.sigma_m < 0.03


def test_a_short_recording_says_what_it_assumes():
    survey = average(standing(300.0, 2, wander=(0.05, 20.0)))

    assert not survey.wander_from_recording
    assert "1.00 m over 120 s assumed, as 299 s are too few to tell" in survey.basis
    assert survey.sigma_m > 0.5


def test_averaging_longer_helps_only_as_the_wander_allows():
    """Ten times as long is not better by the root of ten before some time constants have passed."""
    short, long = (average(standing(seconds, 2)).sigma_m for seconds in (20.0, 200.0))

    assert long > short / 1.6


@pytest.mark.slow
@pytest.mark.parametrize("seconds", [60.0, 300.0, 1200.0])
def test_the_accuracy_said_is_the_accuracy_reached(seconds):
    surveys = [average(standing(seconds, seed)) for seed in range(150)]
    reached = np.sqrt(np.mean([error_of(s) ** 2 for s in surveys]))
    said = np.sqrt(np.mean([s.sigma_m**2 for s in surveys]))

    # 300 independent axes: 4 % one sigma.
    assert said == pytest.approx(reached, rel=0.2)


def test_ten_times_as_many_fixes_a_second_are_no_better():
    assert average(standing(120.0, 3, rate_hz=10.0)).sigma_m == pytest.approx(
        average(standing(120.0, 3)).sigma_m, rel=0.15
    )


def test_the_naive_accuracy_is_far_too_small():
    survey = average(standing(600.0, 3, rate_hz=10.0))

    assert survey.naive_m < 0.1 * survey.sigma_m


def test_a_recording_that_moves_or_is_short_is_refused():
    with pytest.raises(RecordingError, match="standing still"):
        average(standing(300.0, 1, drift=0.5))
    with pytest.raises(RecordingError, match="too few"):
        average(standing(5.0, 1))


def test_fixes_of_which_few_lie_together_are_refused():
    place = np.stack([0.7 * np.arange(11.0), np.zeros(11)], axis=1)
    longitude, latitude = PLANE.to_geographic(place)
    with pytest.raises(RecordingError, match="of 11 fixes 1 lie together, too few"):
        average(Recording("rolling", np.arange(11.0), longitude, latitude))


# The parts of it, against their definitions


def test_blocks_are_averaged_each_by_itself_and_empty_ones_are_nothing():
    time = np.array([0.0, 1.0, 2.0, 3.0, 8.0, 9.0])
    position = np.column_stack([time, 2.0 * time])

    means = _block_means(position, time, 2.0)

    # From 0 to 2 s, to 4 s, to 6 s (none), to 8 s (none), to 10 s.
    assert means[:, 0] == pytest.approx([0.5, 2.5, np.nan, np.nan, 8.5], nan_ok=True)
    assert means[:, 1] == pytest.approx(2.0 * means[:, 0], nan_ok=True)


def test_the_allan_variance_is_half_the_mean_square_of_differences_of_neighbours():
    # IEEE Std 1139, by hand: means of 0, 1, 0, 1 (and a last block that is not whole).
    time = np.arange(42.0)
    level = (time // 10) % 2
    level[40:] = 9.0
    position = np.column_stack([level, 3.0 * level])

    # Differences of 1 on one axis and of 3 on the other; the last block counts for nothing.
    assert _allan_variance(position, time, 10.0) == pytest.approx(0.5 * (1.0 + 9.0) / 2)


def test_the_allan_variance_of_white_noise_falls_with_the_time_of_averaging():
    random = np.random.default_rng(1)
    time = np.arange(40_000.0)
    position = 0.5 * random.standard_normal((40_000, 2))

    for span_s in (1.0, 4.0, 25.0):
        assert _allan_variance(position, time, span_s) == pytest.approx(0.25 / span_s, rel=0.1)


def test_few_values_widen_an_interval_by_students_t():
    for freedom in (4, 16, 60):
        assert _student(freedom) == pytest.approx(t.ppf(0.975, freedom) / norm.ppf(0.975), rel=1e-4)


def test_strays_are_left_out_and_counted():
    whole = standing(300.0, 4)
    away = whole.longitude_deg.copy()
    away[[20, 200]] += 0.001

    survey = average(replace(whole, longitude_deg=away))

    clean = average(whole)
    assert (survey.left_out, survey.fixes) == (2 + clean.left_out, clean.fixes - 2)
    assert survey.position == pytest.approx(clean.position, abs=1e-6)


def test_a_short_recording_that_wanders_more_than_usual_is_taken_to_wander_so_much():
    calm, wild = (average(standing(300.0, 5, wander=(sigma, 30.0))) for sigma in (0.3, 4.0))

    assert calm.wander_m == USUAL.wander_m
    assert 2.0 < wild.wander_m < 6.0
    assert not wild.wander_from_recording
    assert f"a wander of {wild.wander_m:.2f} m over 120 s assumed" in wild.basis


def test_the_place_of_two_recordings_says_how_well_each_end_is_known():
    place = survey_place(standing(120.0, 6), standing(200.0, 7))

    left, right = average(standing(120.0, 6)), average(standing(200.0, 7))
    assert place.ends == (left.position, right.position)
    for text, side, end in zip(place.remarks, ("left", "right"), (left, right), strict=True):
        assert text.startswith(f"the {side} end is the mean of {end.fixes} fixes")
        assert f"uncertain by {end.sigma_m:.2f} m" in text
