"""The centreline drawn by hand: what follows from it is worked out as when laps are folded in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.building.onto_line import datum_onto, gates_beside, with_gates_onto
from trackkit.editor.stretches import Drawn, Stretch, with_stretches
from trackkit.errors import PlaceError
from trackkit.geometry.curve import Curve
from trackkit.geometry.kinks import KINK_M, find_kinks
from trackkit.geometry.shape import self_crossings
from trackkit.importing.profiles import with_drawn_profiles
from trackkit.track.derive import with_corners, with_datum
from trackkit.track.features import Centreline, Crossover
from trackkit.track.history import now
from trackkit.track.measure import measure
from trackkit.track.model import Track

_SAME_CROSSING_M = 25.0
"""A crossing this near to where one was before is that one, moved."""
_BESIDE_KINK_M = 2.0 * KINK_M


@dataclass(frozen=True)
class DrawnOver:
    """A picture of the ground that lines are drawn over.

    Parameters
    ----------
    name
        Of its file.
    sigma_m
        One sigma of what is drawn over it, metres.
    credit
        Whose picture it is.
    """

    name: str
    sigma_m: float
    credit: str


def by_hand(over: DrawnOver | None) -> str:
    """Say for the history how something was drawn."""
    return "drawn by hand" if over is None else f"drawn by hand over {over.name}"


def draw_line(
    track: Track, stretches: Sequence[Stretch], over: DrawnOver | None = None
) -> tuple[Track, tuple[str, ...]]:
    """Draw stretches of a track's centreline anew.

    Vertices elsewhere stay as they are.  Gates and the pit lane stay on the ground; chainages,
    corners, bridges, heights and widths follow, and the stretches count as drawn.

    Parameters
    ----------
    track
        The track.
    stretches
        On its plane, by chainages of its line.
    over
        The picture that they were drawn over, or None.

    Returns
    -------
    track, remarks
        With a line of history, and what there is to say, a sentence each.

    Raises
    ------
    PlaceError
        When the line would cross itself where it did not before, or turn as no vehicle can.
    """
    drawn = with_stretches(track.curve, stretches)
    line = _laid(track, drawn)
    require("length_m", line.curve.length_m, PlaceError, "would be a line of")
    _refuse_kinks(line, drawn)
    crossovers = _crossovers(track, line)
    measured = measure(line)
    changed = replace(
        track,
        centreline=line,
        length_m=measured.length_m,
        length_surface_m=measured.length_surface_m,
        direction=measured.direction,
        crossovers=crossovers,
    )
    changed, moved_m = with_drawn_profiles(changed, track, None if over is None else over.sigma_m)
    changed = with_gates_onto(changed, track)
    remarks = _remarks(track, changed)
    if track.closed and drawn.by_hand[0]:
        changed = with_datum(changed, datum_onto(changed, changed.curve))
    else:
        changed = with_corners(changed)
    what = f"line {by_hand(over)}{where_of(track, stretches)}, moved by up to {moved_m:.2f} m"
    return with_picture(changed, over).revised_by(what, now()), remarks


def with_picture(track: Track, over: DrawnOver | None) -> Track:
    """Name a picture among the sources of a track, once."""
    if over is None:
        return track
    entry = {"file": over.name, "credit": over.credit}
    if entry in track.sources:
        return track
    return replace(track, sources=(*track.sources, entry))


def where_of(track: Track, stretches: Sequence[Stretch]) -> str:
    """Name the stretches by the chainages that they had."""
    if track.closed and any(stretch.begin_m is None for stretch in stretches):
        return " all round"
    named = [
        f"{stretch.begin_m or 0.0:.0f}-"
        f"{track.curve.length_m if stretch.end_m is None else stretch.end_m:.0f} m"
        for stretch in stretches
    ]
    return f" at {', '.join(named)}"


def _laid(track: Track, drawn: Drawn) -> Centreline:
    """Make the stored line of vertices; those that stay keep their positions to the last digit."""
    was, curve = track.centreline, track.curve
    longitude, latitude = track.plane.to_geographic(drawn.vertex_m)
    longitude, latitude = np.array(longitude), np.array(latitude)
    own = track.plane.to_geographic(curve.vertex_m)
    at = np.asarray(curve.wrap(drawn.before_m))
    nearest = np.abs(at[:, None] - curve.vertex_chainage_m).argmin(axis=1)
    same = ~drawn.by_hand & (np.abs(at - curve.vertex_chainage_m[nearest]) < 1e-6)
    if len(own[0]) == len(was.longitude_deg) - (1 if track.closed else 0):
        longitude[same] = was.longitude_deg[nearest[same]]
        latitude[same] = was.latitude_deg[nearest[same]]
    height = _heights(track, drawn.before_m)
    if track.closed:
        longitude, latitude = np.append(longitude, longitude[0]), np.append(latitude, latitude[0])
        height = None if height is None else np.append(height, height[0])
    return replace(
        was,
        longitude_deg=longitude,
        latitude_deg=latitude,
        height_m=height,
        width_profile=None,
        accuracy_profile=None,
    )


def _heights(track: Track, before_m: Floats) -> Floats | None:
    """Read heights of the line before; along a stretch that was drawn, by its share of the way."""
    height = track.centreline.height_m
    if height is None:
        return None
    curve = track.curve
    period = curve.length_m if track.closed else None
    vertex = curve.vertex_chainage_m
    return np.asarray(np.interp(before_m, vertex, height[: len(vertex)], period=period))


def _refuse_kinks(line: Centreline, drawn: Drawn) -> None:
    chainage, turned = find_kinks(line.curve)
    if not len(chainage):
        return
    place = line.curve.vertex_chainage_m[: len(drawn.by_hand)]
    own = place[drawn.by_hand[: len(place)]]
    near = np.array([line.curve.separation(own, at).min() for at in chainage]) < _BESIDE_KINK_M
    if near.any():
        worst = int(np.argmax(np.where(near, turned, 0.0)))
        raise PlaceError(
            f"the line would turn by {turned[worst]:.0f} degrees within {KINK_M:.0f} m at "
            f"{chainage[worst]:.0f} m, as no vehicle does",
            remedy="move the points there apart, or delete one",
        )


def _crossovers(track: Track, line: Centreline) -> tuple[Crossover, ...]:
    """Bring the bridges of a track onto its new line.

    Raises
    ------
    PlaceError
        When it crosses itself where it did not before.
    """
    old, new = track.curve, line.curve

    def here(place: Floats) -> Floats:
        return line.plane.to_plane(*track.plane.to_geographic(place))

    crossings = self_crossings(new)
    before = self_crossings(old)
    left = [here(old.position(first)) for first, _, _ in before]
    for first, second, _ in crossings:
        away = [float(np.linalg.norm(new.position(first) - place)) for place in left]
        if not away or min(away) > _SAME_CROSSING_M:
            raise PlaceError(
                f"the line would cross itself at {first:.0f} m and {second:.0f} m, where it did "
                "not before",
                remedy="move the points so that it passes beside itself",
            )
        left.pop(int(np.argmin(away)))
    kept = []
    for bridge in track.crossovers:
        place = here(old.position(bridge.over_m))
        near = [
            pair
            for pair in crossings
            if np.linalg.norm(new.position(pair[0]) - place) <= _SAME_CROSSING_M
        ]
        if not near:
            continue
        pair = min(near, key=lambda p: float(np.linalg.norm(new.position(p[0]) - place)))
        over, under = _levels(old, new, bridge, pair[:2])
        kept.append(replace(bridge, over_m=over, under_m=under))
    return tuple(kept)


def _levels(
    old: Curve, new: Curve, bridge: Crossover, pair: tuple[float, float]
) -> tuple[float, float]:
    """Tell the passage above from the one below by the way that they lead."""
    ahead = old.direction(bridge.over_m)
    first, second = pair
    facing = [float(new.direction(at) @ ahead) for at in pair]
    return (first, second) if facing[0] >= facing[1] else (second, first)


def _remarks(track: Track, changed: Track) -> tuple[str, ...]:
    before = {gate.id for gate in gates_beside(track)}
    remarks = [
        f"the gate {gate.name} does not cross the new line: move it onto it"
        for gate in gates_beside(changed)
        if gate.id not in before
    ]
    lost = len(track.crossovers) - len(changed.crossovers)
    if lost:
        remarks.append("the line does not cross itself any longer: its bridge was left out")
    longer = changed.curve.length_m - track.curve.length_m
    way = "longer" if longer >= 0 else "shorter"
    return (f"the line is {abs(longer):.1f} m {way}", *remarks)
