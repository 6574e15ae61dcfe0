"""From recordings, or a line already drawn, to a whole track."""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from trackkit.centreline import (
    FittedLine,
    bridges,
    direction_of,
    fit_line,
    lay,
    smoothed_curve,
    surface_length,
)
from trackkit.curve import Curve
from trackkit.errors import NoLapError, PlaceError
from trackkit.gates import place_gate, with_corners
from trackkit.geodesy import Floats, LocalPlane
from trackkit.laps_found import SHORTEST_LAP_M, FoundLap, find_laps, find_runs, path_driven
from trackkit.motion import smooth
from trackkit.places import Place, chainage_of, describe_place
from trackkit.recording import Recording
from trackkit.siting import choose_finish, choose_sectors
from trackkit.track import ASSUMED_BAND_M, Track

OPEN_END_M = 20.0
"""Where the start and finish gates of a point-to-point course go: this far from its ends."""


@dataclass(frozen=True, eq=False)
class Build:
    """A track and how it came about."""

    track: Track
    laps_used: int
    removed: dict[str, int]
    remarks: tuple[str, ...]


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


def build_track(
    recordings: Sequence[Recording],
    name: str,
    *,
    layout: str = "",
    is_open: bool = False,
    finish: Place | None = None,
    sectors: int = 1,
) -> Build:
    """Make a track from recordings of at least one whole lap, or one run of an open course.

    Parameters
    ----------
    recordings
        One or more, of the same layout.
    name, layout
        What to call it.
    is_open
        Whether it is a course from one point to another.
    finish
        Where the finish gate goes; chosen by `siting.choose_finish` when None.
    sectors
        How many sectors; one fewer sector gates are placed.

    Raises
    ------
    NoLapError
        When no recording holds a whole lap.
    PlaceError
        When `finish` is off the track.
    """
    plane = LocalPlane.around(
        np.concatenate([r.longitude_deg for r in recordings]),
        np.concatenate([r.latitude_deg for r in recordings]),
    )
    laps, remarks, per_recording = _all_laps(recordings, plane, is_open=is_open)
    fitted = fit_line(laps, closed=not is_open)
    remarks += fitted.rejected
    used = {
        r.name: sum(any(lap is kept for kept in fitted.laps) for lap in found)
        for r, found in zip(recordings, per_recording, strict=True)
    }
    remarks += _stop_remarks(fitted)
    sources = tuple(
        {"file": Path(r.name).name, **_digest(r.name), "laps": used[r.name]} for r in recordings
    )
    track, more = _assembled(
        fitted.curve, plane, name, layout, fitted, finish=finish, sectors=sectors, sources=sources
    )
    removed: dict[str, int] = {}
    for recording in recordings:
        for reason, count in recording.removed.items():
            removed[reason] = removed.get(reason, 0) + count
    what = "lap" if not is_open else "run"
    count = len(fitted.laps)
    track = track.revised_by(
        f"built from {count} {what}{'s' if count != 1 else ''}", track.revised or now()
    )
    return Build(track, count, removed, (*remarks, *more))


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
) -> Build:
    """Make a track from a line already drawn.

    A line that ends within 25 m (or 3 % of its length, where that is less) of its beginning is
    closed; other parameters are those of `build_track`.

    Raises
    ------
    NoLapError
        When the line is not closed and `is_open` is false, or too short.
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
            remedy="close the line, or use --open for a course from one point to another",
        )
    curve = smoothed_curve(_densified(vertex, closed=not is_open), closed=not is_open)
    track, remarks = _assembled(
        curve, plane, name, layout, None, finish=finish, sectors=sectors, sources=tuple(sources),
        drawn_heights=_drawn_heights(curve, vertex, elevation_m),
    )  # fmt: skip
    track = track.revised_by("built from a drawn line", track.revised or now())
    return Build(track, 0, {}, remarks)


def _densified(vertex_m: Floats, *, closed: bool) -> Floats:
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
    distance = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(around, axis=0), axis=1))])
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


def _all_laps(
    recordings: Sequence[Recording], plane: LocalPlane, *, is_open: bool
) -> tuple[list[FoundLap], tuple[str, ...], list[list[FoundLap]]]:
    """Find the laps of every recording; one without any is only an error when all are."""
    per_recording: list[list[FoundLap]] = []
    remarks: list[str] = []
    failures: list[NoLapError] = []
    find = find_runs if is_open else find_laps
    for recording in recordings:
        try:
            found = find(path_driven(smooth(recording, plane)), recording.name)
        except NoLapError as error:
            failures.append(error)
            remarks.append(f"{error} (not used)")
            found = []
        per_recording.append(found)
    laps = [lap for found in per_recording for lap in found]
    if not laps:
        raise failures[0]
    return laps, tuple(remarks), per_recording


def _stop_remarks(fitted: FittedLine) -> tuple[str, ...]:
    stops = {
        stop for lap in fitted.laps for stop in lap.path.stops if lap.start_s < stop[0] < lap.end_s
    }
    if not stops:
        return ()
    times = ", ".join(f"{lasting:.0f} s" for _, lasting in sorted(stops))
    plural = "s" if len(stops) > 1 else ""
    return (f"removed {len(stops)} stop{plural} on the way ({times})",)


def _digest(name: str) -> dict[str, str]:
    """SHA-256 of a recording's file, where its name is one."""
    try:
        return {"sha256": hashlib.sha256(Path(name).read_bytes()).hexdigest()}
    except OSError:
        return {}


def _assembled(
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
) -> tuple[Track, tuple[str, ...]]:
    """Lay the line, choose the datum and place the gates."""
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
        centreline=lay(curve, plane, heights=heights),
        length_m=curve.length_m,
        sources=sources,
    )
    remarks: tuple[str, ...] = ()
    if fitted is None:
        draft = replace(draft, line="centre")
        remarks += ("a drawn line is taken to be the centre of the track",)
    remarks += (f"the width of the track is not known: {ASSUMED_BAND_M:.0f} m are taken for gates",)
    datum, why = 0.0, ""
    if curve.closed:
        if finish is None:
            datum, why = choose_finish(draft.curve, speed)
        else:
            datum, found = chainage_of(draft, finish)
            remarks += found
    track = _with_line(draft, curve, plane, datum, heights)
    remarks += _bridge_remarks(track)
    track, placed = _with_end_gates(track, finish)
    remarks += placed
    if why:
        remarks += (f"finish gate at {describe_place(track, 0.0)}, {why}",)
    if sectors > 1:
        shifted = None
        if speed is not None:
            along = np.asarray(curve.along(datum, speed[0]))
            shifted = (along[np.argsort(along)], speed[1][np.argsort(along)])
        chainages, told = choose_sectors(track, sectors, shifted)
        remarks += told
        for chainage in chainages:
            track, _, placed = place_gate(track, "sector", Place(chainage_m=chainage))
            remarks += tuple(f"sector gate at {chainage:.0f} m: {remark}" for remark in placed)
    return track, remarks


def _with_line(
    draft: Track,
    curve: Curve,
    plane: LocalPlane,
    datum_m: float,
    heights: tuple[Floats, Floats] | None,
) -> Track:
    """Lay the line anew from its datum and derive what follows from the geometry."""
    laid = replace(draft, centreline=lay(curve, plane, start_m=datum_m, heights=heights))
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
