"""What there is to tell about a track: its line, corners, straights, gates and heights."""

from __future__ import annotations

import reprlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from trackkit.geometry.bends import Straight, find_bends
from trackkit.track.credit import credits_of
from trackkit.track.model import Track

_EVERY_M = 10.0
"""Spacing of the places that heights and gradients are read at."""


@dataclass(frozen=True)
class Elevation:
    """Heights along a track.

    Parameters
    ----------
    lowest_m, highest_m
        Above the ellipsoid or the sea, as in the track file, metres.
    steepest_percent
        The steepest gradient, percent; negative where the track falls.
    steepest_at_m
        Chainage of it, metres.
    """

    lowest_m: float
    highest_m: float
    steepest_percent: float
    steepest_at_m: float

    def as_row(self) -> dict[str, float]:
        """Return the heights as JSON; to a centimetre."""
        return {
            "lowest_m": round(self.lowest_m, 2),
            "highest_m": round(self.highest_m, 2),
            "steepest_percent": round(self.steepest_percent, 2),
            "steepest_at_m": round(self.steepest_at_m, 1),
        }


@dataclass(frozen=True, eq=False)
class Description:
    """A track with what its line shows.

    Parameters
    ----------
    track
        The track, which has the corners and the gates.
    straights
        Stretches between its corners, in racing order.
    elevation
        Its heights; None where the track file has none.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> description = trackkit.describe_track(track)
    >>> len(description.straights), description.as_row()["name"]
    (10, 'Pipwick Kart Circuit')
    """

    track: Track
    straights: tuple[Straight, ...]
    elevation: Elevation | None

    def __repr__(self) -> str:
        return f"Description({reprlib.repr(self.track.id)}, {len(self.straights)} straights)"

    def as_row(self) -> dict[str, Any]:
        """Return the description as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            **self.track.as_row(),
            "width_m": self.track.centreline.width_m,
            "accuracy_m": self.track.accuracy_m,
            "licence": self.track.licence,
            "credits": list(credits_of(self.track)),
            "corners": [corner.as_row() for corner in self.track.corners],
            "straights": [straight.as_row() for straight in self.straights],
            "gates": [gate.as_row() for gate in self.track.gates],
            "elevation": None if self.elevation is None else self.elevation.as_row(),
        }


def describe_track(track: Track) -> Description:
    """Describe the length, corners, straights, gates and elevation of a track.

    Parameters
    ----------
    track
        The track.

    Returns
    -------
    Description
        The track, its straights and its heights.

    Raises
    ------
    TrackkitError
        When the track has no line that can be followed.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> row = trackkit.describe_track(track).as_row()
    >>> row["name"], round(row["length_m"])
    ('Pipwick Kart Circuit', 933)
    """
    _, straights = find_bends(track.curve)
    return Description(track, tuple(straights), _elevation(track))


def _elevation(track: Track) -> Elevation | None:
    line = track.centreline
    if line.height_m is None:
        return None
    curve = track.curve
    chainage = curve.chainages(_EVERY_M)
    vertex_height_m = line.height_m[: len(curve.vertex_chainage_m)]
    period = curve.length_m if track.closed else None
    height = np.interp(chainage, curve.vertex_chainage_m, vertex_height_m, period=period)
    slope = np.gradient(height, chainage[1] - chainage[0]) * 100.0
    steepest = int(np.argmax(np.abs(slope)))
    return Elevation(
        lowest_m=float(height.min()),
        highest_m=float(height.max()),
        steepest_percent=float(slope[steepest]),
        steepest_at_m=float(chainage[steepest]),
    )
