"""How many decimals of a time its uncertainty supports."""

from __future__ import annotations

MOST_DECIMALS = 3
"""Of a printed time: the thousandth is the last that timekeepers give (common practice)."""


def decimals(sigma_s: float | None) -> int:
    """Say how many decimals of a time its uncertainty supports.

    The last one is no finer than the second significant digit of the uncertainty (JCGM 100,
    "GUM", section 7.2.6; from memory), and never finer than `MOST_DECIMALS`.
    """
    if sigma_s is None or not sigma_s > 0:
        return MOST_DECIMALS
    exponent = int(f"{sigma_s:.1e}".partition("e")[2])
    return min(max(1 - exponent, 0), MOST_DECIMALS)
