"""Places along a track as people write them: a chainage, a position, or two surveyed ends."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from trackkit.errors import PlaceError
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.remedies import Remedy
from trackkit.track.features import Position
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track

FARTHEST_SNAP_M = 100.0
"""A position farther from the centreline than this is not meant to be on the track."""

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_CHAINAGE = re.compile(rf"({_NUMBER})\s*m")
_PAIR = re.compile(rf"({_NUMBER})(?:\s*,\s*|\s+)({_NUMBER})")


@dataclass(frozen=True)
class Place:
    """A place along the track, in one of three forms (the others are None).

    Parameters
    ----------
    chainage_m
        Metres from the datum; negative counts back from the finish gate.
    position
        (longitude, latitude), degrees, to be snapped to the centreline.
    ends
        Two surveyed ends of a gate, left then right.
    remarks
        What to tell the user about how the place was read.
    crs
        The grid that the position was given in; None for latitude and longitude.
    anyway
        Whether a gate goes there even if it can hardly be meant.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.place_gate(track, "speed", trackkit.Place(chainage_m=200.0))
    >>> round(change.gate.chainage_m)
    200
    """

    chainage_m: float | None = None
    position: Position | None = None
    ends: tuple[Position, Position] | None = None
    remarks: tuple[str, ...] = ()
    anyway: bool = False
    crs: str | None = None

    def __repr__(self) -> str:
        if self.chainage_m is not None:
            return f"Place(chainage_m={self.chainage_m:.3f})"
        if self.position is not None:
            return f"Place(position={self.position})"
        return f"Place(ends={self.ends})"


def parse_place(text: str, *, crs: str | None = None) -> Place:
    """Read a place: ``412m``, ``-20m``, ``LAT,LON`` or ``LAT,LON/LAT,LON``.

    Space may stand for the comma.

    Parameters
    ----------
    text
        What the user wrote.
    crs
        When given, for example ``EPSG:25832``, pairs are easting and northing in that grid.

    Raises
    ------
    PlaceError
        When the text is none of these.
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    chainage = _CHAINAGE.fullmatch(plain)
    if chainage:
        return Place(chainage_m=float(chainage[1]))
    pairs = [_PAIR.fullmatch(part.strip()) for part in plain.split("/")]
    if len(pairs) > 2 or not all(pairs):
        pair = "LAT,LON" if crs is None else "EAST,NORTH"
        raise PlaceError(
            f"{plain!r} is no place along a track",
            remedy=f"write a chainage such as 412m or -20m, {pair}, or two surveyed ends as "
            f"{pair}/{pair}, left end first",
        )
    numbers = [(float(pair[1]), float(pair[2])) for pair in pairs if pair]
    positions: list[Position] = []
    remarks: tuple[str, ...] = ()
    if crs is not None:
        from trackkit.geometry.grids import grid_to_wgs84

        east, north = [n[0] for n in numbers], [n[1] for n in numbers]
        longitude, latitude, remarks = grid_to_wgs84(east, north, crs)
        positions = list(zip(longitude.tolist(), latitude.tolist(), strict=True))
    else:
        for latitude_deg, longitude_deg in numbers:
            if abs(latitude_deg) > 90 or abs(longitude_deg) > 180:
                raise PlaceError(
                    f"{plain!r} is not a latitude and longitude in degrees",
                    remedy=Remedy(
                        "write the latitude first, for example 38.7214,83.3512, or name the "
                        "national grid that positions are in",
                        do="name grid",
                    ),
                )
            positions.append((longitude_deg, latitude_deg))
    if len(positions) == 2:
        return Place(ends=(positions[0], positions[1]), remarks=remarks, crs=crs)
    return Place(position=positions[0], remarks=remarks, crs=crs)


def as_place(place: Place | str | float) -> Place:
    """Take a place however it was given.

    Parameters
    ----------
    place
        A place, a text for `parse_place`, or a chainage in metres.

    Returns
    -------
    Place
        The same place.

    Raises
    ------
    PlaceError
        When a text is no place.
    """
    if isinstance(place, Place):
        return place
    return parse_place(place) if isinstance(place, str) else Place(chainage_m=float(place))


def chainage_of(
    track: Track, place: Place, *, must_cross: bool = True
) -> tuple[float, tuple[str, ...]]:
    """Find the chainage of a place, and say how it was found.

    Parameters
    ----------
    track
        The track.
    place
        The place.
    must_cross
        Whether two surveyed ends have to lie on either side of the centreline.

    Returns
    -------
    chainage_m, remarks
        The chainage on the track's curve, metres.

    Raises
    ------
    PlaceError
        When the place is off the track.
    """
    curve = track.curve
    if place.chainage_m is not None:
        chainage = place.chainage_m
        if chainage < 0:
            chainage += curve.length_m if track.closed else track.finish.chainage_m
        if not 0 <= chainage <= curve.length_m:
            raise PlaceError(
                f"{place.chainage_m:g}m is off the track, which is {curve.length_m:.1f} m long"
            )
        return chainage, place.remarks
    if place.ends is not None:
        return ends_chainage(track.centreline, *place.ends, must_cross=must_cross), place.remarks
    if place.position is None:
        raise PlaceError("an empty place")
    point = track.plane.to_plane(*place.position)
    where, _ = curve.project(point)
    nearest_lon, nearest_lat = track.plane.to_geographic(curve.position(where))
    away = float(geodesic_distance(*place.position, float(nearest_lon), float(nearest_lat)))
    if away > FARTHEST_SNAP_M:
        given = (
            "latitude comes first"
            if place.crs is None
            else f"{place.crs} is the right grid, that easting comes before northing"
        )
        raise PlaceError(
            f"the place {place.position[1]:.6f},{place.position[0]:.6f} lies {away:,.0f} m from "
            f"the centreline of {track.name!r}",
            remedy=f"check that {given} and that it is this circuit",
        )
    remark = f"snapped to the centreline at {float(where):.1f} m, {away:.1f} m from the place given"
    return float(where), (*place.remarks, remark)


def to_decimetre(track: Track, chainage_m: float) -> float:
    """Round a chainage to a decimetre that is still on the track, metres."""
    rounded = round(chainage_m, 1)
    if rounded <= track.curve.length_m:
        return max(rounded, 0.0)
    return 0.0 if track.closed else float(np.floor(10.0 * track.curve.length_m) / 10.0)


def describe_place(track: Track, chainage_m: float) -> str:
    """Write a place as ``38.721405,83.351996 (412.0 m)``."""
    longitude, latitude = track.plane.to_geographic(track.curve.position(chainage_m))
    return f"{float(latitude):.6f},{float(longitude):.6f} ({chainage_m:.1f} m)"
