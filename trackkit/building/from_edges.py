"""A track between its edges: the centre lies midway, and the width varies along it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.assemble import assembled, end_remedies
from trackkit.building.build import Build, laps_by_recording, plane_of, source_entries
from trackkit.building.fit import FittedLine, fit_line
from trackkit.building.layouts import Layout, layouts_of
from trackkit.building.line_accuracy import KnownLine
from trackkit.building.tell_accuracy import with_accuracy
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.smoothing import moving_mean, smoothed_curve
from trackkit.recordings.recording import Recording
from trackkit.track.accuracy import ACCURACY_KINDS, ranks_of
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.track.places import Place

NARROWEST_M = 2.0
WIDEST_M = 60.0
"""What lies between two edges of one track, metres: less or more is a mistake."""
PROFILE_STEP_M = 10.0
_SPACING_M = 1.0
_ROUNDS = 3
_WIDTH_OVER_M = 10.0
_CENTRE_WAVELENGTH_M = 8.0


def build_between(
    left: Sequence[Recording],
    right: Sequence[Recording],
    name: str,
    *,
    driven: Sequence[Recording] = (),
    layout: str = "",
    is_open: bool = False,
    finish: Place | None = None,
    sectors: int = 1,
) -> Build:
    """Make a track from recordings along its two edges.

    Each edge is found as the line of a track is (`trackkit.building.fit.fit_line`).  The centre is
    the line that is as far from one as from the other, square to itself; the width follows by
    chainage.  They are recorded only while the circuit is closed (`trackkit.caution.EDGES`).
    Edges may be recorded against the racing direction, which is then taken from the driven laps or,
    without any, from the sides: the left edge is on the driver's left.

    Parameters
    ----------
    left, right
        Recordings along the edges, at least one each.
    name
        What to call the circuit.
    driven
        Laps driven, for the racing direction, speeds and heights; may be empty.
    layout
        What to call the layout.
    is_open
        Whether it is a course from one point to another.
    finish
        Where the finish gate goes; chosen where None.
    sectors
        How many sectors; one fewer sector gates are placed.

    Returns
    -------
    Build
        The track and how it came about.

    Raises
    ------
    NoLapError
        When a recording holds no whole lap, or the edges are not those of one track.
    PlaceError
        When `finish` is off the track, or `sectors` is less than 1.
    RecordingError
        When the recordings lie too far apart to be of one circuit.

    Examples
    --------
    >>> import numpy as np
    >>> import trackkit
    >>> turn = np.linspace(0.0, 2.0 * np.pi, 400)
    >>> def ring(radius_m, name):
    ...     east, north = radius_m * np.cos(turn), radius_m * np.sin(turn)
    ...     longitude, latitude = 5.0 + east / 101_700.0, 24.0 + north / 110_800.0
    ...     return trackkit.Recording.from_arrays(turn * 60.0, longitude, latitude, name=name)
    >>> left, right = ring(100.0, "left"), ring(108.0, "right")
    >>> build = trackkit.build_between([left], [right], "Practice Oval")
    >>> build.track.name, 7.0 < build.track.centreline.width_m < 9.0
    ('Practice Oval', True)
    """
    recordings = [*left, *right, *driven]
    plane = plane_of(recordings)
    lines: list[FittedLine] = []
    sources: list[dict[str, Any]] = []
    remarks: tuple[str, ...] = ()
    for some in (left, right, driven):
        if not some:
            continue
        per_recording, lap_remarks = laps_by_recording(some, plane, is_open=is_open)
        laps = [lap for recording_laps in per_recording for lap in recording_laps]
        alike = Layout(tuple(laps)) if is_open else layouts_of(laps)[0]
        fitted = fit_line(alike.laps, closed=not is_open, strays=alike.strays)
        lines.append(fitted)
        remarks += lap_remarks + tuple(reason for _, reason in fitted.rejected)
        sources += source_entries(some, per_recording, {id(lap) for lap in fitted.laps})
    edges = _the_right_way(lines[0].curve, lines[1].curve, lines[2] if driven else None)
    centre, width = _between(*edges)
    _require_sensible(width)
    track, more = assembled(
        centre,
        plane,
        name,
        layout,
        _at_speed(centre, lines[2]) if driven else None,
        finish=finish,
        sectors=sectors,
        sources=tuple(sources),
        width_m=round(float(np.median(width)), 2),
    )
    track = _with_profile(track, plane, *edges)
    chainage = centre.chainages(_SPACING_M)
    accuracy = _known_between(centre, chainage, lines[0], lines[1])
    track = with_accuracy(track, plane, centre, chainage, accuracy)
    # The width is the difference of two lines of which the centre is the mean.
    sigma = 2.0 * accuracy.rms_m
    more = tuple(remark for remark in more if "drawn line" not in remark)
    width_remark = (
        f"width {width.min():.1f} to {width.max():.1f} m between the edges, known to about "
        f"{sigma:.1f} m, one sigma: record both with one receiver in one go"
    )
    remarks += (width_remark,)
    track = replace(track, line="centre")
    track = track.revised_by(f"accuracy_m estimated {accuracy.basis}", now())
    track = track.revised_by("built from its left and right edge", now())
    removed: dict[str, int] = {}
    for recording in recordings:
        for reason, count in recording.removed.items():
            removed[reason] = removed.get(reason, 0) + count
    profile = track.centreline.width_profile or ()
    used = len(lines[2].laps) if driven else 0
    return Build(
        track,
        used,
        removed,
        (*remarks, *more),
        lines[-1],
        profile,
        remedies=end_remedies(track, finish),
    )


def _known_between(
    centre: Curve, chainage_m: Floats, left: FittedLine, right: FittedLine
) -> KnownLine:
    """Tell how well the line midway between two edges is known, which share nothing."""
    place = centre.position(chainage_m)
    variance, ranks = np.zeros(len(chainage_m)), []
    for edge in (left, right):
        where, _ = edge.curve.project(place)
        sigma, kind_of_edge = edge.accuracy.at(edge.curve, edge.chainage_m, where)
        variance += 0.25 * sigma**2
        ranks.append(ranks_of(kind_of_edge))
    # Where one of them is not measured, the centre is not either.
    kind = np.array(ACCURACY_KINDS)[np.maximum(*ranks)]
    basis = "from that of the two edges, " + left.accuracy.basis
    assumed = left.accuracy.assumed or right.accuracy.assumed
    return KnownLine(np.sqrt(variance), kind, basis, assumed)


def _the_right_way(left: Curve, right: Curve, driven: FittedLine | None) -> tuple[Curve, Curve]:
    """Turn the edges into racing direction, each on its side.

    Raises
    ------
    NoLapError
        When the edge said to be left is on the driver's right.
    """
    if not _alike(left, right):
        right = _turned(right)
    if driven is not None:
        if not _alike(driven.curve, left):
            left, right = _turned(left), _turned(right)
        if _mean_offset(right, left) < 0:
            raise NoLapError(
                "the edge said to be the left one lies on the right of the laps driven",
                remedy="swap the left and the right edge",
            )
    elif _mean_offset(right, left) < 0:
        left, right = _turned(left), _turned(right)
    return left, right


def _turned(curve: Curve) -> Curve:
    return Curve.through(curve.position(curve.chainages(_SPACING_M))[::-1], closed=curve.closed)


def _alike(line: Curve, other: Curve) -> bool:
    chainage = line.chainages(4.0)
    where, _ = other.project(line.position(chainage))
    facing = np.einsum("ij,ij->i", line.direction(chainage), other.direction(where))
    return float(np.median(facing)) > 0


def _mean_offset(line: Curve, other: Curve) -> float:
    chainage = line.chainages(4.0)
    return float(np.median(_across(line, chainage, other)))


def _across(line: Curve, chainage_m: Floats, other: Curve) -> Floats:
    """Measure how far to the left another line is, square to this one, metres."""
    place, ahead, left = (
        line.position(chainage_m),
        line.direction(chainage_m),
        line.left(chainage_m),
    )
    where, _ = other.project(place, ahead)
    for _ in range(4):
        away = other.position(where) - place
        along = np.einsum("ij,ij->i", away, ahead)
        facing = np.einsum("ij,ij->i", other.direction(where), ahead)
        where = other.wrap(where - np.clip(along / np.maximum(facing, 0.3), -3.0, 3.0))
    return np.asarray(np.einsum("ij,ij->i", other.position(where) - place, left))


def _between(left: Curve, right: Curve) -> tuple[Curve, Floats]:
    """Lay the line midway between two edges, and the distance between them along it."""
    line = left
    for _ in range(_ROUNDS):
        chainage = line.chainages(_SPACING_M)
        aside = 0.5 * (_across(line, chainage, left) + _across(line, chainage, right))
        middle = line.position(chainage) + aside[:, None] * line.left(chainage)
        line = smoothed_curve(middle, closed=line.closed, wavelength_m=_CENTRE_WAVELENGTH_M)
    chainage = line.chainages(_SPACING_M)
    return line, _across(line, chainage, left) - _across(line, chainage, right)


def _require_sensible(width_m: Floats) -> None:
    narrow, wide = float(width_m.min()), float(width_m.max())
    if narrow < NARROWEST_M or wide > WIDEST_M:
        raise NoLapError(
            f"the edges are {narrow:.1f} to {wide:.1f} m apart: they are not those of one track, "
            "or not of one layout",
            remedy=f"record each edge all the way round, {NARROWEST_M:.0f} to {WIDEST_M:.0f} m "
            "apart",
        )


def _at_speed(centre: Curve, driven: FittedLine) -> FittedLine:
    """Carry speeds and heights of driven laps over to the centre, beside them."""
    chainage = centre.chainages(_SPACING_M)
    where, _ = driven.curve.project(centre.position(chainage), centre.direction(chainage))
    period = driven.curve.length_m if centre.closed else None
    speed, height = (
        np.interp(where, driven.chainage_m, column, period=period)
        for column in (driven.speed_mps, driven.height_m)
    )
    unknown = np.ones((1, len(chainage)))
    return replace(
        driven,
        curve=centre,
        chainage_m=chainage,
        speed_mps=speed,
        height_m=height,
        offset_m=0.0 * unknown,
        weight=unknown,
    )


def _with_profile(track: Track, plane: LocalPlane, left: Curve, right: Curve) -> Track:
    """Write the distances to both edges by chainage."""
    curve = track.curve
    chainage = curve.chainages(_SPACING_M)
    sides = []
    for edge in (left, right):
        vertex = track.plane.to_plane(
            *plane.to_geographic(edge.position(edge.chainages(_SPACING_M)))
        )
        across = _across(curve, chainage, Curve.through(vertex, closed=edge.closed))
        sides.append(moving_mean(across, _WIDTH_OVER_M, float(chainage[1]), closed=curve.closed))
    every = max(1, round(PROFILE_STEP_M / float(chainage[1])))
    profile = tuple(
        (round(at, 2), round(to_left, 2), round(-to_right, 2))
        for at, to_left, to_right in zip(
            chainage[::every].tolist(),
            sides[0][::every].tolist(),
            sides[1][::every].tolist(),
            strict=True,
        )
    )
    return replace(track, centreline=replace(track.centreline, width_profile=profile))
