"""What people called the parts of a circuit."""

from __future__ import annotations

from trackkit.track.model import Track


def names_in(track: Track) -> tuple[str, ...]:
    """List what people called the circuit, its gates and its corners."""
    own = (track.title, track.name, track.layout, track.id)
    return (*own, *(gate.name for gate in track.gates), *(corner.name for corner in track.corners))
