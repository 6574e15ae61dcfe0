"""A circuit that no library has."""

from __future__ import annotations

import numpy as np

import trackkit
from trackkit.geometry.geodesy import LocalPlane


def unknown_track() -> trackkit.Track:
    """An oval in the Sahara."""
    turn = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    outline = np.stack([220.0 * np.cos(turn), 120.0 * np.sin(turn)], axis=-1)
    longitude, latitude = LocalPlane(5.0, 24.0).to_geographic(outline)
    track = trackkit.Track.from_arrays(longitude, latitude, "Box")
    return trackkit.place_gate(track, "finish", "100m").track
