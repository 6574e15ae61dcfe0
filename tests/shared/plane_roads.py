"""Curves on a plane, made of straights and arcs, whose geometry is known from that."""

import math

import numpy as np

from trackkit.geometry.curve import Curve


def road(*pieces, step_m=0.5):
    """Points along straights ("s", length) and arcs ("l" or "r", radius, degrees turned)."""
    place, heading = np.zeros(2), 0.0
    points = [place]
    for kind, size, *turn in pieces:
        if kind == "s":
            count = max(1, math.ceil(size / step_m))
            ahead = np.array([math.cos(heading), math.sin(heading)])
            points += [place + ahead * size * k / count for k in range(1, count + 1)]
        else:
            side = 1 if kind == "l" else -1
            angle = math.radians(turn[0])
            count = max(2, math.ceil(size * angle / step_m))
            to_centre = side * size * np.array([-math.sin(heading), math.cos(heading)])
            for k in range(1, count + 1):
                turned = side * angle * k / count
                cosine, sine = math.cos(turned), math.sin(turned)
                spoke = np.array([[cosine, -sine], [sine, cosine]]) @ -to_centre
                points.append(place + to_centre + spoke)
            heading += side * angle
        place = points[-1]
    return np.array(points)


def circuit(*pieces):
    """A closed curve along a road that comes back to where it began."""
    points = road(*pieces)
    assert np.linalg.norm(points[-1] - points[0]) < 1e-6
    return Curve.through(points, closed=True)


def course(*pieces):
    return Curve.through(road(*pieces), closed=False)


# World Athletics facilities manual: two straights of 84.39 m, half circles measured at 36.80 m,
# 400.00 m in all; from memory.
STRAIGHT_M, MEASURED_RADIUS_M = 84.39, 36.80
ATHLETICS = circuit(
    ("s", STRAIGHT_M / 2),
    ("l", MEASURED_RADIUS_M, 180),
    ("s", STRAIGHT_M),
    ("l", MEASURED_RADIUS_M, 180),
    ("s", STRAIGHT_M / 2),
)
