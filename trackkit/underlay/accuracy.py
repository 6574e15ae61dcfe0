"""How well what is drawn over a picture is known."""

from __future__ import annotations

import math

POINTING_PIXELS = 1.0
"""One sigma, pixels, of where a hand puts a place of kerb or paint that it sees (common practice,
no source)."""
UNMEASURED_M = 3.0
"""One sigma, metres, taken of a picture that nobody has measured against the ground: that of a line
traced from any (common practice, no source)."""


def drawn_sigma_m(pixel_m: float, residual_m: float) -> float:
    """Tell how well what is drawn over a picture is known.

    The hand's pointing and the picture's lie on the ground are independent, so that their
    variances add (ISO/IEC Guide 98-3, 5.1.2; from memory).

    Parameters
    ----------
    pixel_m
        Size on the ground, metres, of a pixel of the picture as it was drawn over.
    residual_m
        How far the picture lies off, metres, one sigma on one axis: `PlacedPlan.sigma_m` of a plan
        that was laid by points, or the same of places measured on the ground.  `UNMEASURED_M`
        where nobody has measured it, never 0.

    Returns
    -------
    float
        One sigma, metres, on one axis, such as sideways of a line; as a row of kind ``drawn`` of an
        accuracy profile has it.

    Raises
    ------
    ValueError
        When either is no finite number, the pixel is not more than 0 or the residual less.

    Examples
    --------
    >>> round(drawn_sigma_m(0.3, 0.4), 3)
    0.5
    """
    if not (math.isfinite(pixel_m) and pixel_m > 0.0):
        raise ValueError(f"a pixel of {pixel_m} m is none")
    if not (math.isfinite(residual_m) and residual_m >= 0.0):
        raise ValueError(f"a residual of {residual_m} m is none")
    return math.hypot(POINTING_PIXELS * pixel_m, residual_m)
