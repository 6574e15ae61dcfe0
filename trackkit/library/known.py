"""Which known circuit a position is at: exact distances, and what they mean."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from numpy.typing import ArrayLike

from trackkit.arrays import Floats, Indices
from trackkit.errors import TrackkitError
from trackkit.geometry.shape import chords_of, direction_by_turns, direction_of
from trackkit.library.lines import Lines, pack
from trackkit.library.nearest import nearest_few
from trackkit.track.accuracy import metres_of_kinds
from trackkit.track.stated import lengths_differ
from trackkit.track.title import title_of
from trackkit.track.validity import Validity, validity_on

if TYPE_CHECKING:
    from trackkit.track.model import Track


AT_WITHIN_M = 30.0
"""A fix this close to the centreline, or within the band, is at the circuit."""
DEFAULT_RADIUS_M = 5000.0
NAMED = 3
"""How many of the nearest are named, where nothing else is asked for."""

Answer = Literal["at", "near", "none"]
LineOrigin = Literal["driven", "drawn", "surveyed"]
"""How a line is known: from laps, as somebody drew it, or measured otherwise."""


@dataclass(frozen=True, eq=False)
class Known:
    """What locating needs to know of a track.

    Parameters
    ----------
    id, name, layout, direction, country, closed
        As the track has them.
    length_m
        Of the centreline, metres.
    path
        The track file.
    longitude_deg, latitude_deg
        Vertices of the centreline in racing direction, degrees, shape (n,).
    band_m
        Width of the band where cars run, metres.
    timezone, valid_from, valid_until, replaces
        As the track has them.
    origin
        How its line is known: ``driven``, ``drawn`` or ``surveyed``.
    credit
        What the track's sources ask to be said wherever it is shown; empty where nothing.

    Examples
    --------
    >>> import trackkit
    >>> circuit = trackkit.open_library().find("pipwick-kart-circuit")
    >>> circuit.title, round(circuit.length_m), circuit.closed
    ('Pipwick Kart Circuit', 933, True)
    """

    id: str
    name: str
    layout: str
    direction: str | None
    country: str | None
    closed: bool
    length_m: float
    band_m: float
    path: Path
    longitude_deg: Floats
    latitude_deg: Floats
    timezone: str | None = None
    valid_from: str | None = None
    valid_until: str | None = None
    replaces: str | None = None
    origin: LineOrigin = "drawn"
    credit: str = ""

    def __repr__(self) -> str:
        called = f"{reprlib.repr(self.id)}, {reprlib.repr(self.title)}"
        return f"Known({called}, {self.length_m:,.1f} m)"

    @property
    def at_within_m(self) -> float:
        """Distance from the centreline within which one is at the circuit, metres."""
        return max(AT_WITHIN_M, 0.5 * self.band_m)

    @property
    def title(self) -> str:
        """Name and layout, as people say them."""
        return title_of(self.name, self.layout)

    def as_row(self) -> dict[str, Any]:
        """Return the track as JSON, without its line.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "id": self.id,
            "name": self.name,
            "layout": self.layout,
            "direction": self.direction,
            "length_m": self.length_m,
            "country": self.country,
            "credit": self.credit or None,
            "file": str(self.path),
        }


def circuit_of(track: Track, path: Path) -> Known:
    """Take from a track what locating needs; what it says of its line is held against the line."""
    from trackkit.track.credit import credit_of

    line = track.centreline
    length_m, direction = track.length_m, track.direction
    # Straight between vertices, which is much quicker; files of trackkit hardly leave that.
    chords_m, turns = chords_of(line.longitude_deg, line.latitude_deg)
    driven = direction_by_turns(turns) if line.closed else None
    with suppress(TrackkitError):  # A line too short to be followed is as it is stated.
        if lengths_differ(length_m, chords_m):
            length_m = line.curve.length_m
        if direction != driven and (direction is None or isinstance(direction, str)):
            direction = direction_of(line.curve)
    return Known(
        id=track.id,
        name=track.name,
        layout=track.layout,
        direction=direction,
        country=track.country,
        closed=track.closed,
        length_m=length_m,
        band_m=track.band_m,
        path=path,
        longitude_deg=line.longitude_deg,
        latitude_deg=line.latitude_deg,
        timezone=track.timezone,
        valid_from=track.valid_from,
        valid_until=track.valid_until,
        replaces=track.replaces,
        origin=origin_of(track),
        credit=credit_of(track),
    )


