"""Long arrays in a page: whole numbers of a fixed step, little endian, in base64."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

_MISSING_U16, _MISSING_I32 = 65_535, -(2**31)


def pack(values: ArrayLike, step: float) -> dict[str, Any]:
    """Write numbers as whole steps from the least of them: 16 bits each if they fit, else 32.

    Parameters
    ----------
    values
        Shape (n,); NaN is written as the one number that means missing.
    step
        The step, in the unit of the values; what is read back is off by half of it at most.

    Returns
    -------
    dict
        ``{"scale", "zero", "type", "count", "data"}``: a value is ``zero + scale * integer``,
        little endian; missing is 65535 of "u16", -2147483648 of "i32".

    Raises
    ------
    OverflowError
        When the values span more than 2^31 steps.
    """
    number = np.asarray(values, dtype=float)
    finite = np.isfinite(number)
    zero = float(number[finite].min()) if finite.any() else 0.0
    count = np.zeros(len(number), dtype=np.int64)
    count[finite] = np.rint((number[finite] - zero) / step)
    highest = int(count.max(initial=0))
    if highest >= 2**31:
        raise OverflowError(f"{highest} steps of {step} do not fit")
    small = highest < _MISSING_U16
    count[~finite] = _MISSING_U16 if small else _MISSING_I32
    data = count.astype("<u2" if small else "<i4").tobytes()
    return {
        "scale": step,
        "zero": zero,
        "type": "u16" if small else "i32",
        "count": len(number),
        "data": base64.b64encode(data).decode("ascii"),
    }


def unpacked_bounds(packed: Mapping[str, Any]) -> tuple[float, float]:
    """Read the least and the greatest of packed numbers, none of which is missing."""
    data = base64.b64decode(packed["data"])
    number = np.frombuffer(data, "<u2" if packed["type"] == "u16" else "<i4")
    return packed["zero"], float(packed["zero"] + packed["scale"] * number.max(initial=0))
