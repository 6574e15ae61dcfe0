"""A track in a few words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.track.model import Track


def summary(track: Track) -> str:
    """Say in a line what a track is."""
    way = {"clockwise": ", clockwise", "anticlockwise": ", anticlockwise"}.get(
        track.direction or "", ", a figure of eight" if track.closed else ", point to point"
    )
    corners = f"{len(track.corners)} corner{'' if len(track.corners) == 1 else 's'}"
    return f"{track.title}: {units().length_text(track.length_m, 1)}{way}, {corners}"
