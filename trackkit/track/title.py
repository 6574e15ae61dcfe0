"""What a circuit is called."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trackkit.track.model import Track


def title_of(name: str, layout: str) -> str:
    """Say a circuit's name and layout as people do."""
    return f"{name} ({layout})" if layout else name


def names_in(track: Track) -> tuple[str, ...]:
    """List what people called the circuit, its gates and its corners."""
    own = (track.title, track.name, track.layout, track.id)
    return (*own, *(gate.name for gate in track.gates), *(corner.name for corner in track.corners))
