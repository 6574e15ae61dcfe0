"""What a track is made of: its centreline, gates, corners, pit lanes and bridges."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.errors import TrackFileError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane, geodesic_distance
from trackkit.track.accuracy import (
    AccuracyKind,
    AccuracyRow,
    Kinds,
    metres_of_kinds,
    read_profile,
    require_profile,
)

GateKind = Literal["finish", "start", "sector", "speed", "pit-entry", "pit-exit"]
GATE_KINDS: tuple[GateKind, ...] = ("finish", "start", "sector", "speed", "pit-entry", "pit-exit")
BESIDE_THE_TRACK: tuple[GateKind, ...] = ("pit-entry", "pit-exit")
"""Kinds of gate that lie across the pit lane and need not cross the centreline."""
Position = tuple[float, float]
"""Longitude and latitude, degrees."""

SUGGESTED = "suggested"
"""Member of a gate that trackkit placed by itself on a line that nobody has driven."""
DEGREE_DECIMALS = 8
"""Of positions: about 1 mm, because headings are read from neighbouring vertices."""


@dataclass(frozen=True, eq=False)
class Centreline:
    """The line of the track, in racing direction.

    Parameters
    ----------
    longitude_deg, latitude_deg
        Vertices, degrees, shape (n,); longitudes continuous across the antimeridian.  A closed
        line repeats its first position at the end, as its file does.
    closed
        Whether the track is a lap rather than a course from one point to another.
    height_m
        Heights of the vertices, metres, or None.
    width_m
        Width of the band where cars run, metres, or None where unknown.
    width_profile
        Rows of (chainage_m, left_m, right_m), metres, or None.
    accuracy_profile
        How well each metre of the line is known, rows by rising chainage, or None where nobody has
        measured it.
    id
        Of its feature in the file.
    properties, members
        Of its feature in the file: those that trackkit does not know.

    Raises
    ------
    TrackFileError
        When there are fewer than 2 positions, one is no longitude and latitude, or the accuracy
        profile says nothing certain.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> line = track.centreline
    >>> line.closed, len(line.longitude_deg) == len(line.latitude_deg)
    (True, True)
    """

    longitude_deg: Floats
    latitude_deg: Floats
    closed: bool
    height_m: Floats | None = None
    width_m: float | None = None
    width_profile: tuple[tuple[float, float, float], ...] | None = None
    accuracy_profile: tuple[AccuracyRow, ...] | None = None
    id: str = "centreline"
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.longitude_deg) < 2 or len(self.longitude_deg) != len(self.latitude_deg):
            raise TrackFileError(
                f"a centreline of {len(self.longitude_deg)} positions is no line",
                place="feature centreline",
            )
        require_positions(self.longitude_deg, self.latitude_deg, "feature centreline")
        if self.accuracy_profile is not None:
            require_profile(self.accuracy_profile, "feature centreline")

    def __repr__(self) -> str:
        return f"Centreline({_line_repr(self)}, {'closed' if self.closed else 'open'})"

    @cached_property
    def plane(self) -> LocalPlane:
        """A plane around the line; tracks that share the line share it, whatever their gates."""
        return LocalPlane.around(self.longitude_deg, self.latitude_deg)

    @cached_property
    def curve(self) -> Curve:
        """The spline through the vertices; its chainage 0 is the first one."""
        return Curve.through(
            self.plane.to_plane(self.longitude_deg, self.latitude_deg), closed=self.closed
        )

    def accuracy_at(self, chainage_m: ArrayLike) -> tuple[Floats, Kinds] | None:
        """Read how well the line is known at places along it.

        Parameters
        ----------
        chainage_m
            Places, metres, any shape; on a closed line any number of laps on or back.

        Returns
        -------
        tuple of ndarray or None
            One sigma of the line's sideways place, metres, and the kind, each of the shape of
            `chainage_m`; None where the line has no accuracy profile.
        """
        if self.accuracy_profile is None:
            return None
        length_m = self.curve.length_m
        return read_profile(self.accuracy_profile, chainage_m, length_m, closed=self.closed)

    def metres_of_kinds(self) -> dict[AccuracyKind, float] | None:
        """Add up how far the line is measured, thin, carried and drawn.

        Returns
        -------
        dict or None
            Metres by kind, together the length of the line; None where the line has no accuracy
            profile.
        """
        if self.accuracy_profile is None:
            return None
        return metres_of_kinds(self.accuracy_profile, self.curve.length_m, closed=self.closed)

    @property
    def gap_m(self) -> float:
        """Distance from the last position back to the first, metres (0 for a closed ring)."""
        return float(
            geodesic_distance(
                self.longitude_deg[-1],
                self.latitude_deg[-1],
                self.longitude_deg[0],
                self.latitude_deg[0],
            )
        )


@dataclass(frozen=True)
class Gate:
    """A line across the track with a left and a right end, crossed in racing direction.

    The ends are authoritative; the chainage is derived from them and kept for people.

    Parameters
    ----------
    id
        Given once; never changes or moves to another gate.
    kind
        One of `GATE_KINDS`.
    name
        For people.
    left, right
        Ends as (longitude, latitude), degrees; left and right as a driver crossing it sees them.
    order
        Place in racing order, from 0.
    chainage_m
        Distance along the centreline from the datum, metres.
    surveyed
        Whether the two ends were given as measured on the ground.
    name_given
        Whether a name that looks like one trackkit gives was given by a person.
    properties, members
        Of its feature in the file: those that trackkit does not know.

    Raises
    ------
    TrackFileError
        When the kind is none of `GATE_KINDS`, an end is no longitude and latitude, or both are the
        same.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> gate = track.gate("Finish")
    >>> gate.kind, gate.chainage_m, round(gate.width_m)
    ('finish', 0.0, 16)
    """

    id: str
    kind: GateKind
    name: str
    left: Position
    right: Position
    order: int = 0
    chainage_m: float = 0.0
    surveyed: bool = False
    name_given: bool = False
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        place = f"gate {self.id}"
        if self.kind not in GATE_KINDS:
            raise TrackFileError(
                f"the kind {self.kind!r} is not one of {', '.join(GATE_KINDS)}", place=place
            )
        longitudes = np.array([self.left[0], self.right[0]])
        require_positions(longitudes, np.array([self.left[1], self.right[1]]), place)
        if self.left == self.right:
            raise TrackFileError("both ends of the gate are the same position", place=place)

    def __repr__(self) -> str:
        called = f"{reprlib.repr(self.id)}, {self.kind!r}, {reprlib.repr(self.name)}"
        return f"Gate({called}, at {self.chainage_m:,.1f} m, {self.width_m:.1f} m wide)"

    @property
    def width_m(self) -> float:
        """Distance between the ends, metres."""
        return float(geodesic_distance(*self.left, *self.right))

    @property
    def suggested(self) -> bool:
        """Whether its place is a suggestion of trackkit's that nobody has confirmed."""
        return self.properties.get(SUGGESTED) is True

    def as_row(self) -> dict[str, Any]:
        """Write the gate as JSON.

        Returns
        -------
        dict
            The fields by name; lengths in metres, to a millimetre, ends as longitude and latitude
            in degrees.
        """
        return {
            "id": self.id,
            "kind": self.kind,
            "order": self.order,
            "name": self.name,
            "chainage_m": round(self.chainage_m, 3),
            "width_m": round(self.width_m, 3),
            "left": position_row(self.left),
            "right": position_row(self.right),
            "surveyed": self.surveyed,
        }


