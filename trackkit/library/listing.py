"""The known circuits as a list, chosen by country, name and place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trackkit.errors import PlaceError
from trackkit.library.folders import Library, open_library
from trackkit.library.known import Atlas, Known


@dataclass(frozen=True)
class Listed:
    """A known circuit in a list.

    Parameters
    ----------
    circuit
        What the index holds of it.
    distance_m
        From the place that was asked for to its centreline, metres; None without a place.

    Examples
    --------
    >>> import trackkit
    >>> listed = trackkit.list_library(name="pipwick")
    >>> [(row.circuit.id, row.distance_m) for row in listed]
    [('pipwick-kart-circuit', None)]
    """

    circuit: Known
    distance_m: float | None

    def __repr__(self) -> str:
        away = "" if self.distance_m is None else f", {self.distance_m:,.1f} m away"
        return f"Listed({self.circuit!r}{away})"

    def as_row(self) -> dict[str, Any]:
        """Return the circuit as JSON; its distance to a millimetre.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        if self.distance_m is None:
            return self.circuit.as_row()
        return self.circuit.as_row() | {"distance_m": round(self.distance_m, 3)}


def list_library(
    library: Library | None = None,
    *,
    country: str | None = None,
    name: str | None = None,
    near: tuple[float, float] | None = None,
    within_m: float | None = None,
) -> list[Listed]:
    """List the known circuits.

    Parameters
    ----------
    library
        What is known; None for that of `open_library`.
    country
        Only circuits of this country (ISO 3166, two letters).
    name
        Only circuits with this in their id, name or layout, whatever the case.
    near
        Longitude and latitude, degrees: the nearest to it come first.
    within_m
        Only circuits as near to it as this, metres.

    Returns
    -------
    list of Listed
        In the order of the folders, or the nearest first.

    Raises
    ------
    PlaceError
        When a distance is given and no place.
    TrackkitError
        When a library cannot be opened.

    Examples
    --------
    >>> import trackkit
    >>> library = trackkit.open_library()
    >>> near = trackkit.list_library(library, near=(83.352, 38.7215), within_m=2000.0)
    >>> [row.circuit.name for row in near]
    ['Pipwick Kart Circuit']
    """
    if within_m is not None and near is None:
        raise PlaceError("a distance is from a place", remedy="say near which place, too")
    wanted = (name or "").casefold()
    atlas = Atlas.of(
        circuit
        for circuit in (open_library() if library is None else library).tracks()
        if (country is None or (circuit.country or "").casefold() == country.casefold())
        and any(wanted in text.casefold() for text in (circuit.id, circuit.name, circuit.layout))
    )
    if near is None:
        return [Listed(circuit, None) for circuit in atlas.circuits]
    return [
        Listed(circuit, away)
        for circuit, away in atlas.distances(*near)
        if within_m is None or away <= within_m
    ]
