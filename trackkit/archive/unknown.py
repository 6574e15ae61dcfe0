"""Recordings that no known circuit matches, by place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from trackkit.words import counted

_ONE_PLACE_M = 3_000.0
"""Recordings that begin so near each other are of one place: circuits are some 1 to 6 km long."""


@dataclass(frozen=True)
class UnknownPlace:
    """Recordings of one place whose circuit is not known, or not settled.

    Parameters
    ----------
    longitude_deg, latitude_deg
        Where the first of them begins, degrees.
    files
        Where they lay when they were added.
    reasons
        Why they were not timed, each reason once.
    first, last
        When the first and the last of them began, UTC; None where no recording knows.
    duration_s
        Of all together, seconds.

    Examples
    --------
    >>> import trackkit
    >>> place = trackkit.UnknownPlace(5.0, 24.0, ("a.nmea",), ("driven on no known circuit",))
    >>> len(place.files)
    1
    """

    longitude_deg: float
    latitude_deg: float
    files: tuple[str, ...]
    reasons: tuple[str, ...]
    first: datetime | None = None
    last: datetime | None = None
    duration_s: float = 0.0

    def __repr__(self) -> str:
        place = f"{self.latitude_deg:.5f}, {self.longitude_deg:.5f}"
        return f"UnknownPlace({place}, {counted(self.files, 'file')})"

    def as_row(self) -> dict[str, Any]:
        """Return it as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "position": [round(self.longitude_deg, 8), round(self.latitude_deg, 8)],
            "files": list(self.files),
            "reasons": list(self.reasons),
            "first": None if self.first is None else self.first.isoformat(),
            "last": None if self.last is None else self.last.isoformat(),
            "duration_s": self.duration_s,
        }


def unknown_places(rows: Sequence[Mapping[str, Any]]) -> tuple[UnknownPlace, ...]:
    """Gather recordings that begin near each other.

    Parameters
    ----------
    rows
        Of recordings, with file, reason, begun, duration_s, longitude_deg and latitude_deg.

    Returns
    -------
    tuple of UnknownPlace
        The one with most recordings first.
    """
    places: list[list[Mapping[str, Any]]] = []
    for row in rows:
        near = (members for members in places if _away_m(members[0], row) <= _ONE_PLACE_M)
        members = next(near, None)
        if members is None:
            places.append([row])
        else:
            members.append(row)
    return tuple(sorted(map(_place, places), key=lambda place: -len(place.files)))


def _away_m(first: Mapping[str, Any], second: Mapping[str, Any]) -> float:
    # Whoever asks for laps alone need not wait for what it stands on.
    from trackkit.geometry.geodesy import geodesic_distance

    ends = (first["longitude_deg"], first["latitude_deg"])
    return float(geodesic_distance(*ends, second["longitude_deg"], second["latitude_deg"]))


def _place(members: Sequence[Mapping[str, Any]]) -> UnknownPlace:
    moments = [row["begun"] for row in members if row["begun"] is not None]
    return UnknownPlace(
        longitude_deg=members[0]["longitude_deg"],
        latitude_deg=members[0]["latitude_deg"],
        files=tuple(row["file"] for row in members),
        reasons=tuple(dict.fromkeys(row["reason"] for row in members)),
        first=min(moments, default=None),
        last=max(moments, default=None),
        duration_s=sum(row["duration_s"] or 0.0 for row in members),
    )
