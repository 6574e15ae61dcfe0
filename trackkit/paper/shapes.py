"""The shapes of a track on a sheet of paper, and the places beside them where labels belong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Floats
from trackkit.paper.ink import ARROW_MM, LEAST_BAND_MM
from trackkit.paper.sheet import Sheet
from trackkit.track.band import (
    band_area,
    band_sides,
    bridge_sides,
    stretch_places,
    uncertain_stretches,
)
from trackkit.track.model import Track

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


LEAST_GATE_MM = 3.0
"""A gate that would be shorter on the sheet is drawn as long as this."""
_ARROW_EVERY_MM = 30.0
_ARROW_FROM_GATE_MM = 4.5
_GATE_HALF_MM, _PIT_HALF_MM, _EDGE_MM = 0.9, 0.5, 0.2

Anchors = tuple[Floats, Floats]
"""Places beside what a label names, and directions away from it, shape (k, 2) each."""


def outline(track: Track) -> tuple[list[Floats], list[Floats]]:
    """List what must be seen on a sheet, on the plane: lines, and ends of gates, metres."""
    import shapely

    lines = [shapely.get_coordinates(shapely.convex_hull(band_area(track)))]
    lines += [
        track.plane.to_plane(lane.longitude_deg, lane.latitude_deg) for lane in track.pit_lanes
    ]
    return lines, [track.gate_ends(gate) for gate in track.gates]


@dataclass(frozen=True, eq=False)
class Shapes:
    """What is drawn of a track, millimetres on the sheet.

    Parameters
    ----------
    band
        Where cars run, at its true width.
    thin
        Whether the band is too thin to be seen, so that a line is drawn instead.
    centre
        The centreline.
    pit_lanes
        Lines.
    gates
        Left and right end of each gate, shape (2, 2), drawn longer where too short to be seen.
    bridges
        Both edges of each.
    unmeasured
        Stretches of the centreline that are not measured, each with its mark.
    arrows
        Places and directions of travel.
    ink
        All of it; no label may touch it.
    """

    band: BaseGeometry
    thin: bool
    centre: Floats
    pit_lanes: tuple[Floats, ...]
    gates: tuple[Floats, ...]
    bridges: tuple[tuple[Floats, Floats], ...]
    unmeasured: tuple[tuple[str, Floats], ...]
    arrows: tuple[tuple[Floats, Floats], ...]
    ink: BaseGeometry
    gate_anchors: tuple[Anchors, ...]
    corner_anchors: tuple[Anchors, ...]
    bridge_anchors: tuple[Anchors, ...]
    lane_anchors: tuple[Anchors, ...]

    @classmethod
    def of(cls, track: Track, sheet: Sheet) -> Shapes:
        """Lay a track's shapes on a sheet."""
        import shapely

        curve = track.curve
        chainage = curve.sampled(chord_error_m=0.02 / sheet.mm_per_m)
        if curve.closed:
            chainage = np.append(chainage, curve.length_m)
        centre = sheet.to_paper(curve.position(chainage))
        # to_paper is affine, so that shapely may hand it all vertices at once.
        band = shapely.transform(band_area(track), sheet.to_paper)
        thin = track.band_m * sheet.mm_per_m < LEAST_BAND_MM
        gates = tuple(_seen(sheet.to_paper(track.gate_ends(gate))) for gate in track.gates)
        lanes = tuple(
            sheet.to_paper(track.plane.to_plane(lane.longitude_deg, lane.latitude_deg))
            for lane in track.pit_lanes
        )
        sides = [bridge_sides(track, crossover) for crossover in track.crossovers]
        bridges = tuple((sheet.to_paper(a), sheet.to_paper(b)) for a, b in sides)
        unmeasured = tuple(
            (f"{stretch.kind}-line", sheet.to_paper(stretch_places(track, stretch)))
            for stretch in uncertain_stretches(track)
        )
        arrows = _arrows(track, sheet, gates)
        line = shapely.LineString(centre).buffer(0.5 * LEAST_BAND_MM)
        ink = shapely.union_all(
            [
                shapely.buffer(band, _EDGE_MM),
                line,
                *(shapely.LineString(ends).buffer(_GATE_HALF_MM) for ends in gates),
                *(shapely.LineString(lane).buffer(_PIT_HALF_MM) for lane in lanes),
                *(shapely.LineString(e).buffer(_PIT_HALF_MM) for pair in bridges for e in pair),
                *(shapely.Point(place).buffer(0.5 * ARROW_MM) for place, _ in arrows),
            ]
        )
        return cls(
            band,
            thin,
            centre,
            lanes,
            gates,
            bridges,
            unmeasured,
            arrows,
            ink,
            gate_anchors=tuple(_gate_anchors(ends) for ends in gates),
            corner_anchors=tuple(
                _beside(track, sheet, c.apex_m, 1.0 if c.turn == "right" else -1.0)
                for c in track.corners
            ),
            bridge_anchors=tuple(_beside(track, sheet, c.over_m, 1.0) for c in track.crossovers),
            lane_anchors=tuple(_lane_anchors(lane) for lane in lanes),
        )


