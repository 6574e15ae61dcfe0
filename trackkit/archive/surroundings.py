"""What a recording's laps depend on beside the geometry of its track, in few letters."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from trackkit.library.folders import Library
from trackkit.library.known import Known
from trackkit.track.model import Track

_WITHIN_M = 10_000.0
_PLACE_DECIMALS = 2
_BOX_DECIMALS = 4


def circuits_around(library: Library) -> Callable[[float, float], str]:
    """Make what digests the circuits around a place, by all that tells which is driven on.

    Where it stays the same, a recording is located where it was: a gate that is moved makes no
    difference to it, a layout that is added, or no longer valid, does.
    """
    digests: dict[tuple[float, float], str] = {}

    def digest(longitude_deg: float, latitude_deg: float) -> str:
        place = round(longitude_deg, _PLACE_DECIMALS), round(latitude_deg, _PLACE_DECIMALS)
        if place not in digests:
            near = library.near(*place, _WITHIN_M)
            digests[place] = _digest("\n".join(sorted(map(_of_circuit, near))))
        return digests[place]

    return digest


def _of_circuit(circuit: Known) -> str:
    box = [
        f"{edge:.{_BOX_DECIMALS}f}"
        for degrees in (circuit.longitude_deg, circuit.latitude_deg)
        for edge in (degrees.min(), degrees.max())
    ]
    parts = (
        circuit.id,
        circuit.name,
        circuit.layout,
        circuit.direction,
        circuit.closed,
        f"{circuit.length_m:.0f}",
        f"{circuit.band_m:.1f}",
        circuit.timezone,
        circuit.valid_from,
        circuit.valid_until,
        circuit.replaces,
        circuit.origin,
        *box,
    )
    return repr(parts)


def gate_names(track: Track) -> str:
    """Digest what the gates of a track are called."""
    return _digest(repr(sorted((gate.id, gate.kind, gate.name) for gate in track.gates)))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
