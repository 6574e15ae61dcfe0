"""A receiver's wander is the Gauss-Markov process that it is said to be."""

import numpy as np
import pytest

from trackkit.simulation.simulate import gauss_markov


def test_the_wander_has_the_variance_and_correlation_of_a_gauss_markov_process():
    # Theory: R(lag) = sigma² exp(-|lag| / time constant) (Brown & Hwang, from memory).
    sigma, constant = 2.0, 5.0
    time = np.arange(400_000) * 0.5
    value = gauss_markov(time, sigma, constant, np.random.default_rng(1))
    assert value.shape == (len(time), 2)
    for column in value.T:
        for lag in (0, 4, 10, 20):
            products = column[: len(column) - lag] * column[lag:]
            expected = sigma**2 * np.exp(-lag * 0.5 / constant)
            # About duration / time constant = 40,000 independent values; four standard errors.
            assert abs(products.mean() - expected) < 4 * np.sqrt(2 / 40_000) * sigma**2
    both = np.mean(value[:, 0] * value[:, 1])
    assert abs(both) < 4 * sigma**2 / np.sqrt(40_000)


def test_the_wander_is_stationary_from_the_first_fix_and_over_gaps():
    # 4,000 short processes with a gap: the variance at each fix, and the correlation over the gap.
    time = np.array([0.0, 1.0, 31.0])
    generator = np.random.default_rng(2)
    drawn = np.concatenate([gauss_markov(time, 1.0, 20.0, generator) for _ in range(2_000)], axis=1)
    error = 4 * np.sqrt(2 / drawn.shape[1])
    assert drawn.var(axis=1) == pytest.approx(np.ones(3), abs=error)
    kept = np.mean(drawn[1] * drawn[2])
    assert kept == pytest.approx(np.exp(-30.0 / 20.0), abs=error)
