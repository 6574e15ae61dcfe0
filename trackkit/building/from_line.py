"""From a line already drawn to a whole track."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.assemble import assembled, end_remedies
from trackkit.building.build import Build
from trackkit.building.find_laps import SHORTEST_LAP_M
from trackkit.building.tell_accuracy import with_profile
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.smoothing import smoothed_curve
from trackkit.geometry.vectors import distance_along
from trackkit.remedies import Remedy
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.history import now
from trackkit.track.places import Place
from trackkit.underlay.accuracy import UNMEASURED_M

DRAWN_SIGMA_M = UNMEASURED_M
"""One sigma of a line of which nobody has said over what it was drawn."""


def build_from_line(
    longitude_deg: Floats,
    latitude_deg: Floats,
    name: str,
    *,
    layout: str = "",
    is_open: bool = False,
    elevation_m: Floats | None = None,
    finish: Place | None = None,
    sectors: int = 1,
    sources: Sequence[dict[str, Any]] = (),
    sigma_m: float | None = None,
) -> Build:
    """Make a track from a line already drawn.

    A line that ends within 25 m (or 3 % of its length, where that is less) of its beginning is
    closed.

    Parameters
    ----------
    longitude_deg, latitude_deg
        The line in racing direction, degrees, shape (n,); longitudes continuous across the
        antimeridian.
    name, layout
        What to call it.
    is_open
        Whether it is a course from one point to another.
    elevation_m
        Heights, metres, shape (n,), or None where unknown.
    finish
        Where the finish gate goes; chosen where None.
    sectors
        How many sectors; one fewer sector gates are placed.
    sources
        Where the line comes from, as the track file's ``sources``.
    sigma_m
        How well the line is known, metres, one sigma sideways; assumed where None.

    Returns
    -------
    Build
        The track and how it came about.

    Raises
    ------
    NoLapError
        When the line is not closed and `is_open` is false, or too short.
    PlaceError
        When `finish` is off the track, or `sectors` is less than 1.
    TrackFileError
        When `sigma_m` is no finite number of 0 or more.

    Examples
    --------
    >>> import numpy as np
    >>> import trackkit
    >>> turn = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    >>> longitude, latitude = 5.0 + 0.002 * np.cos(turn), 24.0 + 0.001 * np.sin(turn)
    >>> build = trackkit.build_from_line(longitude, latitude, "Practice Oval", sectors=2)
    >>> round(build.track.length_m, -1), len(build.track.gates)
    (1010.0, 2)
    """
    plane = LocalPlane.around(longitude_deg, latitude_deg)
    vertex = plane.to_plane(longitude_deg, latitude_deg)
    step = np.linalg.norm(np.diff(vertex, axis=0), axis=1)
    length, gap = float(step.sum()), float(np.linalg.norm(vertex[-1] - vertex[0]))
    if length < SHORTEST_LAP_M:
        raise NoLapError(
            f"the line is {length:.0f} m long; a track is {SHORTEST_LAP_M:.0f} or more"
        )
    if not is_open and gap > min(25.0, 0.03 * length):
        raise NoLapError(
            f"the line holds no whole lap: its end lies {gap:,.0f} m from its start",
            remedy=Remedy(
                "close the line, or build a course from one point to another", do="build open"
            ),
        )
    curve = smoothed_curve(densified(vertex, closed=not is_open), closed=not is_open)
    track, remarks = assembled(
        curve,
        plane,
        name,
        layout,
        None,
        finish=finish,
        sectors=sectors,
        sources=tuple(sources),
        drawn_heights=_drawn_heights(curve, vertex, elevation_m),
    )
    sigma = DRAWN_SIGMA_M if sigma_m is None else sigma_m
    places = (0.0,) if track.closed else (0.0, round(track.curve.length_m, 2))
    track = with_profile(track, tuple(AccuracyRow(place, sigma, "drawn") for place in places))
    if sigma_m is None:
        assumed = f"how well a drawn line is known is assumed: {sigma:.0f} m, one sigma sideways"
        remarks = (*remarks, assumed)
    track = track.revised_by("built from a drawn line", track.revised or now())
    return Build(track, 0, {}, remarks, remedies=end_remedies(track, finish))


def densified(vertex_m: Floats, *, closed: bool) -> Floats:
    """Round a drawn polyline's corners without letting a spline swing along its straights."""
    from scipy.interpolate import Akima1DInterpolator

    step = np.linalg.norm(np.diff(vertex_m, axis=0), axis=1)
    vertex = vertex_m[np.concatenate([[True], step > 0.01])]
    if closed and np.linalg.norm(vertex[-1] - vertex[0]) <= 0.01:
        vertex = vertex[:-1]
    count = len(vertex)
    margin = min(3, count - 1) if closed else 0
    around = (
        np.vstack([vertex[count - margin :], vertex, vertex[: margin + 1]]) if closed else vertex
    )
    distance = distance_along(around)
    if len(around) == 2:
        return around
    spline = Akima1DInterpolator(distance, around, method="makima")
    begin = distance[margin]
    end = distance[margin + count] if closed else distance[-1]
    samples = max(int(end - begin), 50)
    return np.asarray(spline(np.linspace(begin, end, samples, endpoint=not closed)))


def _drawn_heights(
    curve: Curve, vertex_m: Floats, elevation_m: Floats | None
) -> tuple[Floats, Floats] | None:
    if elevation_m is None or not np.all(np.isfinite(elevation_m)):
        return None
    where, _ = curve.project(vertex_m)
    order = np.argsort(where)
    chainage = curve.chainages(5.0)
    period = curve.length_m if curve.closed else None
    return chainage, np.interp(chainage, where[order], elevation_m[order], period=period)