def confirmed_place(gate: Gate) -> Gate:
    """Return a gate that somebody has placed: its place is no suggestion any longer."""
    if not gate.suggested:
        return gate
    rest = {name: value for name, value in gate.properties.items() if name != SUGGESTED}
    return replace(gate, properties=rest)


@dataclass(frozen=True)
class Corner:
    """A corner, numbered in racing direction from the finish gate.

    Parameters
    ----------
    number, name
        The number counts from 1; a name is for people and may be empty.
    turn
        Which way the driver turns.
    apex
        Place of the smallest radius, (longitude, latitude), degrees.
    entry_m, apex_m, exit_m
        Chainages, metres.
    min_radius_m
        Smallest radius of the centreline in the corner, metres.
    id
        Of its feature in the file.
    properties, members
        Of its feature in the file: those that trackkit does not know.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> corner = track.corners[0]
    >>> corner.number, corner.turn, corner.entry_m < corner.apex_m < corner.exit_m
    (1, 'right', True)
    """

    number: int
    name: str
    turn: Literal["left", "right"]
    apex: Position
    entry_m: float
    apex_m: float
    exit_m: float
    min_radius_m: float
    id: str = ""
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        where = f"{self.entry_m:,.1f} to {self.exit_m:,.1f} m"
        name = f" {reprlib.repr(self.name)}" if self.name else ""
        return (
            f"Corner({self.number}{name}, {self.turn}, {where}, radius {self.min_radius_m:.1f} m)"
        )

    def as_row(self) -> dict[str, Any]:
        """Write the corner as JSON.

        Returns
        -------
        dict
            The fields by name; lengths in metres, to a centimetre.
        """
        return {
            "number": self.number,
            "name": self.name,
            "turn": self.turn,
            "entry_m": round(self.entry_m, 2),
            "apex_m": round(self.apex_m, 2),
            "exit_m": round(self.exit_m, 2),
            "min_radius_m": round(self.min_radius_m, 2),
        }


