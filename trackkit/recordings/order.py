"""The longest part of a sequence that is in order."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np

from trackkit.arrays import Floats, Indices


def longest_rising(value: Floats) -> Indices:
    """Pick the longest strictly increasing subsequence (patience sorting, Fredman 1975).

    Parameters
    ----------
    value
        Numbers, shape (n,), without NaN.

    Returns
    -------
    Indices of one longest subsequence, increasing.
    """
    tops: list[float] = []
    top_index: list[int] = []
    before = np.full(len(value), -1, dtype=np.intp)
    for i, number in enumerate(value.tolist()):
        pile = bisect_left(tops, number)
        if pile == len(tops):
            tops.append(number)
            top_index.append(i)
        else:
            tops[pile] = number
            top_index[pile] = i
        before[i] = top_index[pile - 1] if pile else -1
    chain = np.empty(len(tops), dtype=np.intp)
    at = top_index[-1] if top_index else -1
    for i in range(len(tops) - 1, -1, -1):
        chain[i] = at
        at = int(before[at])
    return chain
