"""Products of sums along a chain are those of the whole matrix of its links."""

from __future__ import annotations

import numpy as np
import pytest

from trackkit.motion.chained_sums import chained_sums, steps_between
from trackkit.motion.strides import Strides


@pytest.mark.parametrize(("loads", "columns"), [(0, 1), (1, 1), (48, 2), (131, 1), (160, 2)])
def test_terms_are_those_of_a_gaussian_chain(loads: int, columns: int) -> None:
    """A first-order chain x' = A x + noise has cov(x_i, x_j) = A ... A cov(x_j), by hand."""
    rng = np.random.default_rng(loads)
    states, links, count = 3, 24, max(1, loads // 2)
    onward = rng.normal(0.0, 0.5, (links - 1, states, states))
    noise = rng.normal(0.0, 1.0, (links, states, states))
    covariance = noise @ noise.transpose(0, 2, 1)
    for link in range(1, links):
        covariance[link] += onward[link - 1] @ covariance[link - 1] @ onward[link - 1].T
    whole = np.zeros((links, states, links, states))
    for early in range(links):
        way = np.eye(states)
        for late in range(early, links):
            if late > early:
                way = onward[late - 1] @ way
            whole[late, :, early] = way @ covariance[early]
            whole[early, :, late] = whole[late, :, early].T
    place = np.sort(rng.integers(0, links, loads))
    term = rng.integers(0, count, loads)
    weight = rng.normal(0.0, 1.0, (loads, columns, states))
    carried = np.einsum("lst,lct->lcs", covariance[place], weight)

    found = chained_sums(term, count, weight, carried, steps_between(place, Strides(onward)))
    wanted = np.zeros((count, count))
    for column in range(columns):
        load = np.zeros((count, links, states))
        np.add.at(load, (term, place), weight[:, column])
        flat = load.reshape(count, -1)
        wanted += flat @ whole.reshape(links * states, -1) @ flat.T
    assert found == pytest.approx(wanted, rel=1e-9, abs=1e-9 * max(1.0, np.abs(wanted).max()))