@dataclass(frozen=True)
class Disagreement:
    """A member of a track file that is not what geometry says.

    Parameters
    ----------
    feature
        Id of the feature it is about, or None for the track itself.
    member
        Its name in the file: ``order``, ``chainage_m``, ``width_m``, ``length_m`` or
        ``direction``.
    stated, actual
        What the file has, and what follows from the positions.
    """

    feature: str | None
    member: str
    stated: float | str | None
    actual: float | str | None


@dataclass(frozen=True, eq=False)
class PitLane:
    """A line drivers take through the pits, in the direction they take it.

    Parameters
    ----------
    id
        Given once, as a gate's.
    longitude_deg, latitude_deg
        Vertices, degrees, shape (n,); longitudes continuous across the antimeridian.
    height_m
        Heights of the vertices, metres, shape (n,), or None.
    properties, members
        Of its feature in the file: those that trackkit does not know.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> longitude, latitude = [83.351, 83.352], [38.722, 38.722]
    >>> pits, _ = trackkit.set_pit_lane(track, longitude, latitude)
    >>> pits.pit_lanes[0].longitude_deg.round(4).tolist()
    [83.351, 83.352]
    """

    id: str
    longitude_deg: Floats
    latitude_deg: Floats
    height_m: Floats | None = None
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"PitLane({reprlib.repr(self.id)}, {_line_repr(self)})"


@dataclass(frozen=True)
class Crossover:
    """A bridge: two chainages at the same place, one above the other."""

    over_m: float
    under_m: float
    members: Mapping[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Crossover(over_m={self.over_m:.1f}, under_m={self.under_m:.1f})"

    def as_row(self) -> dict[str, Any]:
        """Return the bridge as JSON; chainages to a centimetre."""
        return {"over_m": round(self.over_m, 2), "under_m": round(self.under_m, 2)}


def _line_repr(line: Centreline | PitLane) -> str:
    count = f"{len(line.longitude_deg):,} positions"
    if len(line.longitude_deg) == 0:
        return count
    return f"{count} from ({line.longitude_deg[0]:.5f}, {line.latitude_deg[0]:.5f})"


def position_row(position: Position) -> list[float]:
    """Return a position as JSON: longitude and latitude, degrees, to about a millimetre."""
    return [round(value, DEGREE_DECIMALS) for value in position]


def require_positions(longitude_deg: Floats, latitude_deg: Floats, place: str) -> None:
    """Refuse what is no longitude and latitude in degrees; arrays of shape (n,).

    Raises
    ------
    TrackFileError
        When one is no finite number or out of range.
    """
    longitude, latitude = np.asarray(longitude_deg), np.asarray(latitude_deg)
    bad = ~(np.isfinite(longitude) & np.isfinite(latitude)) | (np.abs(latitude) > 90)
    bad |= np.abs(longitude) > 540
    if np.any(bad):
        index = int(np.argmax(bad))
        raise TrackFileError(
            f"position {index + 1} ({longitude[index]}, {latitude[index]}) is not a longitude "
            "and latitude in degrees",
            place=place,
            remedy="positions are written longitude first (RFC 7946)",
        )
