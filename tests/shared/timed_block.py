"""The block circuit with two sector gates, and drives along its finish straight."""

import numpy as np
from drives import on_earth

from trackkit.recordings.recording import Recording

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0), ("two", "sector", 800.0)]
KINDS = ["positions", "doppler"]


def recording_of(position_m, time_s, *, velocity_mps=None, name="invented"):
    longitude, latitude = on_earth(position_m)
    speed = course = None
    if velocity_mps is not None:
        speed = np.hypot(*np.asarray(velocity_mps).T)
        course = np.degrees(np.arctan2(*np.asarray(velocity_mps).T)) % 360.0
    return Recording(
        name,
        np.asarray(time_s, dtype=float),
        longitude,
        latitude,
        speed_mps=speed,
        course_deg=course,
    )


def along_the_finish_straight(x_m, time_s, *, y_m=-130.0, doppler=False):
    """Driving along the first long side, y = -130 m, where the finish is at x = 0."""
    x = np.asarray(x_m, dtype=float)
    position = np.column_stack([x, np.broadcast_to(y_m, x.shape)])
    velocity = None
    if doppler:
        velocity = np.column_stack([np.gradient(x, time_s), np.zeros(len(x))])
    return recording_of(position, time_s, velocity_mps=velocity)
