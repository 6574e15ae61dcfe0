"""A track: its centreline, gates and corners."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import PlaceError, TrackFileError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane, geodesic_distance
from trackkit.geometry.shape import Direction
from trackkit.remedies import Remedy
from trackkit.track.title import title_of

GateKind = Literal["finish", "start", "sector", "speed", "pit-entry", "pit-exit"]
GATE_KINDS: tuple[GateKind, ...] = ("finish", "start", "sector", "speed", "pit-entry", "pit-exit")
Position = tuple[float, float]
"""Longitude and latitude, degrees."""

DEGREE_DECIMALS = 8
"""Of positions: about 1 mm, because headings are read from neighbouring vertices."""
OPEN_END_M = 20.0
"""Where the start and finish gates of a point-to-point course go: this far from its ends."""
ASSUMED_BAND_M = 12.0
"""Width around the centreline where cars run, taken where nothing is known (metres)."""


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
        Rows of (chainage_m, left_m, right_m), or None.
    """

    longitude_deg: Floats
    latitude_deg: Floats
    closed: bool
    height_m: Floats | None = None
    width_m: float | None = None
    width_profile: tuple[tuple[float, float, float], ...] | None = None
    id: str = "centreline"
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.longitude_deg) < 2 or len(self.longitude_deg) != len(self.latitude_deg):
            raise TrackFileError(
                f"a centreline of {len(self.longitude_deg)} positions is no line",
                place="feature centreline",
            )
        _require_positions(self.longitude_deg, self.latitude_deg, "feature centreline")

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
    """

    id: str
    kind: GateKind
    name: str
    left: Position
    right: Position
    order: int = 0
    chainage_m: float = 0.0
    surveyed: bool = False
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        place = f"gate {self.id}"
        if self.kind not in GATE_KINDS:
            raise TrackFileError(
                f"the kind {self.kind!r} is not one of {', '.join(GATE_KINDS)}", place=place
            )
        longitudes = np.array([self.left[0], self.right[0]])
        _require_positions(longitudes, np.array([self.left[1], self.right[1]]), place)
        if self.left == self.right:
            raise TrackFileError("both ends of the gate are the same position", place=place)

    @property
    def width_m(self) -> float:
        """Distance between the ends, metres."""
        return float(geodesic_distance(*self.left, *self.right))

    def as_row(self) -> dict[str, Any]:
        """Return the gate as JSON; lengths to a millimetre, positions as longitude and latitude."""
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

    def as_row(self) -> dict[str, Any]:
        """Return the corner as JSON; lengths to a centimetre."""
        return {
            "number": self.number,
            "name": self.name,
            "turn": self.turn,
            "entry_m": round(self.entry_m, 2),
            "apex_m": round(self.apex_m, 2),
            "exit_m": round(self.exit_m, 2),
            "min_radius_m": round(self.min_radius_m, 2),
        }


@dataclass(frozen=True, eq=False)
class PitLane:
    """A line drivers take through the pits, in the direction they take it."""

    id: str
    longitude_deg: Floats
    latitude_deg: Floats
    height_m: Floats | None = None
    properties: Mapping[str, Any] = field(default_factory=dict)
    members: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Crossover:
    """A bridge: two chainages at the same place, one above the other."""

    over_m: float
    under_m: float
    members: Mapping[str, Any] = field(default_factory=dict)

    def as_row(self) -> dict[str, Any]:
        """Return the bridge as JSON; chainages to a centimetre."""
        return {"over_m": round(self.over_m, 2), "under_m": round(self.under_m, 2)}


@dataclass(frozen=True, eq=False)
class Track:
    """One layout of a circuit, driven one way, or a course from one point to another.

    `length_m` and `direction` are what the file declares; `curve` is the geometry itself.
    Members of the file that trackkit does not know are kept in `members` (of the ``track``
    object), `foreign` (of the collection) and `other_features`; `version` is that of the file,
    which may be a newer minor one.
    """

    id: str
    name: str
    centreline: Centreline
    length_m: float
    layout: str = ""
    direction: Direction | None = None
    length_surface_m: float | None = None
    line: Literal["driven", "centre"] = "driven"
    gates: tuple[Gate, ...] = ()
    corners: tuple[Corner, ...] = ()
    pit_lanes: tuple[PitLane, ...] = ()
    crossovers: tuple[Crossover, ...] = ()
    country: str | None = None
    timezone: str | None = None
    licence: str | None = None
    revised: str = ""
    history: tuple[Mapping[str, Any], ...] = ()
    sources: tuple[Mapping[str, Any], ...] = ()
    accuracy_m: float | None = None
    accepted: tuple[Mapping[str, Any], ...] = ()
    notes: str = ""
    members: Mapping[str, Any] = field(default_factory=dict)
    foreign: Mapping[str, Any] = field(default_factory=dict)
    other_features: tuple[Mapping[str, Any], ...] = ()
    version: str = "1.0"

    @property
    def title(self) -> str:
        """Name and layout, as people say them."""
        return title_of(self.name, self.layout)

    @property
    def closed(self) -> bool:
        """Whether the track is a lap rather than a course from one point to another."""
        return self.centreline.closed

    @property
    def plane(self) -> LocalPlane:
        """The plane all geometry of this track is computed in."""
        return self.centreline.plane

    @property
    def curve(self) -> Curve:
        """The spline through the centreline's vertices; its chainage 0 is the first vertex."""
        return self.centreline.curve

    @property
    def band_m(self) -> float:
        """Width of the band where cars run, metres; `ASSUMED_BAND_M` where unknown."""
        return self.centreline.width_m or ASSUMED_BAND_M

    def gate_ends(self, gate: Gate) -> Floats:
        """Left and right end of a gate on the plane, shape (2, 2), metres."""
        return self.plane.to_plane([gate.left[0], gate.right[0]], [gate.left[1], gate.right[1]])

    def gates_of_kind(self, *kinds: GateKind) -> tuple[Gate, ...]:
        """Gates of some kinds, in order of chainage."""
        chosen = (gate for gate in self.gates if gate.kind in kinds)
        return tuple(sorted(chosen, key=lambda gate: gate.chainage_m))

    @property
    def finish(self) -> Gate:
        """The finish gate.

        Raises
        ------
        PlaceError
            When the track has none.
        """
        return self._only("finish")

    @property
    def timed_from(self) -> Gate:
        """The gate a lap begins at: the finish gate of a lap, the start gate of a course."""
        return self._only("finish" if self.closed else "start")

    def _only(self, kind: GateKind) -> Gate:
        gates = self.gates_of_kind(kind)
        if not gates:
            raise PlaceError(
                f"the track {self.name!r} has no {kind} gate",
                remedy=Remedy(
                    f"place a {kind} gate",
                    do="gate place",
                    chainage_m=end_gate_m(self, kind),
                    value={"kind": kind},
                ),
            )
        return gates[0]

    def gate(self, id_or_name: str) -> Gate:
        """Find a gate by its id, or else by its name whatever its capitals.

        Raises
        ------
        PlaceError
            When no gate, or more than one, answers to it.
        """
        by_id = [gate for gate in self.gates if gate.id == id_or_name]
        wanted = id_or_name.casefold()
        found = by_id or [gate for gate in self.gates if gate.name.casefold() == wanted]
        if len(found) == 1:
            return found[0]
        if found:
            raise PlaceError(
                f"{len(found)} gates are called {id_or_name!r}",
                remedy="use an id: " + ", ".join(gate.id for gate in found),
            )
        known = ", ".join(f"{gate.id} ({gate.name})" for gate in self.gates) or "none"
        raise PlaceError(f"no gate is called {id_or_name!r}", remedy=f"the gates are: {known}")

    def with_gates(self, gates: Iterable[Gate]) -> Track:
        """Return the track with other gates, in order of chainage and numbered in that order.

        A closed track's finish gate comes first.
        """
        ordered = sorted(
            gates,
            key=lambda gate: (self.closed and gate.kind != "finish", gate.chainage_m),
        )
        return replace(self, gates=tuple(replace(gate, order=n) for n, gate in enumerate(ordered)))

    def as_row(self) -> dict[str, Any]:
        """Return as JSON which track it is, as its file says; lengths to a millimetre."""
        surface_m = self.length_surface_m
        return {
            "id": self.id,
            "name": self.name,
            "layout": self.layout,
            "closed": self.closed,
            "direction": self.direction,
            "length_m": round(self.length_m, 3),
            "length_surface_m": None if surface_m is None else round(surface_m, 3),
            "line": self.line,
        }

    def revised_by(self, what: str, when: str, by: str | None = None) -> Track:
        """Return the track with one more line of history.

        Parameters
        ----------
        what
            What was done, a short sentence.
        when
            RFC 3339 time.
        by
            Who did it, or None.
        """
        entry = {"revised": when, "by": by, "what": what}
        return replace(self, revised=when, history=(*self.history, entry))


