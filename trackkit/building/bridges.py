"""Curves between fixes that are far apart in time."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats

LONGEST_BEND_S = 8.0
"""What a fix tells of the course lasts about so long: of a longer way to the next one the middle is
straight, and bends are near its ends.  A cubic would bulge over all of it."""


def tangent_share(lasting_s: Floats) -> Floats:
    """Tell how much of the cubic's tangents counts between two fixes.

    Shortened tangents draw a curve towards its chord, as tension does a spline (Schweikert 1966,
    from memory).

    Parameters
    ----------
    lasting_s
        Time from one to the next, seconds, any shape.
    """
    return np.asarray(np.minimum(1.0, LONGEST_BEND_S / np.maximum(lasting_s, 1e-9)))


def bridged(
    begin_m: Floats, end_m: Floats, ahead_m: Floats, ended_m: Floats, share: Floats
) -> tuple[Floats, Floats]:
    """Read cubics between pairs of places.

    Parameters
    ----------
    begin_m, end_m
        The places, shape (..., 2).
    ahead_m, ended_m
        Tangents there: velocity times the time between them, shape (..., 2).
    share
        Shares of that time at which to read, shape (...).

    Returns
    -------
    position_m, tangent_m
        Shape (..., 2).
    """
    u = np.asarray(share)[..., None]
    step = end_m - begin_m
    square, cube = 3 * step - 2 * ahead_m - ended_m, ahead_m + ended_m - 2 * step
    position = begin_m + u * (ahead_m + u * (square + u * cube))
    return position, ahead_m + u * (2 * square + 3 * u * cube)