def origin_of(track: Track) -> LineOrigin:
    """Tell how the line of a track is known; a centre that nobody has measured is drawn."""
    if track.line == "driven":
        return "driven"
    profile = track.centreline.accuracy_profile
    if not profile:
        return "drawn" if track.accuracy_m is None else "surveyed"
    metres = metres_of_kinds(profile, track.length_m, closed=track.closed)
    return "drawn" if metres["drawn"] > 0.5 * sum(metres.values()) else "surveyed"


@dataclass(frozen=True)
class Candidate:
    """A known circuit, how far its centreline is, and how probable it is after a drive.

    `reversed` says that the drive went against the racing direction of the file; `direction` is
    then the one that was driven.  `valid_from` and `valid_until` are as the track has them;
    `validity` says whether the layout is there today, or after a drive was there on its day, and is
    None from a `Locator`, which knows no day.  `origin` says how the line is known: ``driven``,
    ``drawn`` or ``surveyed``.  `credit` is what the track's sources ask to be said wherever it is
    shown; empty where nothing.
    """

    id: str
    name: str
    layout: str
    direction: str | None
    distance_m: float
    probability: float | None = None
    reversed: bool = False
    valid_from: str | None = None
    valid_until: str | None = None
    validity: Validity | None = None
    origin: LineOrigin = "drawn"
    credit: str = ""

    def __repr__(self) -> str:
        probable = "" if self.probability is None else f", probability {self.probability:.2f}"
        return f"Candidate({reprlib.repr(self.id)}, {self.distance_m:,.1f} m away{probable})"

    def as_row(self) -> dict[str, Any]:
        """Return the candidate as JSON; its distance to a millimetre."""
        return {
            "id": self.id,
            "name": self.name,
            "layout": self.layout,
            "direction": self.direction,
            "distance_m": round(self.distance_m, 3),
            "probability": None if self.probability is None else round(self.probability, 4),
            "reversed": self.reversed,
            "valid_from": self.valid_from,
            "valid_until": self.valid_until,
            "validity": self.validity,
            "origin": self.origin,
            "credit": self.credit or None,
        }


