"""Types of arrays, and a robust estimate of how far values scatter."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

Bytes = NDArray[np.uint8]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

SIGMA_OF_MEDIAN = 1.4826
"""The standard deviation of a normal variable over the median of its absolute value."""


def robust_spread(
    values: ArrayLike, *, about: ArrayLike | None = None, axis: int | None = None
) -> Floats:
    """Estimate a standard deviation by the median absolute deviation, as of normal values.

    SciPy has it too, but its statistics take longer to load than `trackkit laps` to run.

    Parameters
    ----------
    values
        Any shape; NaN where there is none.
    about
        What they deviate from, broadcast against them; their median where None.
    axis
        Along which values belong together; all of them where None.

    Returns
    -------
    ndarray
        Shaped like `values` without the axis; of no dimension where that is None.
    """
    array = np.asarray(values, dtype=float)
    centre = np.nanmedian(array, axis=axis, keepdims=True) if about is None else about
    return np.asarray(SIGMA_OF_MEDIAN * np.nanmedian(np.abs(array - centre), axis=axis))
