"""Invented lines all over the earth, and true distances to them."""

from itertools import pairwise

import numpy as np
from geographiclib.geodesic import Geodesic
from pyproj import Geod

EARTH = Geodesic.WGS84
"""Karney, Algorithms for geodesics, 2013; geographiclib is his own implementation."""
GEOD = Geod(ellps="WGS84")
GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)


def loop(at, size_m, *, vertices=40, squash=0.6, turn_deg=0.0):
    """A closed line around a place, longitudes and latitudes, drawn by geodesics from there."""
    angle = np.linspace(0.0, 2 * np.pi, vertices)
    x, y = np.cos(angle), squash * np.sin(angle)
    azimuth = np.degrees(np.arctan2(x, y)) + turn_deg
    distance = size_m * np.hypot(x, y)
    longitude, latitude, _ = GEOD.fwd(
        np.full(vertices, at[0]), np.full(vertices, at[1]), azimuth, distance
    )
    longitude, latitude = np.unwrap(longitude, period=360.0), np.asarray(latitude)
    longitude[-1], latitude[-1] = longitude[0], latitude[0]
    return longitude, latitude


def true_distance(longitude, latitude, line, limit=np.inf):
    """Distance to a polyline of geodesics by geographiclib alone; above `limit`, no less than it.

    Along each segment that can be nearest the distance is searched by golden sections (Kiefer 1953;
    from memory), to about 1 mm.
    """
    vertex = list(zip(line[0].tolist(), line[1].tolist(), strict=True))
    away = [EARTH.Inverse(latitude, longitude, lat, lon)["s12"] for lon, lat in vertex]
    best = min(away)
    segments = []
    for number, ((lon1, lat1), (lon2, lat2)) in enumerate(pairwise(vertex)):
        segment = EARTH.InverseLine(lat1, lon1, lat2, lon2)
        # No point of it is nearer than this, by the triangle's sides.
        segments.append((0.5 * (away[number] + away[number + 1] - segment.s13), number, segment))
    for least, _, segment in sorted(segments, key=lambda one: one[:2]):
        if least > min(best, limit):
            break

        def at(along, segment=segment):
            place = segment.Position(along)
            return EARTH.Inverse(latitude, longitude, place["lat2"], place["lon2"])["s12"]

        low, high = 0.0, segment.s13
        left, right = high - GOLDEN * high, GOLDEN * high
        nearer, farther = at(left), at(right)
        while high - low > 0.1:
            if nearer < farther:
                high, right, farther = right, left, nearer
                left = high - GOLDEN * (high - low)
                nearer = at(left)
            else:
                low, left, nearer = left, right, farther
                right = low + GOLDEN * (high - low)
                farther = at(right)
        best = min(best, at(low), at(0.5 * (low + high)), at(high))
    return best


def least_distances(place, lines, count):
    """The least few distances to several lines by geographiclib alone, in order."""
    found = []
    for line in lines:
        limit = sorted(found)[count - 1] if len(found) >= count else np.inf
        found.append(true_distance(*place, line, limit))
    return sorted(found)[:count]


def moved(at, azimuth, distance):
    place = EARTH.Direct(at[1], at[0], azimuth, distance)
    return place["lon2"], place["lat2"]


PLACES = {
    "home": (161.0, 47.0),
    "antimeridian": (180.0, -27.0),
    "east-of-it": (-179.99, 48.0),
    "north-pole": (30.0, 89.999),
    "at-the-pole": (0.0, 90.0),
    "south-pole": (0.0, -89.99),
    "equator": (0.0, 0.0),
}
WORLD = [
    *(loop(at, 900.0) for at in PLACES.values()),
    *(loop(at, 3_300.0, vertices=24) for at in PLACES.values()),  # 20 km round, 700 m segments
    *(loop((161.0, 47.0), size) for size in (250.0, 400.0, 410.0, 7_000.0)),  # nested
    loop((161.3, 47.2), 500.0, turn_deg=40.0),
]


def crude(lon, lat, line):
    return np.min(GEOD.inv(np.full(len(line[0]), lon), np.full(len(line[0]), lat), *line)[2])
