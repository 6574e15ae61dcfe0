"""Many circuits on one HTML page: a map of all of them, and a list to find one in."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import numpy as np

from trackkit.caution import CAUTION
from trackkit.checks.check import check_track
from trackkit.checks.verdict import Judgement, judge_track
from trackkit.files import write_whole
from trackkit.pages.assets import (
    leaflet_notice,
    leaflet_script,
    leaflet_style,
    own_file,
    own_notice,
    safe_in_element,
)
from trackkit.pages.html import document_text, policy, require_mercator
from trackkit.track.credit import credits_of
from trackkit.track.model import Track
from trackkit.units import units

_SIMPLER_M = 2.0
_DECIMALS = 6


@dataclass(frozen=True, eq=False)
class Listing:
    """A circuit on the page, and the page of its own that a click leads to.

    Parameters
    ----------
    track
        The circuit.
    page
        The file, from the folder of the page of all of them.
    judgement
        The verdict on it that is shown; None to judge it anew.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> listing = trackkit.Listing(track, "pipwick-kart-circuit.html")
    >>> listing
    Listing('pipwick-kart-circuit', 'pipwick-kart-circuit.html')
    """

    track: Track
    page: str
    judgement: Judgement | None = None

    def __repr__(self) -> str:
        return f"Listing({self.track.id[:40]!r}, {self.page[:40]!r})"


def circuits_html(listings: Iterable[Listing], *, title: str = "Circuits") -> str:
    """Draw many circuits on one HTML page that works with no network at all.

    They are found by name, country and distance from a place.

    Parameters
    ----------
    listings
        The circuits, and where the page of each is.
    title
        Heading of the page.

    Returns
    -------
    str
        The page, circuits in order of their names.  The same input gives the same page.

    Raises
    ------
    OutputError
        When a track lies beyond 85 degrees of latitude.
    """
    from jinja2 import Environment

    ordered = sorted(
        listings,
        key=lambda listing: (listing.track.name.casefold(), listing.track.layout, listing.track.id),
    )
    for listing in ordered:
        require_mercator(listing.track.name, listing.track.centreline.latitude_deg)
    scripts = [
        leaflet_script(),
        safe_in_element(own_file("bundle.js")),
        "trackkit.openCircuits();",
    ]
    styles = [leaflet_style(), safe_in_element(own_file("bundle.css"))]
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    page = environment.from_string(own_file("circuits.html")).render(
        policy=policy(scripts, styles),
        title=title,
        notices=[leaflet_notice(), own_notice()],
        styles=styles,
        scripts=scripts,
        rows=[_row(listing) for listing in ordered],
        countries=_countries(ordered),
        units=units(),
        documents=[
            ("units", document_text(units().as_row())),
            ("circuits", document_text([_circuit(listing.track) for listing in ordered])),
        ],
        caution=CAUTION,
        credits=dict.fromkeys(text for row in ordered for text in credits_of(row.track)),
    )
    return page.encode("utf-8", "replace").decode("utf-8")


def write_circuits(
    listings: Iterable[Listing],
    path: str | os.PathLike[str],
    *,
    title: str = "Circuits",
    force: bool = False,
) -> None:
    """Write `circuits_html` to a file, whole or not at all.

    Parameters
    ----------
    listings
        The circuits, and where the page of each is.
    path
        The file.
    title
        Heading of the page.
    force
        Whether a file that exists may be replaced.

    Raises
    ------
    OutputError
        When the file exists and `force` is false, or cannot be written; when a track lies beyond
        85 degrees of latitude.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> listings = [trackkit.Listing(track, "pipwick.html")]
    >>> trackkit.write_circuits(listings, "circuits.html", force=True)
    """
    write_whole(path, circuits_html(listings, title=title), force=force)


def _countries(listings: Sequence[Listing]) -> list[str]:
    return sorted({listing.track.country or "" for listing in listings})


def _row(listing: Listing) -> dict[str, Any]:
    track = listing.track
    judgement = listing.judgement or judge_track(track, check_track(track))
    return {
        "verdict": "fit to hand on" if judgement.fit else "not fit to hand on",
        "letters": judgement.letters,
        "title": track.title,
        "country": track.country,
        "direction": track.direction,
        "length": f"{units().length_per_m * track.length_m:,.0f}",
        "page": quote(listing.page),
    }


def _circuit(track: Track) -> dict[str, Any]:
    """Take from a track what the page's script needs: what to find it by, and a line to draw."""
    import shapely

    line = track.centreline
    places = track.plane.to_plane(line.longitude_deg, line.latitude_deg)
    simpler = shapely.get_coordinates(
        shapely.simplify(shapely.linestrings(places), _SIMPLER_M, preserve_topology=False)
    )
    longitude, latitude = track.plane.to_geographic(simpler)
    near = float(line.longitude_deg[0])
    longitude = near + (np.asarray(longitude) - near + 180.0) % 360.0 - 180.0
    return {
        "name": track.title,
        "country": track.country,
        "words": f"{track.name} {track.layout} {track.id}".lower(),
        "line": [
            [round(x, _DECIMALS), round(y, _DECIMALS)]
            for x, y in zip(longitude.tolist(), np.asarray(latitude).tolist(), strict=True)
        ],
    }
