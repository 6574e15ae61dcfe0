"""The most probable motion between two known states: a quintic in time."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats


def quintic(share: Floats, span_s: Floats) -> tuple[Floats, Floats]:
    """Weights of two states in the position and velocity between them.

    Parameters
    ----------
    share
        Of the span, 0 to 1, shape (k,).
    span_s
        Seconds, shape (k,).

    Returns
    -------
    position, velocity
        Shape (k, 6): weights of position, velocity and acceleration before and after.
    """
    u, h = share, span_s
    position = np.stack(
        [
            1 - 10 * u**3 + 15 * u**4 - 6 * u**5,
            h * (u - 6 * u**3 + 8 * u**4 - 3 * u**5),
            h**2 * (u**2 - 3 * u**3 + 3 * u**4 - u**5) / 2,
            10 * u**3 - 15 * u**4 + 6 * u**5,
            h * (-4 * u**3 + 7 * u**4 - 3 * u**5),
            h**2 * (u**3 - 2 * u**4 + u**5) / 2,
        ],
        axis=1,
    )
    bell = 30 * u**2 * (1 - u) ** 2
    velocity = np.stack(
        [
            -bell / h,
            1 - 18 * u**2 + 32 * u**3 - 15 * u**4,
            h * (2 * u - 9 * u**2 + 12 * u**3 - 5 * u**4) / 2,
            bell / h,
            -12 * u**2 + 28 * u**3 - 15 * u**4,
            h * (3 * u**2 - 8 * u**3 + 5 * u**4) / 2,
        ],
        axis=1,
    )
    return position, velocity
