"""Vectors and broken lines on a plane, metres."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats


def left_of(vector: ArrayLike) -> Floats:
    """Turn plane vectors, shape (..., 2), by a right angle to the left."""
    vectors = np.asarray(vector, dtype=float)
    return np.stack([-vectors[..., 1], vectors[..., 0]], axis=-1)


def gate_axes(left_m: Floats, right_m: Floats) -> tuple[Floats, Floats, float]:
    """Directions of a gate, and its width.

    Parameters
    ----------
    left_m, right_m
        Its ends, shape (2,), metres on a plane.

    Returns
    -------
    across, forward, width_m
        Unit vectors from its left end to its right end, and in the direction it is crossed,
        shape (2,); the distance between the ends.
    """
    span = right_m - left_m
    width = float(np.hypot(span[0], span[1]))
    return span / width, left_of(span / width), width


def distance_along(vertex_m: ArrayLike) -> Floats:
    """Distance along a broken line from its first vertex to each, metres.

    Parameters
    ----------
    vertex_m
        Shape (n, 2), n at least 1.

    Returns
    -------
    ndarray
        Shape (n,), from 0.
    """
    step = np.diff(np.asarray(vertex_m, dtype=float), axis=0)
    return np.concatenate([[0.0], np.cumsum(np.hypot(step[:, 0], step[:, 1]))])
