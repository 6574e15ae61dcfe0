"""Times, differences and speeds as cells of tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trackkit.cli.common import duration
from trackkit.timing.decimals import decimals
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.timing.sessions import Difference


def time_cell(time_s: float | None, sigma_s: float | None, mark: str = " ") -> str:
    """Write a time with as many decimals as its uncertainty supports, and the uncertainty.

    Decimal points line up; the best of its column has a mark, the others room for one.
    """
    if time_s is None:
        return "-"
    places = decimals(sigma_s)
    room = " " * (3 - places + (places == 0))
    return f"{duration(time_s, places)}{mark}{room}{sigma_text(sigma_s, places)}{room}"


def difference_cell(difference: Difference | None) -> str:
    """Write a difference with its sign and as many decimals as its uncertainty supports."""
    if difference is None:
        return "-"
    places = decimals(difference.sigma_s)
    text = duration(difference.time_s, places)
    if not text.startswith("-") and difference.sigma_s > 0:
        text = f"+{text}"
    return text + " " * (3 - places + (places == 0))


def sigma_text(sigma_s: float | None, places: int) -> str:
    """Write one sigma to so many decimals, never as nought."""
    return "" if sigma_s is None else f"±{max(sigma_s, 10.0**-places):.{places}f}"


def plain_time(time_s: float | None, sigma_s: float | None) -> str:
    """Write a time with its uncertainty, not lined up."""
    places = decimals(sigma_s)
    return f"{duration(time_s, places)} {sigma_text(sigma_s, places)}".rstrip()


def speed_cell(speed_mps: float | None) -> str:
    """Write a speed in the units that people read, without their name."""
    return "-" if speed_mps is None else units().speed_figure(speed_mps, 1)


def difference_sigma(difference: Difference) -> str:
    """Write the uncertainty of a difference, after a space; none of a lap and itself."""
    if difference.sigma_s == 0:
        return ""
    return f" {sigma_text(difference.sigma_s, decimals(difference.sigma_s))}"
