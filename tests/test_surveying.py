"""Averaged fixes: the accuracy is that of correlated noise, checked against simulated wander."""

import numpy as np
import pytest

from trackkit.errors import RecordingError
from trackkit.geodesy import LocalPlane
from trackkit.recording import Recording
from trackkit.simulate import gauss_markov
from trackkit.surveying import average, mean_variance

PLANE = LocalPlane(11.0, 47.0)


def standing(seconds, seed, rate_hz=1.0, drift=0.0):
    random = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, 1.0 / rate_hz)
    noise = gauss_markov(time, 1.0, 120.0, random) + 0.15 * random.standard_normal((len(time), 2))
    noise[:, 0] += drift * time
    longitude, latitude = PLANE.to_geographic(noise)
    return Recording("stand", time, longitude, latitude)


def error_of(survey):
    return PLANE.to_plane(*survey.position)


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


def test_the_variance_of_a_mean_has_its_known_limits():
    assert mean_variance(0.001, 120.0) == pytest.approx(1.0, abs=1e-3)
    assert mean_variance(120_000.0, 120.0) == pytest.approx(2 * 120.0 / 120_000.0, rel=0.01)


def test_a_recording_that_moves_or_is_short_is_refused():
    with pytest.raises(RecordingError, match="standing still"):
        average(standing(300.0, 1, drift=0.5))
    with pytest.raises(RecordingError, match="too few"):
        average(standing(5.0, 1))
