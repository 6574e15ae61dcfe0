"""A fitted line made into a track: its datum, what follows from the geometry, and its gates."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.fit import FittedLine
from trackkit.errors import PlaceError
from trackkit.gates.choose import choose_finish, choose_sectors
from trackkit.gates.placement import with_gate
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.runs import runs_of
from trackkit.remedies import Remedy
from trackkit.track.derive import lay, with_line
from trackkit.track.ids import slug
from trackkit.track.measure import bridges
from trackkit.track.model import ASSUMED_BAND_M, Track, end_gate_m
from trackkit.track.places import Place, chainage_of, describe_place


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
            datum, why = choose_finish(draft.curve, speed)
        else:
            datum, finish_remarks = chainage_of(draft, finish)
            remarks += finish_remarks
    track = with_line(draft, curve, plane, datum, heights)
    if fitted is not None:
        remarks += _gap_remarks(fitted, datum)
    remarks += _bridge_remarks(track)
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
