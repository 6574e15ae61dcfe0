"""Least, largest and mean of a channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trackkit.recordings.channel import channel_title

FIGURES = ("least", "largest", "mean")


@dataclass(frozen=True)
class ChannelFigures:
    """What a channel says of a lap or a sector, in the channel's own unit.

    Parameters
    ----------
    name, unit
        Of the channel.
    least, largest
        Of the values measured in it; None where there is none.
    mean
        Over time, the channel taken as straight between those values.
    """

    name: str
    unit: str | None
    least: float | None
    largest: float | None
    mean: float | None

    @property
    def title(self) -> str:
        """Name and unit of the channel."""
        return channel_title(self.name, self.unit)

    def as_row(self) -> dict[str, Any]:
        """Write the figures as JSON."""
        return {
            "name": self.name,
            "unit": self.unit,
            **{figure: getattr(self, figure) for figure in FIGURES},
        }
