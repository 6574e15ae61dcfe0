"""Correlation of errors along a line that are smooth, as what hands draw and drivers drive is."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats


def smooth_correlation(
    apart_m: Floats, over_m: float, square: float, *, round_m: float, rounds: int
) -> Floats:
    """Correlate places by Matern's function (1 + x + square x^2) exp(-x), x lengths apart.

    Of order 3/2 with a square of 0, of order 5/2 with 1/3 (Rasmussen & Williams 2006, section 4.2;
    from memory).  Round a lap it comes from either side, any number of times: the shorter way
    alone would make no covariance.

    Parameters
    ----------
    apart_m
        How far places are apart, metres, any shape.
    over_m
        The length.
    square
        See above.
    round_m, rounds
        Length of a lap, and how many times round it is followed; 0 on an open course.

    Returns
    -------
    ndarray
        Shaped like `apart_m`.
    """

    def alike(way_m: Floats | float) -> Floats:
        share = np.abs(way_m) / over_m
        return np.asarray((1.0 + share + square * share**2) * np.exp(-share))

    turns = [turn * round_m for turn in range(-rounds, rounds + 1)]
    total = np.sum([alike(apart_m + turn) for turn in turns], axis=0)
    return np.asarray(total / np.sum([alike(turn) for turn in turns]))
