"""The official line found from times taken at it, ahead of the finish gate."""

from dataclasses import replace

import numpy as np
import official_session
import pytest
from official_session import AHEAD_M, Session
from scipy.stats import multivariate_normal

from trackkit.errors import TrackkitError
from trackkit.official.align import Observed, _Fit, align_line
from trackkit.official.passings import Passings


@pytest.fixture(scope="module")
def usual():
    return official_session.usual()


@pytest.fixture(scope="module")
def quiet():
    return Session(noise=0.02)


def first(observed, count):
    return observed.part(np.arange(len(observed.value_s)) < count)


def test_without_noise_lap_times_alone_find_the_line(quiet):
    aligned = align_line([quiet.by_laps])

    assert aligned.ahead_m == pytest.approx(AHEAD_M, abs=0.7)
    assert aligned.conclusive


def test_lap_times_alone_find_the_line_within_what_they_say(usual):
    aligned = align_line([usual.by_laps])

    assert abs(aligned.ahead_m - AHEAD_M) < 4 * aligned.sigma_m
    assert 0.3 < aligned.sigma_m < 3.0


def test_passing_times_on_the_receivers_clock_tell_far_more(usual):
    aligned = align_line([usual.by_day], clock_within_s=0.0)

    assert aligned.ahead_m == pytest.approx(AHEAD_M, abs=1.5)
    assert aligned.sigma_m < 0.6 * align_line([usual.by_laps]).sigma_m


def test_a_clock_of_unknown_offset_tells_as_much_as_the_lap_times(usual):
    """Not rounded, laps that follow one another and the moments between them say the same."""
    late = replace(usual.by_day, value_s=usual.moment + 41.3)
    value = usual.moment[usual.by_laps.end] - usual.moment[usual.by_laps.begin]
    aligned, by_laps = align_line([late]), align_line([replace(usual.by_laps, value_s=value)])

    assert aligned.ahead_m == pytest.approx(by_laps.ahead_m, abs=0.2 * by_laps.sigma_m)
    assert aligned.sigma_m == pytest.approx(by_laps.sigma_m, rel=0.1)
    assert aligned.clock_s[0] == pytest.approx(41.3, abs=0.2)


def test_a_clock_that_agrees_roughly_lies_between(usual):
    sigma = [
        align_line([usual.by_day], clock_within_s=within).sigma_m for within in (0.0, 0.03, None)
    ]

    assert sigma[0] < sigma[1] < sigma[2]


@pytest.mark.slow
def test_two_recordings_tell_more_than_one(usual):
    other = Session(noise=1.0, seed=301)
    one, two = align_line([usual.by_laps]), align_line([usual.by_laps, other.by_laps])

    assert two.sigma_m == pytest.approx(one.sigma_m / np.sqrt(2), rel=0.35)
    assert abs(two.ahead_m - AHEAD_M) < 4 * two.sigma_m


def test_an_antenna_ahead_of_the_transponder_shifts_the_line_back(quiet):
    """The antenna is past the line by its offset when the transponder reaches it."""
    beside = align_line([quiet.by_day], clock_within_s=0.0)
    ahead = align_line([quiet.by_day], clock_within_s=0.0, antenna_ahead_m=1.2)

    assert ahead.ahead_m == pytest.approx(beside.ahead_m - 1.2)


def test_a_wrong_official_time_is_left_out(usual):
    value = usual.by_laps.value_s.copy()
    value[7] += 0.2
    aligned, clean = (
        align_line([replace(usual.by_laps, value_s=value)]),
        align_line([usual.by_laps]),
    )

    assert aligned.left_out == 1
    assert aligned.ahead_m == pytest.approx(clean.ahead_m, abs=0.5 * clean.sigma_m)


ERRORS = np.array([0.9, -1.1, 0.4, -0.8, 1.3, 0.2, -0.5, 1.0, -1.2, 0.6])


def fit_of(*errors, covariance=None):
    """A fit that leaves some errors, one recording each, of unit noise if nothing else is said."""
    spread = [
        np.eye(len(left)) if covariance is None else np.linalg.cholesky(covariance)
        for left in errors
    ]
    squares = sum(
        float(np.sum(np.linalg.solve(factor, left) ** 2))
        for left, factor in zip(errors, spread, strict=True)
    )
    rows = sum(map(len, errors))
    return _Fit(np.empty(0), squares, 0.0, rows, list(errors), spread)


def with_stray(index, size):
    errors = ERRORS.copy()
    errors[index] = size
    return errors


@pytest.mark.parametrize("one_first", [True, False])
def test_of_several_recordings_the_time_that_is_farthest_off_strays(one_first):
    near, far = with_stray(2, 9.0), with_stray(7, -14.0)
    recordings = (near, far) if one_first else (far, near)
    worst = fit_of(*recordings, np.empty(0)).worst(100.0)
    assert worst == ((1 if one_first else 0), 7)


