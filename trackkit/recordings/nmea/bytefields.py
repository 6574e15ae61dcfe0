"""Numbers read from many fields of one block of bytes at once, with numpy."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Bytes, Flags, Floats, Indices

MOST_DIGITS = 15
_LONGEST = MOST_DIGITS + 2
_POWER_OF_TEN = 10.0 ** np.arange(MOST_DIGITS + 1)


def numbers(data: Bytes, start: Indices, end: Indices) -> tuple[Floats, Flags]:
    """Read plain decimal numbers, such as "-12.50".

    Up to 15 digits make a whole number that float64 holds exactly, and so do the powers of ten
    up to 1e22; IEEE 754 division of the two is therefore the decimal's nearest float64, the same
    as `float` gives (Clinger, How to Read Floating Point Numbers Accurately, 1990; from memory).

    Parameters
    ----------
    data
        The block of bytes, shape (m,).
    start, end
        Where each field begins and ends, shape (n,), 0 <= start, end <= m.

    Returns
    -------
    The values, shape (n,), NaN for empty fields; and whether each field is empty or a number of
    this form.  What is neither has to be read in another way, and has NaN as well.
    """
    width = end - start
    filled = width > 0
    readable = width <= _LONGEST
    count = len(start)
    whole = np.zeros(count, dtype=np.int64)
    digits = np.zeros(count, dtype=np.int64)
    decimals = np.zeros(count, dtype=np.int64)
    dotted = np.zeros(count, dtype=bool)
    negative = np.zeros(count, dtype=bool)
    if count and np.any(filled):
        negative = filled & (data[np.minimum(start, len(data) - 1)] == ord("-"))
        at = start + negative
        for _ in range(int(np.max(np.where(readable, width, 0)))):
            inside = at < end
            figure = data[np.minimum(at, len(data) - 1)] - np.uint8(ord("0"))  # wraps below "0"
            digit = inside & (figure <= 9)
            whole = np.where(digit, whole * 10 + figure, whole)
            digits += digit
            decimals += digit & dotted
            dot = inside & (figure == ord(".") - ord("0") + 256) & ~dotted
            readable &= ~inside | digit | dot
            dotted |= dot
            at = at + 1
    readable &= ~filled | ((digits > 0) & (digits <= MOST_DIGITS))
    value = whole / _POWER_OF_TEN[np.minimum(decimals, MOST_DIGITS)]
    value = np.where(negative, -value, value)
    return np.where(filled & readable, value, np.nan), readable
