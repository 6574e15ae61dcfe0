"""A track: what it is called, its line, and what stands along it."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.errors import PlaceError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.shape import Direction
from trackkit.remedies import Remedy
from trackkit.track.accuracy import Verdict
from trackkit.track.features import (
    Centreline,
    Corner,
    Crossover,
    Disagreement,
    Gate,
    GateKind,
    PitLane,
)
from trackkit.track.ids import drawn_id, slug
from trackkit.track.measure import ends_chainage, find_corners, line_of, measure
from trackkit.track.title import title_of
from trackkit.views import view
from trackkit.words import counted

OPEN_END_M = 20.0
"""Where the start and finish gates of a point-to-point course go: this far from its ends."""
ASSUMED_BAND_M = 12.0
"""Width around the centreline where cars run, taken where nothing is known (metres)."""


FINISH_AT_DATUM_M = 0.5
"""How far from the first vertex of a closed line its finish gate may cross it (metres)."""


@dataclass(frozen=True, eq=False)
class Track:
    """One layout of a circuit, driven one way, or a course from one point to another.

    `length_m`, `direction` and the chainages and order of gates follow from the geometry, whatever
    a file says of them; `curve` is the geometry itself.
    Members of the file that trackkit does not know are kept in `members` (of the ``track``
    object), `foreign` (of the collection) and `other_features`; `version` is that of the file,
    which may be a newer minor one.

    Parameters
    ----------
    id, name, layout
        Which circuit and which layout of it.
    centreline
        The line, in racing direction.
    length_m
        Length of a lap, or of the course, metres.
    direction
        Racing direction; None for an open course and for a figure of eight.
    length_surface_m
        Length along the surface, at its height and slope, metres; None where heights are unknown.
    line
        Whether the centreline is averaged from driven laps or is the centre of the track.
    gates, corners
        In racing order.
    pit_lanes, crossovers
        In any order.
    country, timezone, licence
        Country code of two letters, time zone by name, licence in words; None where unknown.
    revised
        RFC 3339 time of the last change, or empty.
    history, sources, accepted
        Entries of the file: what was changed, what it was made of, findings that are accepted.
    accuracy_m
        One sigma of the centreline's sideways place, metres, or None where unknown; where there is
        an accuracy profile, the root mean square of it.
    notes
        For people.
    valid_from, valid_until
        First and last day on which the layout was driven as it is here, RFC 3339 dates, or None.
    replaces
        Id of the track whose layout this one has taken the place of, or None.
    verdict
        Whether it is fit to hand on, as it was judged last, or None; it may have changed since.
    members, foreign, other_features
        What trackkit does not know in the file: members of its ``track`` object, members of the
        collection, features.
    version
        Of the file's format, which may be a newer minor one.
    disagreements
        Where the file that was read says otherwise than its positions.  It is not written: saving
        writes what follows from the positions.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> track.title, round(track.length_m), track.direction
    ('Pipwick Kart Circuit', 933, 'clockwise')
    >>> [gate.name for gate in track.gates]
    ['Finish', 'Sector 1 end', 'Sector 2 end']
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
    valid_from: str | None = None
    valid_until: str | None = None
    replaces: str | None = None
    verdict: Verdict | None = None
    members: Mapping[str, Any] = field(default_factory=dict)
    foreign: Mapping[str, Any] = field(default_factory=dict)
    other_features: tuple[Mapping[str, Any], ...] = ()
    version: str = "1.0"
    disagreements: tuple[Disagreement, ...] = ()

    def __repr__(self) -> str:
        way = self.direction or ("a lap" if self.closed else "a course")
        called = f"{reprlib.repr(self.id)}, {reprlib.repr(self.title)}"
        counts = f"{counted(self.gates, 'gate')}, {counted(self.corners, 'corner')}"
        return f"Track({called}, {self.length_m:,.1f} m, {way}, {counts})"

    def _repr_html_(self) -> str | None:
        page: str | None = view("page", self)
        return page

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """The GeoJSON FeatureCollection of its file, for shapely, geopandas and such."""
        document: dict[str, Any] = view("document", self)
        return document

    @classmethod
    def from_arrays(
        cls,
        longitude_deg: ArrayLike,
        latitude_deg: ArrayLike,
        name: str,
        *,
        height_m: ArrayLike | None = None,
        layout: str = "",
        closed: bool = True,
        width_m: float | None = None,
        gates: Iterable[Gate] = (),
    ) -> Track:
        """Make a track of lists or arrays, one value a position.

        The positions become the vertices of the centreline as they are; `build_from_line` smooths
        a line drawn by hand.  Lengths, racing direction, bridges and corners are read from it.

        Parameters
        ----------
        longitude_deg, latitude_deg
            WGS 84 positions in racing direction, degrees, shape (n,), n at least 4; longitudes
            may leap at the antimeridian.  Chainage 0 is the first one.  A closed line may but
            need not repeat it at the end.
        name
            What to call the circuit; the track's id is made of it and of the layout.
        height_m
            Heights of the positions, metres, shape (n,), or None where unknown.
        layout
            What to call the layout.
        closed
            Whether the track is a lap rather than a course from one point to another.
        width_m
            Width of the band where cars run, metres, or None where unknown.
        gates
            Its gates; their chainages are read from their ends.  `place_gate` makes them too.

        Returns
        -------
        Track
            Which can be written as it is.

        Raises
        ------
        TrackFileError
            When there are fewer than 4 positions, a column is not one finite number a position,
            a position is not on earth or follows at the same place, or the width is not above 0.
        PlaceError
            When a gate does not cross the line, or the finish gate of a lap not where the line
            begins.

        Examples
        --------
        >>> track = Track.from_arrays([5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003], "Box")
        >>> track.direction
        'anticlockwise'
        """
        line = line_of(
            longitude_deg, latitude_deg, height_m, closed=closed, width_m=width_m, name=name
        )
        measured = measure(line)
        draft = cls(
            id=slug(f"{name} {layout}".strip()),
            name=name,
            layout=layout,
            centreline=line,
            length_m=measured.length_m,
            length_surface_m=measured.length_surface_m,
            direction=measured.direction,
            line="centre",
            crossovers=measured.crossovers,
        ).with_gates(_at_its_chainage(line, gate) for gate in gates)
        corners = find_corners(line, (), seed=id_seed(draft), taken=taken_ids(draft))
        return replace(draft, corners=corners)

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
        """Lay the ends of a gate on the plane.

        Parameters
        ----------
        gate
            The gate.

        Returns
        -------
        ndarray
            Left and right end, metres, shape (2, 2).
        """
        return self.plane.to_plane([gate.left[0], gate.right[0]], [gate.left[1], gate.right[1]])

    def gates_of_kind(self, *kinds: GateKind) -> tuple[Gate, ...]:
        """Choose the gates of some kinds.

        Parameters
        ----------
        *kinds
            Some of `GATE_KINDS`.

        Returns
        -------
        tuple of Gate
            In racing order.
        """
        chosen = (gate for gate in self.gates if gate.kind in kinds)
        return tuple(sorted(chosen, key=lambda gate: self.ahead_m(gate, self.gates)))

    def ahead_m(self, gate: Gate, gates: Iterable[Gate]) -> float:
        """Distance driven to a gate: from the finish gate of a lap, from a course's beginning.

        Parameters
        ----------
        gate
            The gate.
        gates
            Where the finish gate is found.  It lies at chainage 0, save in a file whose finish
            gate somebody has moved without its line.

        Returns
        -------
        float
            Metres, from 0 to the length of the lap.
        """
        if not self.closed:
            return gate.chainage_m
        begin = min((g.chainage_m for g in gates if g.kind == "finish"), default=0.0)
        if not begin:
            return gate.chainage_m
        return (gate.chainage_m - begin) % self.length_m

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

        Parameters
        ----------
        id_or_name
            The id or the name.

        Returns
        -------
        Gate
            The only one that answers to it.

        Raises
        ------
        PlaceError
            When no gate, or more than one, answers to it.
        """
        by_id = [gate for gate in self.gates if gate.id == id_or_name]
        wanted = id_or_name.casefold()
        gates = by_id or [gate for gate in self.gates if gate.name.casefold() == wanted]
        if len(gates) == 1:
            return gates[0]
        if gates:
            raise PlaceError(
                f"{len(gates)} gates are called {id_or_name!r}",
                remedy="use an id: " + ", ".join(gate.id for gate in gates),
            )
        listing = ", ".join(f"{gate.id} ({gate.name})" for gate in self.gates) or "none"
        raise PlaceError(f"no gate is called {id_or_name!r}", remedy=f"the gates are: {listing}")

    def with_gates(self, gates: Iterable[Gate]) -> Track:
        """Give the track other gates.

        Parameters
        ----------
        gates
            All of its gates, in any order.

        Returns
        -------
        Track
            Its gates in racing order and numbered in that order; a closed track's finish gate
            comes first.
        """
        every = tuple(gates)
        ordered = sorted(
            every,
            key=lambda gate: (self.closed and gate.kind != "finish", self.ahead_m(gate, every)),
        )
        numbered = tuple(replace(gate, order=n) for n, gate in enumerate(ordered))
        still = tuple(d for d in self.disagreements if d.feature is None)
        return replace(self, gates=numbered, disagreements=still)

    def as_row(self) -> dict[str, Any]:
        """Write as JSON which track it is, as its file says.

        Returns
        -------
        dict
            The fields by name; lengths in metres, to a millimetre.
        """
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

        Returns
        -------
        Track
            Revised at that time.
        """
        entry = {"revised": when, "by": by, "what": what}
        return replace(self, revised=when, history=(*self.history, entry))


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


