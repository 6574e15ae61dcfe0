"""Gauss-Markov processes: formulas against integrals and matrices, paths against theory."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from trackkit.motion.gauss_markov import (
    covariance,
    covariance_of_means,
    covariance_of_neighbouring_means,
    sample_path,
    transition,
    variance_of_best_mean,
    variance_of_mean,
)

CONSTANT_S = 120.0


def mean_product(first, second, constant_s):
    """Covariance of the means over two intervals: the covariance of values, integrated."""

    def value(a, b):
        return np.exp(-abs(a - b) / constant_s)

    (begin, end), (start, stop) = first, second
    # The kernel has a kink where both instants are the same: each side of it by itself.
    if first == second:
        whole = 2.0 * dblquad(value, begin, end, lambda _: begin, lambda b: b)[0]
    else:
        whole = dblquad(value, start, stop, begin, end)[0]
    return whole / ((end - begin) * (stop - start))


@given(step=st.floats(1e-6, 1e4), more=st.floats(1e-6, 1e4), constant=st.floats(0.1, 1e3))
def test_two_steps_are_one_and_the_variance_stays_whole(step, more, constant):
    (kept, fresh), (kept_on, fresh_on) = transition(step, constant), transition(more, constant)
    both, fresh_in_all = transition(step + more, constant)

    assert kept**2 + fresh == pytest.approx(1.0, rel=1e-12)
    assert kept * kept_on == pytest.approx(both, rel=1e-9, abs=1e-300)
    assert kept_on**2 * fresh + fresh_on == pytest.approx(fresh_in_all, rel=1e-9)
    assert covariance(-step, constant) == covariance(step, constant) == kept


def test_short_steps_lose_no_digits():
    # 1 - exp(-2 h / tau) is 2 h / tau - 2 (h / tau)^2 + ...
    _, fresh = transition([1e-9, 1e-6], CONSTANT_S)
    ratio = np.array([1e-9, 1e-6]) / CONSTANT_S
    np.testing.assert_allclose(fresh, 2.0 * ratio - 2.0 * ratio**2, rtol=1e-14)


@pytest.mark.parametrize("duration", [1.0, 60.0, 120.0, 900.0])
def test_variances_of_means_are_the_integrals_of_the_covariance(duration):
    here, next_to_it = (0.0, duration), (duration, 2.0 * duration)

    own = mean_product(here, here, CONSTANT_S)
    assert float(variance_of_mean(duration, CONSTANT_S)) == pytest.approx(own, rel=1e-7)
    shared = mean_product(here, next_to_it, CONSTANT_S)
    assert float(covariance_of_neighbouring_means(duration, CONSTANT_S)) == pytest.approx(
        shared, rel=1e-7
    )


def test_the_variance_of_a_mean_has_its_known_limits():
    assert variance_of_mean(0.001, 120.0) == pytest.approx(1.0, abs=1e-3)
    assert variance_of_mean(120_000.0, 120.0) == pytest.approx(2 * 120.0 / 120_000.0, rel=0.01)
    # A single value, and white noise.
    np.testing.assert_array_equal(variance_of_mean([0.0, 1e-9], 120.0), [1.0, 1.0])
    np.testing.assert_array_equal(variance_of_mean([0.0, 10.0], 0.0), [1.0, 0.0])


def test_the_variance_of_a_mean_has_no_step_where_it_becomes_a_single_value():
    durations = np.geomspace(1e-8, 1e-2, 400) * CONSTANT_S
    # Of a short duration D it is 1 - D / (3 tau) + ...
    expected = 1.0 - durations / (3.0 * CONSTANT_S)
    np.testing.assert_allclose(variance_of_mean(durations, CONSTANT_S), expected, atol=1e-5)


def test_covariances_of_means_over_laps_are_near_the_integrals():
    laps = [(0.0, 55.0), (55.0, 112.0), (300.0, 420.0)]
    exact = [[mean_product(a, b, CONSTANT_S) for b in laps] for a in laps]

    found = covariance_of_means(laps, CONSTANT_S)

    assert found.shape == (3, 3)
    np.testing.assert_allclose(found, found.T, rtol=1e-12)
    # Nine instants stand for all of them.
    np.testing.assert_allclose(found, exact, rtol=0.03)
    far = covariance_of_means([(0.0, 600.0)], CONSTANT_S)[0, 0]
    assert 0.95 < far / variance_of_mean(600.0, CONSTANT_S) < 1.0


@pytest.mark.parametrize("duration", [0.0, 30.0, 600.0])
def test_the_best_mean_is_the_generalised_least_squares_one(duration):
    # Of many values with covariance matrix C the best mean has the variance 1 / (1' C^-1 1).
    time = np.linspace(0.0, duration, 400 if duration else 1)
    matrix = covariance(time[:, None] - time, CONSTANT_S)
    least = 1.0 / np.linalg.solve(matrix, np.ones(len(time))).sum()

    assert variance_of_best_mean(duration, CONSTANT_S) == pytest.approx(least, rel=1e-3)


def test_a_path_has_the_variance_and_correlation_of_a_gauss_markov_process():
    # Theory: R(lag) = sigma² exp(-|lag| / time constant) (Brown & Hwang, from memory).
    sigma, constant = 2.0, 5.0
    time = np.arange(400_000) * 0.5
    value = sigma * sample_path(time, constant, np.random.default_rng(1))
    assert value.shape == (len(time), 2)
    for column in value.T:
        for lag in (0, 4, 10, 20):
            products = column[: len(column) - lag] * column[lag:]
            expected = sigma**2 * np.exp(-lag * 0.5 / constant)
            # About duration / time constant = 40,000 independent values; four standard errors.
            assert abs(products.mean() - expected) < 4 * np.sqrt(2 / 40_000) * sigma**2
    both = np.mean(value[:, 0] * value[:, 1])
    assert abs(both) < 4 * sigma**2 / np.sqrt(40_000)


def test_a_path_is_stationary_from_its_first_value_and_over_gaps():
    # 4,000 short processes with a gap: the variance at each fix, and the correlation over the gap.
    time = np.array([0.0, 1.0, 31.0])
    generator = np.random.default_rng(2)
    drawn = np.concatenate([sample_path(time, 20.0, generator) for _ in range(2_000)], axis=1)
    error = 4 * np.sqrt(2 / drawn.shape[1])
    assert drawn.var(axis=1) == pytest.approx(np.ones(3), abs=error)
    kept = np.mean(drawn[1] * drawn[2])
    assert kept == pytest.approx(np.exp(-30.0 / 20.0), abs=error)