def test_where_no_time_is_five_sigmas_off_none_strays():
    assert fit_of(ERRORS, with_stray(3, 4.9)).worst(1e9) is None
    assert fit_of(ERRORS, with_stray(3, 5.1)).worst(1e9) == (1, 3)


@pytest.mark.parametrize(("stray_s", "answer"), [(19.0, None), (23.0, (0, 3))])
def test_where_all_times_are_coarser_a_stray_must_be_farther_off(stray_s, answer):
    # The median of their sizes, 2.85, is that of a normal of sigma 2.85 x 1.4826 = 4.2
    # (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.6; from memory); five are 21.
    errors = 3.0 * ERRORS
    errors[3] = stray_s
    assert fit_of(errors).worst(1.0) == answer


def test_how_far_a_time_strays_is_counted_from_what_its_neighbours_predict():
    # Errors that hang together closely: one alone is 1.5 off, where 0.14 would be a sigma.
    covariance = np.full((10, 10), 25.0) + 0.02 * np.eye(10)
    together = np.full(10, 6.0)
    together[4] += 1.5
    assert fit_of(together, covariance=covariance).worst(1e9) == (0, 4)
    # By itself, as far as all others lie, none is off.
    assert fit_of(np.full(10, 6.0), covariance=covariance).worst(1e9) is None


def test_times_that_bury_what_differs_between_laps_cannot_tell(usual):
    rough = replace(
        usual.by_laps,
        value_s=np.round(2 * usual.by_laps.value_s) / 2,
        rounding_s=np.full(len(usual.by_laps.value_s), 0.5),
    )
    aligned = align_line([first(rough, 6)])

    assert not aligned.conclusive
    assert aligned.times_needed > 6


def test_too_few_times_are_refused(usual):
    with pytest.raises(TrackkitError, match="too few"):
        align_line([first(usual.by_laps, 3)])


@pytest.mark.parametrize(("count", "sigma"), [(24, 0.5), (200, 0.05)])
def test_at_constant_speeds_the_answer_is_that_of_least_squares(count, sigma):
    """By hand: moments on a known clock, errors independent: mean and root of n, Student's t."""
    speed = 20.0
    place = np.linspace(-100.0, 100.0, 401)
    lap = 50.0 * np.arange(count)
    line = Passings(
        place,
        lap[:, None] + place / speed,
        np.full((count, 401), 1 / speed),
        tuple(range(count)),
        np.array([1.0, 0.0]),
    )
    away = sigma * np.random.default_rng(5).standard_normal(count)
    observed = Observed(
        (line,),
        sigma**2 * np.eye(count),
        np.full(count, -1),
        np.arange(count),
        lap + (7.0 + away) / speed,
        np.zeros(count),
    )
    aligned = align_line([observed], clock_within_s=0.0)
    size = (10.0 + ((away - away.mean()) ** 2).sum() / sigma**2) / (10.0 + count - 3)

    assert aligned.ahead_m == pytest.approx(7.0 + away.mean(), abs=0.01)
    assert aligned.sigma_m == pytest.approx(sigma * np.sqrt(size / count), rel=0.02)


def test_laps_share_the_passing_between_them():
    """Against scipy's normal density of all lap times together, at two places of the line."""
    random = np.random.default_rng(6)
    count, sigma = 9, 0.4
    pace = 1.0 / random.uniform(18.0, 22.0, count)
    place = np.linspace(-100.0, 100.0, 401)
    lap = 50.0 * np.arange(count)
    line = Passings(
        place,
        lap[:, None] + pace[:, None] * place,
        np.repeat(pace[:, None], 401, axis=1),
        tuple(range(count)),
        np.array([1.0, 0.0]),
    )
    apart = np.arange(count)
    spread = sigma**2 * (np.eye(count) + np.exp(-np.abs(apart[:, None] - apart) / 3.0))
    value = 50.0 + 5.0 * np.diff(pace) + 0.01 * random.standard_normal(count - 1)
    observed = Observed((line,), spread, apart[:-1], apart[1:], value, np.zeros(count - 1))
    aligned = align_line([observed])

    differ = np.eye(count)[1:] - np.eye(count)[:-1]
    covariance = differ @ (pace[:, None] * spread * pace) @ differ.T
    normal = multivariate_normal(np.zeros(count - 1), covariance)
    at = np.linspace(-66.0, 66.0, 2000)
    square = np.array(
        [
            -2
            * (normal.logpdf(value - 50.0 - y * np.diff(pace)) - normal.logpdf(np.zeros(count - 1)))
            for y in at
        ]
    )
    density = (10.0 + square) ** (-0.5 * (10 + count - 1))
    assert aligned.ahead_m == pytest.approx(at @ density / density.sum(), abs=0.1)
