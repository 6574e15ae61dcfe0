"""WGS 84 positions, metres on a local plane, and lengths on the ellipsoid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from pyproj import Geod, Proj

from trackkit.arrays import Floats

WGS84 = Geod(ellps="WGS84")
_QUARTER_EARTH_M = 10_000_000.0
_FAR_M = 5_000_000.0


@dataclass(frozen=True)
class LocalPlane:
    """A transverse Mercator plane around an origin, in metres east and north.

    The scale error is x**2 / (2 R**2), below 1 part per million within 9 km east or west of the
    origin (Snyder, Map Projections: A Working Manual, USGS PP 1395; from memory).  Longitudes may
    be given continuous across the antimeridian (for example 180.01) or wrapped.

    Parameters
    ----------
    longitude_deg, latitude_deg
        The origin, degrees.
    """

    longitude_deg: float
    latitude_deg: float

    @cached_property
    def _projection(self) -> Proj:
        return Proj(
            proj="tmerc", lat_0=self.latitude_deg, lon_0=self.longitude_deg, k=1, ellps="WGS84"
        )

    @classmethod
    def around(cls, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> LocalPlane:
        """Centre a plane on the bounding box of some positions."""
        longitude = unwrap_longitude(longitude_deg)
        latitude = np.asarray(latitude_deg, dtype=float)
        middle = 0.5 * float(longitude.min() + longitude.max())
        return cls(float(wrap_longitude(middle)), 0.5 * float(latitude.min() + latitude.max()))

    def to_plane(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
        """Project positions, degrees, to an (n, 2) array of metres east and north.

        The projection has no values around the two places on the equator a quarter of the earth to
        the east and west.  Positions nearly that far are laid out by their azimuth and distance
        instead, which is as far from the origin and in the same direction.
        """
        longitude = wrap_longitude(longitude_deg)
        latitude = np.asarray(latitude_deg, dtype=float)
        east, north = self._projection(longitude, latitude)
        position = np.stack([np.asarray(east), np.asarray(north)], axis=-1)
        with np.errstate(over="ignore", invalid="ignore"):
            far = ~(np.hypot(position[..., 0], position[..., 1]) < _FAR_M)
        if np.any(far):
            longitude, latitude = (
                np.broadcast_to(v, far.shape)[far] for v in (longitude, latitude)
            )
            position[far] = self._laid_out(longitude, latitude)
        return position

    def _laid_out(self, longitude_deg: Floats, latitude_deg: Floats) -> Floats:
        azimuth, _, distance = WGS84.inv(
            np.full(longitude_deg.shape, self.longitude_deg),
            np.full(latitude_deg.shape, self.latitude_deg),
            longitude_deg,
            latitude_deg,
        )
        direction = np.stack([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))], axis=-1)
        return np.asarray(np.asarray(distance)[:, None] * direction)

    def convergence_deg(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
        """Angle from true north to the plane's north, degrees, positive east of the origin.

        A true bearing less this is a bearing on the plane.  On the sphere, which is within
        0.001 degrees of the ellipsoid here, its tangent is tan(dl) sin(latitude) (Snyder, USGS
        PP 1395, equation 8-9; from memory), in the quadrant of dl: beyond the pole it passes 90
        degrees.
        """
        away = np.radians(wrap_longitude(np.asarray(longitude_deg) - self.longitude_deg))
        rise = np.sin(np.radians(np.asarray(latitude_deg)))
        return np.asarray(np.degrees(np.arctan2(np.sin(away) * rise, np.cos(away))))

    def to_geographic(self, position_m: ArrayLike) -> tuple[Floats, Floats]:
        """Turn plane positions, (..., 2) metres, into longitude and latitude, degrees.

        Longitudes come out continuous around the origin's: a circuit astride the antimeridian
        gets values beyond 180 rather than a jump.
        """
        position = np.asarray(position_m, dtype=float)
        longitude, latitude = self._projection(position[..., 0], position[..., 1], inverse=True)
        return longitude_near(longitude, self.longitude_deg), np.asarray(latitude)


def wrap_longitude(longitude_deg: ArrayLike) -> Floats:
    """Bring longitudes into [-180, 180] degrees, leaving those already inside untouched."""
    longitude = np.asarray(longitude_deg, dtype=float)
    inside = (longitude >= -180.0) & (longitude <= 180.0)
    return np.where(inside, longitude, (longitude + 180.0) % 360.0 - 180.0)


def longitude_near(longitude_deg: ArrayLike, near_deg: float) -> Floats:
    """Count longitudes, degrees, on from another, so that none is half a turn or more from it."""
    return np.asarray(near_deg + wrap_longitude(np.asarray(longitude_deg, dtype=float) - near_deg))


def unwrap_longitude(longitude_deg: ArrayLike) -> Floats:
    """Make a sequence of longitudes, degrees, continuous across the antimeridian."""
    return np.unwrap(np.asarray(longitude_deg, dtype=float), period=360.0)


def geodesic_distance(
    longitude_a_deg: ArrayLike,
    latitude_a_deg: ArrayLike,
    longitude_b_deg: ArrayLike,
    latitude_b_deg: ArrayLike,
) -> Floats:
    """Distance on the WGS 84 ellipsoid, metres, element by element (Karney 2013, by PROJ)."""
    arrays = np.broadcast_arrays(longitude_a_deg, latitude_a_deg, longitude_b_deg, latitude_b_deg)
    start_lon, start_lat, end_lon, end_lat = (np.array(a, dtype=float) for a in arrays)
    _, _, distance = WGS84.inv(start_lon, start_lat, end_lon, end_lat)
    return np.asarray(distance, dtype=float)


def polyline_length(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> float:
    """Geodesic length of a polyline, metres."""
    longitude = np.asarray(longitude_deg, dtype=float)
    latitude = np.asarray(latitude_deg, dtype=float)
    return float(WGS84.line_length(longitude, latitude))


def extent_m(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> float:
    """Measure the diagonal of the bounding box of some positions, metres, on the ellipsoid.

    Longitudes are continuous across the antimeridian.  East and west are measured where the box
    is widest; farther than half around the earth counts as half around.
    """
    longitude, latitude = np.asarray(longitude_deg), np.asarray(latitude_deg)
    south, north = float(latitude.min()), float(latitude.max())
    widest = 0.0 if south <= 0.0 <= north else min(abs(south), abs(north))
    across_deg = min(float(longitude.max() - longitude.min()), 180.0)
    across = float(geodesic_distance(0.0, widest, across_deg, widest))
    along = float(geodesic_distance(0.0, south, 0.0, north))
    return float(np.hypot(across, along))


def bearing_deg(direction: ArrayLike) -> Floats:
    """Bearing of plane vectors (..., 2), degrees clockwise from the plane's north in [0, 360).

    `LocalPlane.convergence_deg` turns it into a true bearing.
    """
    vector = np.asarray(direction, dtype=float)
    return np.asarray(np.degrees(np.arctan2(vector[..., 0], vector[..., 1])) % 360.0)


def distance_to_polyline(
    longitude_deg: float,
    latitude_deg: float,
    line_longitude_deg: ArrayLike,
    line_latitude_deg: ArrayLike,
) -> float:
    """Geodesic distance from one position to a polyline of short segments, metres.

    The vertices are laid out by geodesic azimuth and distance around the position, which is the
    ellipsoidal azimuthal equidistant projection: distances from its centre are true.  Between two
    vertices 25 m apart the straight segment leaves the geodesic by far less than a millimetre.
    """
    line_longitude = np.asarray(line_longitude_deg, dtype=float)
    line_latitude = np.asarray(line_latitude_deg, dtype=float)
    azimuth, _, distance = WGS84.inv(
        np.full(line_longitude.shape, float(longitude_deg)),
        np.full(line_latitude.shape, float(latitude_deg)),
        line_longitude,
        line_latitude,
    )
    if float(distance.min()) > _QUARTER_EARTH_M:
        # Near the antipode the projection tears neighbours apart, and the line between them would
        # pass anywhere; at that distance the nearest vertex is as good.
        return float(distance.min())
    azimuth = np.radians(azimuth)
    vertex = np.stack([distance * np.sin(azimuth), distance * np.cos(azimuth)], axis=-1)
    return float(distance_to_segments(np.zeros(2), vertex[:-1], vertex[1:]).min())


def distance_to_segments(position_m: ArrayLike, start_m: Floats, end_m: Floats) -> Floats:
    """Distance from one plane position, shape (2,), to straight segments, shape (n, 2) each.

    From several, shape (k, 1, 2), the distances have the shape (k, n).
    """
    to_start, step = start_m - np.asarray(position_m, dtype=float), end_m - start_m
    squared = np.einsum("ij,ij->i", step, step)
    along = -np.einsum("...ij,ij->...i", to_start, step) / np.where(squared > 0, squared, 1.0)
    nearest = to_start + np.clip(along, 0.0, 1.0)[..., None] * step
    return np.asarray(np.hypot(nearest[..., 0], nearest[..., 1]))
