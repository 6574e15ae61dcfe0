"""What follows from a track's geometry: its stored line, corners and datum."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane, longitude_near
from trackkit.geometry.shape import direction_of
from trackkit.track.accuracy import begun_at
from trackkit.track.digest import keep_confirmed
from trackkit.track.features import Centreline, Gate, Position
from trackkit.track.measure import ends_chainage, find_corners, measure
from trackkit.track.model import Track, id_seed, taken_ids


def lay(
    curve: Curve,
    plane: LocalPlane,
    *,
    start_m: float = 0.0,
    heights: tuple[Floats, Floats] | None = None,
) -> Centreline:
    """Turn a curve into the stored polyline of a track.

    Parameters
    ----------
    curve, plane
        The line and the plane it lies on.
    start_m
        Chainage of the first vertex of a closed line (where the finish gate is), metres.
    heights
        Chainages and heights, metres, to interpolate the vertices' heights from.
    """
    if curve.closed and start_m:
        even = curve.chainages(min(0.5, curve.length_m / 400))
        turned = Curve.through(curve.position(start_m + even), closed=True)
        chainage = turned.sampled()
        vertex = turned.position(chainage)
        where = curve.wrap(start_m + chainage * (curve.length_m / turned.length_m))
    else:
        chainage = where = curve.sampled()
        vertex = curve.position(chainage)
    if curve.closed:
        vertex, where = np.vstack([vertex, vertex[:1]]), np.append(where, where[0])
    height = None
    if heights is not None and np.all(np.isfinite(heights[1])):
        period = curve.length_m if curve.closed else None
        height = np.interp(where, heights[0], heights[1], period=period)
    longitude, latitude = plane.to_geographic(vertex)
    return Centreline(longitude, latitude, curve.closed, height_m=height)


def with_line(
    draft: Track,
    curve: Curve,
    plane: LocalPlane,
    datum_m: float,
    heights: tuple[Floats, Floats] | None,
) -> Track:
    """Lay the line anew from its datum and derive what follows from the geometry.

    Profiles by chainage, of width and of accuracy, are those of another line, and are left out.

    Parameters
    ----------
    draft
        What is known of the track besides.
    curve, plane
        The line.
    datum_m
        Chainage on `curve` where the track is to begin.
    heights
        Chainages on `curve`, and heights there, metres; None where unknown.

    Raises
    ------
    NoLapError
        The line is too long.
    """
    line = lay(curve, plane, start_m=datum_m, heights=heights)
    # A line of steps a hundred thousand times as long as others bends without end between them.
    remedy = "draw it with places about as far apart everywhere"
    require("length_m", line.curve.length_m, NoLapError, "the line has", remedy=remedy)
    laid = replace(draft, centreline=replace(line, width_m=draft.centreline.width_m))
    measured = measure(laid.centreline)
    return with_corners(
        replace(
            laid,
            length_m=measured.length_m,
            length_surface_m=measured.length_surface_m,
            direction=measured.direction,
            crossovers=measured.crossovers,
        )
    )


_AUTOMATIC_NAME = re.compile(r"Sector \d+ end")


def geographic(track: Track, position_m: Floats) -> Position:
    """Longitude and latitude, degrees, of a place on the track's plane, metres."""
    longitude, latitude = track.plane.to_geographic(position_m)
    return float(longitude), float(latitude)


def renamed_in_order(track: Track) -> Track:
    """Give sector gates that still have the name trackkit gave them the name of their place."""
    sectors = track.gates_of_kind("sector")
    names = {
        gate.id: f"Sector {number} end"
        for number, gate in enumerate(sectors, start=1)
        if _AUTOMATIC_NAME.fullmatch(gate.name) and not gate.name_given
    }
    return replace(
        track,
        gates=tuple(replace(g, name=names.get(g.id, g.name)) for g in track.gates),
    )