def _at_its_chainage(line: Centreline, gate: Gate) -> Gate:
    beside = gate.kind in ("pit-entry", "pit-exit")
    chainage = ends_chainage(line, gate.left, gate.right, must_cross=not beside)
    if gate.kind == "finish" and line.closed:
        if line.curve.separation(chainage, 0.0) > FINISH_AT_DATUM_M:
            raise PlaceError(
                f"the finish gate {gate.id!r} crosses the line at {chainage:.1f} m",
                remedy="begin the line there, or place the gate once the track is made",
            )
        chainage = 0.0
    return replace(gate, chainage_m=chainage)


def id_seed(track: Track) -> str:
    """Say what ids are drawn from: which track it is, and how often it was changed.

    The same commands then give the same file, while a gate placed where another was removed gets
    another id.
    """
    return f"{track.id}/{len(track.history)}"


def new_id(track: Track, prefix: str, salt: str) -> str:
    """Make an id that no gate or corner of the track has or had; see `drawn_id`."""
    return drawn_id(prefix, salt, seed=id_seed(track), taken=taken_ids(track))


def taken_ids(track: Track) -> list[str]:
    """List the ids of a track's gates and corners, which no new feature may have."""
    return [*(gate.id for gate in track.gates), *(corner.id for corner in track.corners)]