def _seen(ends_mm: Floats) -> Floats:
    """Lengthen a gate about its middle until it can be seen."""
    middle, half = ends_mm.mean(axis=0), 0.5 * (ends_mm[0] - ends_mm[1])
    long = 2.0 * float(np.hypot(*half))
    half = half * max(1.0, LEAST_GATE_MM / max(long, 1e-9))
    return np.stack([middle + half, middle - half])


def _arrows(
    track: Track, sheet: Sheet, gates: tuple[Floats, ...]
) -> tuple[tuple[Floats, Floats], ...]:
    """Places for arrows in racing direction, evenly spread, clear of gates."""
    import shapely

    curve = track.curve
    count = max(4, round(curve.length_m * sheet.mm_per_m / _ARROW_EVERY_MM))
    chainage = (np.arange(count) + 0.5) * (curve.length_m / count)
    place = sheet.to_paper(curve.position(chainage))
    direction = sheet.direction(curve.direction(chainage))
    far = np.full(count, np.inf)
    if gates:
        bars = shapely.MultiLineString(list(gates))
        far = np.asarray(shapely.distance(shapely.points(place), bars))
    return tuple(
        (at, way)
        for at, way, clear in zip(place, direction, far > _ARROW_FROM_GATE_MM, strict=True)
        if clear
    )


def _gate_anchors(ends_mm: Floats) -> Anchors:
    """Both ends of a gate, and outwards along it."""
    along = ends_mm[0] - ends_mm[1]
    along = along / max(float(np.hypot(*along)), 1e-9)
    away = np.stack([along, -along])
    return ends_mm + _GATE_HALF_MM * away, away


def _beside(track: Track, sheet: Sheet, chainage_m: float, side: float) -> Anchors:
    """Both edges of the band at a place, that on the side wanted first (1: left)."""
    at = np.array([chainage_m])
    left, right = band_sides(track, at)
    aside = track.curve.left(at)[0]
    middle = track.curve.position(at)[0]
    anchors, away = [], []
    for sign in (side, -side):
        reach = float(left[0]) if sign > 0 else float(right[0])
        direction = sheet.direction(sign * aside)
        edge = sheet.to_paper(middle + sign * reach * aside)
        least = sheet.to_paper(middle) + 0.5 * LEAST_BAND_MM * direction
        far = float((edge - least) @ direction) > 0.0
        anchors.append((edge if far else least) + _EDGE_MM * direction)
        # On the other side no direction is preferred: all cost as much as one square to `away`.
        away.append(direction if sign == side else np.zeros(2))
    return np.array(anchors), np.array(away)


def _lane_anchors(lane_mm: Floats) -> Anchors:
    """Both sides of a pit lane at its middle."""
    n = max(1, len(lane_mm) // 2)
    way = lane_mm[n] - lane_mm[n - 1]
    way = way / max(float(np.hypot(*way)), 1e-9)
    aside = np.array([-way[1], way[0]])
    middle = 0.5 * (lane_mm[n] + lane_mm[n - 1])
    away = np.stack([aside, -aside])
    return middle + _PIT_HALF_MM * away, away
