"""The sectors that a track's gates make."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trackkit.track.crossed import timed_gates
from trackkit.track.model import Track


@dataclass(frozen=True)
class Sector:
    """From one timed gate to the next.

    Parameters
    ----------
    number
        Counts from 1, in racing order.
    begin, end
        Ids of the gates.
    length_m
        Along the centreline, metres.
    """

    number: int
    begin: str
    end: str
    length_m: float

    def as_row(self) -> dict[str, Any]:
        """Return the sector as JSON; its length to a millimetre."""
        return {
            "number": self.number,
            "from": self.begin,
            "to": self.end,
            "length_m": round(self.length_m, 3),
        }


def sectors_of(track: Track) -> list[Sector]:
    """List the sectors, in racing order.

    Raises
    ------
    PlaceError
        When the track lacks the gates that laps begin and end at.
    """
    gates = timed_gates(track)
    ends = [*gates[1:], gates[0]] if track.closed else gates[1:]
    lengths = [
        # One gate alone makes a sector of the whole lap.
        track.curve.length_m
        if begin is end
        else float(track.curve.along(begin.chainage_m, end.chainage_m))
        for begin, end in zip(gates, ends, strict=False)
    ]
    return [
        Sector(number, begin.id, end.id, length)
        for number, (begin, end, length) in enumerate(
            zip(gates, ends, lengths, strict=False), start=1
        )
    ]