@dataclass(frozen=True)
class Located:
    """Which known circuit a place is at.

    Parameters
    ----------
    answer
        "at" within the band or 30 m of a centreline, "near" within the radius asked for, or
        "none".
    candidates
        The nearest few tracks, nearest first, however far.
    tied
        Ids of the tracks between which a single fix cannot tell: all that it is at.  After a
        drive: those it is still open between.
    part_at_m
        After a drive: where ahead the first two of these part, chainage on the first.
    unknown
        After a drive: the probability that it is on no known line.

    Examples
    --------
    >>> import trackkit
    >>> located = trackkit.locate((83.35206, 38.72159))
    >>> located.answer, located.candidates[0].name
    ('at', 'Pipwick Kart Circuit')
    """

    answer: Answer
    candidates: tuple[Candidate, ...]
    tied: tuple[str, ...]
    part_at_m: float | None = None
    unknown: float | None = None

    def __repr__(self) -> str:
        nearest = f", nearest {self.candidates[0]!r}" if self.candidates else ""
        tied = f", {len(self.tied)} tied" if self.tied else ""
        return f"Located({self.answer!r}{nearest}{tied})"

    def as_row(self) -> dict[str, Any]:
        """Return the answer as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "answer": self.answer,
            "candidates": [candidate.as_row() for candidate in self.candidates],
            "tied": list(self.tied),
            "part_at_m": None if self.part_at_m is None else round(self.part_at_m, 1),
            "unknown": None if self.unknown is None else round(self.unknown, 4),
        }


@dataclass(frozen=True, eq=False)
class Atlas:
    """Known tracks held in memory, for many positions."""

    circuits: tuple[Known, ...]

    @classmethod
    def of(cls, circuits: Iterable[Known]) -> Atlas:
        """Hold some tracks, in order of their ids."""
        return cls(tuple(sorted(circuits, key=lambda circuit: circuit.id)))

    @cached_property
    def lines(self) -> Lines:
        """Their centrelines, cut into pieces."""
        return self._packed(fine=False)

    @cached_property
    def _fine(self) -> Lines:
        return self._packed(fine=True)

    def _packed(self, *, fine: bool) -> Lines:
        return pack([(c.longitude_deg, c.latitude_deg) for c in self.circuits], fine=fine)

    @cached_property
    def _within_m(self) -> float:
        return max((circuit.at_within_m for circuit in self.circuits), default=AT_WITHIN_M)

    def locate(
        self,
        longitude_deg: float,
        latitude_deg: float,
        *,
        radius_m: float = DEFAULT_RADIUS_M,
        most: int = NAMED,
        moment: datetime | None = None,
    ) -> Located:
        """Find the tracks nearest to a position.

        Distances are geodesic, to the nearest point of each centreline, whose segments are
        geodesics; right to 0.05 m everywhere.

        Parameters
        ----------
        longitude_deg, latitude_deg
            The position.
        radius_m
            Within this of the nearest centreline the answer is "near".
        most
            How many candidates to name; every tied track is named in any case.
        moment
            For which candidates say whether they are valid, with a time zone; now when None.
        """
        ranked = self._nearest_few(longitude_deg, latitude_deg, most, self._within_m)
        at = tuple(circuit.id for circuit, away in ranked if away <= circuit.at_within_m)
        answer: Answer = "none"
        if at:
            answer = "at"
        elif ranked and ranked[0][1] <= radius_m:
            answer = "near"
        moment = datetime.now(UTC) if moment is None else moment
        validity = validity_on([circuit for circuit, _ in ranked], moment, longitude_deg)
        named = list(zip(ranked, validity, strict=True))[: max(most, len(at))]
        return Located(
            answer,
            tuple(
                Candidate(
                    circuit.id,
                    circuit.name,
                    circuit.layout,
                    circuit.direction,
                    away,
                    valid_from=circuit.valid_from,
                    valid_until=circuit.valid_until,
                    validity=there,
                    origin=circuit.origin,
                    credit=circuit.credit,
                )
                for (circuit, away), there in named
            ),
            at if len(at) > 1 else (),
        )

    def nearest(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Indices, Floats]:
        """Find the track nearest to each of many positions; see `library.nearest_many.nearest`.

        Returns
        -------
        which, distance_m
            Index into `circuits`, and metres, shape (n,).
        """
        from trackkit.library.nearest_many import nearest

        return nearest(self._fine, longitude_deg, latitude_deg)

    def distances(self, longitude_deg: float, latitude_deg: float) -> list[tuple[Known, float]]:
        """Measure to every track, nearest first, metres."""
        return self._nearest_few(longitude_deg, latitude_deg, len(self.circuits), self._within_m)

    def near(self, longitude_deg: float, latitude_deg: float, radius_m: float) -> list[Known]:
        """List the tracks within a distance of a position, up to 100 km."""
        ranked = self._nearest_few(longitude_deg, latitude_deg, 1, radius_m)
        return [circuit for circuit, away in ranked if away <= radius_m]

    def _nearest_few(
        self, longitude_deg: float, latitude_deg: float, most: int, within_m: float
    ) -> list[tuple[Known, float]]:
        lines, distance = nearest_few(self.lines, longitude_deg, latitude_deg, most, within_m)
        return [(self.circuits[line], away) for line, away in zip(lines, distance, strict=True)]


def first_of_each_id(folders: Iterable[Sequence[Known]]) -> list[Known]:
    """Of two tracks with one id keep the first."""
    kept: dict[str, Known] = {}
    for folder in folders:
        for circuit in folder:
            kept.setdefault(circuit.id, circuit)
    return list(kept.values())
