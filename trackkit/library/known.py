"""Which known circuit a position is at: exact distances, and what they mean."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from numpy.typing import ArrayLike

from trackkit.arrays import Floats, Indices
from trackkit.library.lines import Lines, pack
from trackkit.library.nearest import nearest_few
from trackkit.track.title import title_of

if TYPE_CHECKING:
    from trackkit.track.model import Track


AT_WITHIN_M = 30.0
"""A fix this close to the centreline, or within the band, is at the circuit."""
DEFAULT_RADIUS_M = 5000.0
NAMED = 3
"""How many of the nearest are named, where nothing else is asked for."""

Answer = Literal["at", "near", "none"]


@dataclass(frozen=True, eq=False)
class Known:
    """What locating needs to know of a track.

    Parameters
    ----------
    longitude_deg, latitude_deg
        Vertices of the centreline in racing direction, degrees, shape (n,).
    band_m
        Width of the band where cars run, metres.
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

    @property
    def at_within_m(self) -> float:
        """Distance from the centreline within which one is at the circuit, metres."""
        return max(AT_WITHIN_M, 0.5 * self.band_m)

    @property
    def title(self) -> str:
        """Name and layout, as people say them."""
        return title_of(self.name, self.layout)

    def as_row(self) -> dict[str, Any]:
        """Return the track as JSON, without its line."""
        return {
            "id": self.id,
            "name": self.name,
            "layout": self.layout,
            "direction": self.direction,
            "length_m": self.length_m,
            "country": self.country,
            "file": str(self.path),
        }


def known_from(track: Track, path: Path) -> Known:
    """Take from a track what locating needs."""
    line = track.centreline
    return Known(
        id=track.id,
        name=track.name,
        layout=track.layout,
        direction=track.direction,
        country=track.country,
        closed=track.closed,
        length_m=track.length_m,
        band_m=track.band_m,
        path=path,
        longitude_deg=line.longitude_deg,
        latitude_deg=line.latitude_deg,
    )


@dataclass(frozen=True)
class Candidate:
    """A known circuit, how far its centreline is, and how probable it is after a drive.

    `reversed` says that the drive went against the racing direction of the file; `direction` is
    then the one that was driven.
    """

    id: str
    name: str
    layout: str
    direction: str | None
    distance_m: float
    probability: float | None = None
    reversed: bool = False

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
    """

    answer: Answer
    candidates: tuple[Candidate, ...]
    tied: tuple[str, ...]
    part_at_m: float | None = None
    unknown: float | None = None

    def as_row(self) -> dict[str, Any]:
        """Return the answer as JSON."""
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

    known: tuple[Known, ...]

    @classmethod
    def of(cls, known: Iterable[Known]) -> Atlas:
        """Hold some tracks, in order of their ids."""
        return cls(tuple(sorted(known, key=lambda one: one.id)))

    @cached_property
    def lines(self) -> Lines:
        """Their centrelines, cut into pieces."""
        return pack([(one.longitude_deg, one.latitude_deg) for one in self.known])

    @cached_property
    def _fine(self) -> Lines:
        return pack([(one.longitude_deg, one.latitude_deg) for one in self.known], fine=True)

    @cached_property
    def _within_m(self) -> float:
        return max((one.at_within_m for one in self.known), default=AT_WITHIN_M)

    def locate(
        self,
        longitude_deg: float,
        latitude_deg: float,
        *,
        radius_m: float = DEFAULT_RADIUS_M,
        most: int = NAMED,
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
        """
        found, distance = nearest_few(self.lines, longitude_deg, latitude_deg, most, self._within_m)
        ranked = [(self.known[one], away) for one, away in zip(found, distance, strict=True)]
        at = tuple(one.id for one, away in ranked if away <= one.at_within_m)
        answer: Answer = "none"
        if at:
            answer = "at"
        elif ranked and ranked[0][1] <= radius_m:
            answer = "near"
        return Located(
            answer,
            tuple(
                Candidate(one.id, one.name, one.layout, one.direction, away)
                for one, away in ranked[: max(most, len(at))]
            ),
            at if len(at) > 1 else (),
        )

    def nearest(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Indices, Floats]:
        """Find the track nearest to each of many positions; see `library.nearest_many.nearest`.

        Returns
        -------
        which, distance_m
            Index into `known`, and metres, shape (n,).
        """
        from trackkit.library.nearest_many import nearest

        return nearest(self._fine, longitude_deg, latitude_deg)

    def distances(self, longitude_deg: float, latitude_deg: float) -> list[tuple[Known, float]]:
        """Measure to every track, nearest first, metres."""
        found, distance = nearest_few(
            self.lines, longitude_deg, latitude_deg, len(self.known), self._within_m
        )
        return [(self.known[one], away) for one, away in zip(found, distance, strict=True)]

    def near(self, longitude_deg: float, latitude_deg: float, radius_m: float) -> list[Known]:
        """List the tracks within a distance of a position, up to 100 km."""
        found, distance = nearest_few(self.lines, longitude_deg, latitude_deg, 1, radius_m)
        return [
            self.known[one] for one, away in zip(found, distance, strict=True) if away <= radius_m
        ]


def first_of_each_id(folders: Iterable[Sequence[Known]]) -> list[Known]:
    """Of two tracks with one id keep the first."""
    kept: dict[str, Known] = {}
    for folder in folders:
        for one in folder:
            kept.setdefault(one.id, one)
    return list(kept.values())