def called(gate: Gate, name: str) -> Gate:
    """Give a gate a name that a person chose, which then never changes by itself."""
    return replace(gate, name=name, name_given=_AUTOMATIC_NAME.fullmatch(name) is not None)


def renamings(before: Track, after: Track) -> tuple[str, ...]:
    """Tell, a sentence each, which gates a change has given another name without being asked."""
    names = {gate.id: gate.name for gate in before.gates}
    return tuple(
        f"gate {gate.id}, which was {names[gate.id]}, is now {gate.name}: names that nobody gave "
        "follow the order"
        for gate in after.gates
        if names.get(gate.id, gate.name) != gate.name
    )


def with_datum(track: Track, chainage_m: float) -> Track:
    """Make a place chainage zero of a closed track; nothing moves on the ground.

    The centreline gets a vertex there and begins with it; chainages of gates, corners,
    crossovers and the profiles of width and accuracy follow.
    """
    curve, line = track.curve, track.centreline
    chainage_m = float(curve.wrap(chainage_m))
    vertex = curve.vertex_chainage_m
    ahead = np.asarray(curve.along(chainage_m, vertex))
    order = np.argsort(ahead)
    spacing = float(np.median(np.diff(np.append(vertex, curve.length_m))))
    # A vertex right beside the new one would make the heading there depend on rounding.
    room = min(0.3 * spacing, 0.3)
    order = order[(ahead[order] > room) & (curve.length_m - ahead[order] > room)]
    start_lon, start_lat = track.plane.to_geographic(curve.position(chainage_m))
    # The plane and the line may count longitudes from different sides of the antimeridian.
    start_lon = longitude_near(start_lon, float(line.longitude_deg[0]))
    longitude = np.concatenate([[start_lon], line.longitude_deg[order], [start_lon]])
    latitude = np.concatenate([[start_lat], line.latitude_deg[order], [start_lat]])
    height = None
    if line.height_m is not None:
        kept = line.height_m[: len(vertex)]
        first = float(np.interp(chainage_m, vertex, kept, period=curve.length_m))
        height = np.concatenate([[first], kept[order], [first]])
    profile = line.width_profile
    if profile is not None:
        profile = tuple(
            sorted((float(curve.along(chainage_m, s)), left, right) for s, left, right in profile)
        )
    profile_of_accuracy = line.accuracy_profile
    if profile_of_accuracy is not None:
        profile_of_accuracy = begun_at(profile_of_accuracy, chainage_m, curve.length_m)
    turned = replace(
        track,
        centreline=replace(
            line,
            longitude_deg=longitude,
            latitude_deg=latitude,
            height_m=height,
            width_profile=profile,
            accuracy_profile=profile_of_accuracy,
        ),
        crossovers=tuple(
            replace(
                c,
                over_m=float(curve.along(chainage_m, c.over_m)),
                under_m=float(curve.along(chainage_m, c.under_m)),
            )
            for c in track.crossovers
        ),
    )
    new_length = turned.curve.length_m
    gates = [
        replace(
            gate,
            chainage_m=_zero_if_datum(
                ends_chainage(
                    turned.centreline,
                    gate.left,
                    gate.right,
                    near_m=float(curve.along(chainage_m, gate.chainage_m)),
                    must_cross=False,
                ),
                new_length,
            ),
        )
        for gate in turned.gates
    ]
    turned = replace(turned, length_m=new_length, direction=direction_of(turned.curve))
    turned = keep_confirmed(track, turned)
    return with_corners(renamed_in_order(turned.with_gates(gates)))


def _zero_if_datum(chainage_m: float, length_m: float) -> float:
    return 0.0 if min(chainage_m, length_m - chainage_m) < 0.005 else chainage_m


def with_corners(track: Track) -> Track:
    """Find the corners afresh; a corner found where one was keeps its id and name."""
    corners = find_corners(
        track.centreline, track.corners, seed=id_seed(track), taken=taken_ids(track)
    )
    return replace(track, corners=corners)