def position_row(position: Position) -> list[float]:
    """Return a position as JSON: longitude and latitude, degrees, to about a millimetre."""
    return [round(value, DEGREE_DECIMALS) for value in position]


def _require_positions(longitude_deg: Floats, latitude_deg: Floats, place: str) -> None:
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


def crossed_gates(track: Track) -> list[Gate]:
    """List the gates that laps are told by, and those that tell a speed."""
    pit_gates = track.gates_of_kind("pit-entry", "pit-exit")
    return [*timed_gates(track), *pit_gates, *track.gates_of_kind("speed")]


def timed_gates(track: Track) -> list[Gate]:
    """Gates in the order a lap crosses them, beginning with the one it begins at.

    A point-to-point course ends with its finish gate; on a closed track the lap ends where it
    began.
    """
    sectors = track.gates_of_kind("sector")
    if track.closed:
        return [track.finish, *sectors]
    return [track.timed_from, *sectors, track.finish]


def end_gate_m(track: Track, kind: GateKind) -> float:
    """Chainage at which a start or finish gate goes when nobody says where, metres.

    The finish gate of a closed track goes where its line begins; those of a point-to-point course
    `OPEN_END_M` from its ends, and outside of the sector gates there are.
    """
    if track.closed:
        return 0.0
    length = track.curve.length_m
    inset = min(OPEN_END_M, 0.02 * length)
    sectors = [gate.chainage_m for gate in track.gates_of_kind("sector")]
    if kind == "start":
        return min([inset, *(0.5 * at for at in sectors)])
    return max([length - inset, *(0.5 * (at + length) for at in sectors)])
