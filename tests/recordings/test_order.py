"""The longest part in order, against trying everything."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trackkit.recordings.order import longest_rising


@given(st.lists(st.integers(0, 6), max_size=9, unique=True))
def test_the_longest_rising_subsequence_is_as_long_as_an_exhaustive_search_finds(values):
    index = longest_rising(np.array(values, dtype=float))
    best = max(
        (
            n
            for n in range(len(values) + 1)
            for c in combinations(values, n)
            if list(c) == sorted(c)
        ),
        default=0,
    )
    assert len(index) == best
    assert np.all(np.diff(np.array(values)[index]) > 0)
