"""A fitted line made into a track: its datum, what follows from the geometry, and its gates."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.building.fit import FittedLine
from trackkit.errors import PlaceError
from trackkit.gates.choose import choose_finish, choose_sectors
from trackkit.gates.meant import widest_meant_m
from trackkit.gates.placement import with_gate
from trackkit.gates.square import GATE_MARGIN_M
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.runs import runs_of
from trackkit.remedies import Remedy
from trackkit.track.derive import geographic, lay, with_line
from trackkit.track.ids import slug
from trackkit.track.measure import bridges
from trackkit.track.model import ASSUMED_BAND_M, Track, end_gate_m
from trackkit.track.places import Place, chainage_of, describe_place

_BESIDE_M = 3.0
"""A pit lane passes a place when it is beside the line within this of it."""


def assembled(
    curve: Curve,
    plane: LocalPlane,
    name: str,
    layout: str,
    fitted: FittedLine | None,
    *,
    finish: Place | None,
    sectors: int,
    sources: tuple[dict[str, Any], ...],
    drawn_heights: tuple[Floats, Floats] | None = None,
    width_m: float | None = None,
    pit_lane: Curve | None = None,
) -> tuple[Track, tuple[str, ...]]:
    """Lay the line, choose the datum and place the gates.

    Parameters
    ----------
    curve, plane
        The line.
    name, layout
        What to call it.
    fitted
        What the line was averaged from; None for a drawn one.
    finish, sectors
        As in `trackkit.building.build.build_track`.
    sources
        Of the track file.
    drawn_heights
        Chainages and heights of a drawn line.
    width_m
        Width of the band where cars run, metres; None where unknown.
    pit_lane
        The line through the pits, on the same plane: a finish gate that is chosen here spans it,
        or lies where it does not pass.

    Returns
    -------
    track, remarks
    """
    if sectors < 1:
        raise PlaceError(f"{sectors} sectors make no lap", remedy="give 1 or more")
    heights = drawn_heights
    speed: tuple[Floats, Floats] | None = None
    if fitted is not None:
        speed = (fitted.chainage_m, fitted.speed_mps)
        if np.all(np.isfinite(fitted.height_m)):
            heights = (fitted.chainage_m, fitted.height_m)
    draft = Track(
        id=slug(f"{name} {layout}".strip()),
        name=name,
        layout=layout,
        centreline=replace(lay(curve, plane, heights=heights), width_m=width_m),
        length_m=curve.length_m,
        sources=sources,
    )
    remarks: tuple[str, ...] = ()
    if fitted is None:
        draft = replace(draft, line="centre")
        remarks += ("a drawn line is taken to be the centre of the track",)
    if width_m is None:
        remarks += (
            f"the width of the track is not known: {ASSUMED_BAND_M:.0f} m are taken for gates",
        )
    datum, why = 0.0, ""
    if curve.closed:
        if finish is None:
            datum, why = choose_finish(draft.curve, speed, _too_wide_over(draft, pit_lane))
        else:
            # Whether it crosses the line is judged when the gate is placed.
            datum, finish_remarks = chainage_of(draft, finish, must_cross=False)
            remarks += finish_remarks
    track = with_line(draft, curve, plane, datum, heights)
    if fitted is not None:
        remarks += _gap_remarks(fitted, datum)
    remarks += _bridge_remarks(track)
    if track.closed and finish is None and pit_lane is not None:
        track, placed = _with_finish_over(track, plane, pit_lane)
    else:
        track, placed = _with_end_gates(track, finish)
    remarks += placed
    if why:
        remarks += (f"finish gate at {describe_place(track, 0.0)}, {why}",)
    if sectors > 1:
        track, sector_remarks = _with_sectors(track, sectors, speed, curve, datum)
        remarks += sector_remarks
    return track, remarks


def _with_sectors(
    track: Track,
    sectors: int,
    speed: tuple[Floats, Floats] | None,
    curve: Curve,
    datum_m: float,
) -> tuple[Track, tuple[str, ...]]:
    shifted = None
    if speed is not None:
        along = np.asarray(curve.along(datum_m, speed[0]))
        shifted = (along[np.argsort(along)], speed[1][np.argsort(along)])
    chainages, remarks = choose_sectors(track, sectors, shifted)
    for chainage in chainages:
        track, _, placed = with_gate(track, "sector", Place(chainage_m=chainage))
        remarks += tuple(f"sector gate at {chainage:.0f} m: {remark}" for remark in placed)
    return track, remarks


def _passes_beside(curve: Curve, pit_lane: Curve) -> tuple[Floats, Floats]:
    """List chainages that a pit lane passes beside, rising along it, and how far to the left."""
    along = pit_lane.chainages(1.0)
    where, aside = curve.project(pit_lane.position(along), pit_lane.direction(along))
    return np.asarray(where), np.asarray(aside)


def _reach_m(track: Track, aside_m: Floats) -> tuple[Floats, Floats]:
    """How far a gate that spans a pit lane reaches to the left and to the right, metres."""
    half = 0.5 * track.band_m + GATE_MARGIN_M
    return np.maximum(half, aside_m + GATE_MARGIN_M), np.maximum(half, GATE_MARGIN_M - aside_m)


def _too_wide_over(track: Track, pit_lane: Curve | None) -> Callable[[Floats], Flags]:
    """Say of places whether a gate there would be wider than is meant, to span the pit lane."""

    def too_wide(chainage_m: Floats) -> Flags:
        wide = np.zeros(len(chainage_m), dtype=bool)
        if pit_lane is None:
            return wide
        curve = track.curve
        where, aside = _passes_beside(curve, pit_lane)
        for index, chainage in enumerate(chainage_m.tolist()):
            near = curve.separation(where, chainage) < _BESIDE_M
            if not near.any():
                continue
            left, right = (float(side[near].max()) for side in _reach_m(track, aside))
            centre, across = curve.position(chainage), curve.left(chainage)
            ends = centre + left * across, centre - right * across
            wide[index] = left + right > widest_meant_m(track) or len(curve.crossed_by(*ends)) > 1
        return wide

    return too_wide


def _with_finish_over(
    track: Track, plane: LocalPlane, pit_lane: Curve
) -> tuple[Track, tuple[str, ...]]:
    """Place the finish gate at the datum, across the pit lane too where that passes it."""
    centre, across = track.curve.position(0.0), track.curve.left(0.0)
    vertex = track.plane.to_plane(*plane.to_geographic(pit_lane.position(pit_lane.chainages(1.0))))
    where, aside = _passes_beside(track.curve, Curve.through(vertex, closed=False))
    near = np.asarray(track.curve.separation(where, 0.0)) < _BESIDE_M
    if not near.any():
        return _with_end_gates(track, None)
    left, right = (float(side[near].max()) for side in _reach_m(track, aside))
    if left + right > widest_meant_m(track):
        return _with_end_gates(track, None)
    ends = geographic(track, centre + left * across), geographic(track, centre - right * across)
    # The pit lane is not in the track yet, that it spans it is known here.
    track, gate, _ = with_gate(track, "finish", Place(ends=ends, anyway=True))
    plain = replace(gate, surveyed=False)
    track = replace(track, gates=tuple(plain if g.id == gate.id else g for g in track.gates))
    return track, ("the finish gate reaches across the pit lane, so that laps into it are timed",)


def _gap_remarks(fitted: FittedLine, datum_m: float) -> tuple[str, ...]:
    """Name the stretches where no lap has fixes, as in a tunnel."""
    remarks = []
    curve, chainage = fitted.curve, fitted.chainage_m
    for run in runs_of(fitted.weight.sum(axis=0) <= 0, closed=curve.closed):
        ends = chainage[[run[0], (run[1] - 1) % len(chainage)]]
        begin, end = (curve.along(datum_m, ends) if curve.closed else ends).tolist()
        remarks.append(
            f"no lap has fixes between {begin:.0f} m and {end:.0f} m (no fixes there, as in a "
            "tunnel): the line is carried across from how cars enter and leave"
        )
    return tuple(remarks)


def _bridge_remarks(track: Track) -> tuple[str, ...]:
    unknown = np.full(2, np.nan)
    _, remarks = bridges(track.curve, np.array([0.0, track.curve.length_m]), unknown)
    if track.centreline.height_m is not None:
        remarks = [remark.partition(" (")[0] for remark in remarks]
    return tuple(remarks)


def _with_end_gates(track: Track, finish: Place | None) -> tuple[Track, tuple[str, ...]]:
    remarks: tuple[str, ...] = ()
    if track.closed:
        where = finish if finish is not None and finish.ends is not None else Place(chainage_m=0.0)
        track, _, placed = with_gate(track, "finish", where)
        return track, placed
    where = finish or Place(chainage_m=end_gate_m(track, "finish"))
    track, _, placed = with_gate(track, "finish", where)
    remarks += placed
    inset = end_gate_m(track, "start")
    track, _, placed = with_gate(track, "start", Place(chainage_m=inset))
    remarks += placed
    if finish is None:
        remarks += (f"start and finish gates were put {inset:.0f} m from the ends of the course",)
    return track, remarks


def end_remedies(track: Track, finish: Place | None) -> tuple[Remedy, ...]:
    """List what is to be done about gates at the ends of a course whose places were assumed."""
    if track.closed or finish is not None:
        return ()
    return tuple(
        Remedy(f"move the {gate.kind} gate to the real line", do="gate move", feature=gate.id)
        for gate in track.gates_of_kind("start", "finish")
    )
