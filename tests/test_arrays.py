"""The robust spread, against SciPy's median absolute deviation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy.stats import median_abs_deviation

from trackkit.arrays import robust_spread

VALUES = arrays(float, array_shapes(max_dims=2, max_side=9), elements=st.floats(-1e6, 1e6))


@pytest.mark.slow
@pytest.mark.parametrize("axis", [None, 0])
@given(values=VALUES)
def test_the_robust_spread_is_scipys(values, axis):
    # 1.4826 is SciPy's factor to five digits.
    np.testing.assert_allclose(
        robust_spread(values, axis=axis),
        median_abs_deviation(values, axis=axis, scale="normal"),
        rtol=1e-5,
        atol=1e-9,
    )


def test_of_normal_values_it_is_their_standard_deviation_whatever_a_few_do():
    values = np.random.default_rng(3).normal(5.0, 2.0, 100_000)
    values[:1000] = 1e6

    # One standard error is 2.0 * 1.17 / sqrt(100,000); 1 % of strays raise it by about 1 %.
    assert float(robust_spread(values)) == pytest.approx(2.0, rel=0.03)


def test_it_leaves_out_what_is_not_there_and_takes_a_centre_by_sample():
    values = np.array([[1.0, 10.0], [2.0, np.nan], [3.0, 14.0]])

    spread = robust_spread(values, about=np.array([0.0, 11.0]), axis=0)

    np.testing.assert_allclose(spread, 1.4826 * np.array([2.0, 2.0]))
