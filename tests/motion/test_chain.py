"""Chains against dense matrices."""

import numpy as np
import pytest

from trackkit.motion.chain import Chain

STATES = 3


def dense(links, generator):
    """An information matrix whose links meet only their neighbours."""
    matrix = np.zeros((links * STATES, links * STATES))
    for link in range(links):
        own = slice(link * STATES, (link + 1) * STATES)
        root = generator.normal(size=(STATES, STATES + 2))
        matrix[own, own] += root @ root.T
        pair = slice(link * STATES, min(link + 2, links) * STATES)
        size = pair.stop - pair.start
        root = generator.normal(size=(size, 4))
        matrix[pair, pair] += root @ root.T
    return matrix


def chain_of(matrix):
    band = np.zeros((2 * STATES, len(matrix)))
    for below in range(min(2 * STATES, len(matrix))):
        band[below, : len(matrix) - below] = np.diagonal(matrix, -below)
    return Chain.of(band, STATES)


@pytest.fixture(params=[1, 2, 3, 4, 5, 8, 13, 30])
def case(request):
    generator = np.random.default_rng(request.param)
    matrix = dense(request.param, generator)
    return matrix, chain_of(matrix), generator


@pytest.mark.parametrize("columns", [1, 20])
def test_solutions_are_those_of_the_dense_matrix(case, columns):
    matrix, chain, generator = case
    right = generator.normal(size=(len(matrix), columns))

    np.testing.assert_allclose(chain.solved(right), np.linalg.solve(matrix, right), atol=1e-10)
    np.testing.assert_allclose(
        chain.squared(right), right.T @ np.linalg.solve(matrix, right), atol=1e-9
    )
    assert chain.log_determinant == pytest.approx(0.5 * np.linalg.slogdet(matrix)[1])


def test_covariances_are_blocks_of_the_inverse(case):
    matrix, chain, _ = case
    inverse = np.linalg.inv(matrix)

    for link in range(chain.links):
        own = slice(link * STATES, (link + 1) * STATES)
        np.testing.assert_allclose(chain.covariance[link], inverse[own, own], atol=1e-10)


def test_kept_links_are_known_as_in_the_inverse(case):
    matrix, chain, _ = case
    inverse = np.linalg.inv(matrix)
    chosen = np.arange(0, chain.links, 3)
    covariance, onward = chain.kept(chosen)

    for link, own in zip(chosen, covariance, strict=True):
        inside = slice(link * STATES, (link + 1) * STATES)
        np.testing.assert_allclose(own, inverse[inside, inside], atol=1e-10)
    ends = zip(onward, covariance[1:], chosen[:-1], chosen[1:], strict=True)
    for step, own, begin, end in ends:
        shared = inverse[begin * STATES : (begin + 1) * STATES, end * STATES : (end + 1) * STATES]
        np.testing.assert_allclose(step @ own, shared, atol=1e-10)


def test_the_variance_of_a_sum_is_that_of_the_inverse(case):
    matrix, chain, generator = case
    index = generator.integers(0, chain.links, 5)
    weight = generator.normal(size=(5, STATES))
    load = np.zeros((chain.links, STATES))
    np.add.at(load, index, weight)

    expected = load.ravel() @ np.linalg.solve(matrix, load.ravel())

    assert chain.variance(index, weight) == pytest.approx(expected, rel=1e-9)
