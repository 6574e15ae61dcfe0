"""A fitted line made into a track: its datum, what follows from the geometry, and its gates."""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trackkit.centreline import FittedLine, bridges, direction_of, lay, surface_length
from trackkit.curve import Curve
from trackkit.errors import PlaceError
from trackkit.gates import place_gate, with_corners
from trackkit.geodesy import Floats, LocalPlane
from trackkit.places import Place, chainage_of, describe_place
from trackkit.siting import choose_finish, choose_sectors
from trackkit.track import ASSUMED_BAND_M, Track

OPEN_END_M = 20.0
"""Where the start and finish gates of a point-to-point course go: this far from its ends."""


def slug(name: str) -> str:
    """Make an id out of a name: lower-case letters, digits and hyphens.

    A name without any Latin letter or digit gets an id drawn from its bytes.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    joined = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:80].strip("-")
    return joined or "track-" + hashlib.sha256(name.encode()).hexdigest()[:8]


def now() -> str:
    """Return the time of day as RFC 3339 writes it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def source_entry(path: str | os.PathLike[str], **more: Any) -> dict[str, Any]:
    """Describe a file a track was made from, by its name and SHA-256."""
    digest = hashlib.sha256(Path(path).read_bytes()).hexdigest()
    return {"file": Path(path).name, "sha256": digest, **more}


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
        As in `building.build_track`.
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
            datum, found = chainage_of(draft, finish)
            remarks += found
    track = with_line(draft, curve, plane, datum, heights)
    if fitted is not None:
        remarks += _gap_remarks(fitted, datum)
    remarks += _bridge_remarks(track)
    track, placed = _with_end_gates(track, finish)
    remarks += placed
    if why:
        remarks += (f"finish gate at {describe_place(track, 0.0)}, {why}",)
    if sectors > 1:
        track, told = _with_sectors(track, sectors, speed, curve, datum)
        remarks += told
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
        track, _, placed = place_gate(track, "sector", Place(chainage_m=chainage))
        remarks += tuple(f"sector gate at {chainage:.0f} m: {remark}" for remark in placed)
    return track, remarks


def with_line(
    draft: Track,
    curve: Curve,
    plane: LocalPlane,
    datum_m: float,
    heights: tuple[Floats, Floats] | None,
) -> Track:
    """Lay the line anew from its datum and derive what follows from the geometry.

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
    """
    line = lay(curve, plane, start_m=datum_m, heights=heights)
    laid = replace(draft, centreline=replace(line, width_m=draft.centreline.width_m))
    actual = laid.curve
    chainage = actual.chainages(1.0)
    height = np.full(len(chainage), np.nan)
    if laid.centreline.height_m is not None:
        known = laid.centreline.height_m[: len(actual.vertex_chainage_m)]
        period = actual.length_m if actual.closed else None
        height = np.interp(chainage, actual.vertex_chainage_m, known, period=period)
    crossovers, _ = bridges(actual, chainage, height)
    return with_corners(
        replace(
            laid,
            length_m=actual.length_m,
            length_surface_m=surface_length(actual, chainage, height),
            direction=direction_of(actual),
            crossovers=crossovers,
        )
    )


def stretches(marked: NDArray[np.bool_], *, closed: bool) -> list[tuple[int, int]]:
    """List runs of marked samples as (first, last), one over the seam of a closed line as one."""
    if not marked.any():
        return []
    if marked.all():
        return [(0, len(marked) - 1)]
    turn = int(np.argmin(marked)) if closed else 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.roll(marked, -turn), [0]])))
    pairs = edges.reshape(-1, 2) + turn
    return [(int(a) % len(marked), int(b - 1) % len(marked)) for a, b in pairs]


def _gap_remarks(fitted: FittedLine, datum_m: float) -> tuple[str, ...]:
    """Name the stretches where no lap has fixes, as in a tunnel."""
    remarks = []
    curve, chainage = fitted.curve, fitted.chainage_m
    for first, last in stretches(fitted.weight.sum(axis=0) <= 0, closed=curve.closed):
        begin, end = (float(curve.along(datum_m, chainage[i])) for i in (first, last))
        if not curve.closed:
            begin, end = float(chainage[first]), float(chainage[last])
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
        track, _, placed = place_gate(track, "finish", where)
        return track, placed
    inset = min(OPEN_END_M, 0.02 * track.curve.length_m)
    where = finish or Place(chainage_m=track.curve.length_m - inset)
    track, _, placed = place_gate(track, "finish", where)
    remarks += placed
    track, gate, placed = place_gate(track, "start", Place(chainage_m=inset))
    remarks += placed
    if finish is None:
        told = (
            f"start and finish gates were put {inset:.0f} m from the ends of the course; move "
            f"them to the real lines with `trackkit gate move TRACK {gate.id} PLACE`"
        )
        remarks += (told,)
    return track, remarks
