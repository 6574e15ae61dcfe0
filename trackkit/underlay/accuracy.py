"""How well what is drawn over a picture is known."""

from __future__ import annotations

import math

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import UnderlayError
from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.underlay.picture import Underlay, ground_pixel_m, shown_share

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


def traced_sigma_m(
    underlay: Underlay, longitude_deg: Floats, latitude_deg: Floats
) -> tuple[float, str]:
    """Tell how well a line is known that was drawn over a picture, in whatever program.

    Parameters
    ----------
    underlay
        The picture.
    longitude_deg, latitude_deg
        The line, degrees, shape (n,).

    Returns
    -------
    sigma_m, basis
        One sigma sideways, metres, as `drawn_sigma_m` has it, and a clause that says from what.

    Raises
    ------
    UnderlayError
        When the picture can't be read, or shows only a part of the line or none of it.
    """
    share = shown_share(underlay, longitude_deg, latitude_deg)
    if share < 1.0:
        raise UnderlayError(
            f"shows {math.floor(100.0 * share)} % of the line, which was not drawn over it then",
            file=underlay.path,
            remedy="check the coordinate systems of both, or leave the picture out",
        )
    longitude = float(np.mean(unwrap_longitude(longitude_deg)))
    pixel = ground_pixel_m(underlay, longitude, float(np.mean(latitude_deg)))
    residual = underlay.residual_m
    sigma = drawn_sigma_m(pixel, UNMEASURED_M if residual is None else residual)
    if residual is None:
        lies = f"an assumed {UNMEASURED_M:g} m of how far a picture may lie off"
    else:
        lies = f"{residual:.2f} m of the points that it was laid by"
    return sigma, f"from {pixel:.2f} m a pixel of the picture and {lies}"
