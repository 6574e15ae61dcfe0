"""Laps round an ellipse on a plane, exact or as a receiver has them."""

import numpy as np

from trackkit.geometry.geodesy import LocalPlane
from trackkit.recordings.recording import Recording

PLANE = LocalPlane(161.0, 47.0)
# The usual receiver of docs/methods.md, one sigma per axis; the wander is a first-order
# Gauss-Markov process.
WANDER_M, WANDER_TIME_S, WHITE_M, DOPPLER_MPS = 1.0, 120.0, 0.15, 0.05


def course_and_speed(velocity):
    """Compass course and speed of velocities on a plane whose north is near true north."""
    return np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360, np.hypot(*velocity.T)


def recorded(time, position, velocity=None, *, plane=PLANE, **more):
    longitude, latitude = plane.to_geographic(position)
    if velocity is not None:
        course, speed = course_and_speed(velocity)
        course = (course + plane.convergence_deg(longitude, latitude)) % 360
        more = {"course_deg": course, "speed_mps": speed, **more}
    return Recording("invented", time, longitude, latitude, **more)


def laps(time):
    """Truth: laps round an ellipse, 8 to 18 m/s, in metres and metres a second."""
    rate = 0.12
    angle = rate * time
    position = np.column_stack([150 * np.cos(angle), 70 * np.sin(angle)])
    velocity = rate * np.column_stack([-150 * np.sin(angle), 70 * np.cos(angle)])
    return position, velocity


def received(time, seed, *, doppler=True):
    """A recording of the laps with a usual receiver's noise."""
    random = np.random.default_rng(seed)
    position, velocity = laps(time)
    wander = np.zeros_like(position)
    wander[0] = random.normal(0, WANDER_M, 2)
    for k, step in enumerate(np.diff(time), start=1):
        fade = np.exp(-step / WANDER_TIME_S)
        wander[k] = fade * wander[k - 1] + random.normal(0, WANDER_M * np.sqrt(1 - fade**2), 2)
    measured = position + wander + random.normal(0, WHITE_M, position.shape)
    speeds = velocity + random.normal(0, DOPPLER_MPS, velocity.shape)
    return recorded(time, measured, speeds if doppler else None)


def root_mean_square(error):
    return float(np.sqrt(np.mean(np.sum(np.square(error), axis=-1))))


TEN_HERTZ = np.arange(0.0, 120.0, 0.1)
ONE_HERTZ = np.arange(0.0, 300.0, 1.0)
