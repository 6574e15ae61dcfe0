"""From recordings, or a line already drawn, to a whole track."""

from __future__ import annotations

import pathlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from trackkit.budgets import require
from trackkit.building.assemble import assembled, end_remedies
from trackkit.building.find_laps import FoundLap, find_runs
from trackkit.building.fit import FittedLine, fit_line
from trackkit.building.layouts import (
    all_laps,
    chosen,
    layout_remarks,
    layouts_of,
    other_layouts,
)
from trackkit.building.path import Path, path_driven
from trackkit.building.pit_lane import find_pit_lane, with_pit_lane
from trackkit.building.tell_accuracy import accuracy_remarks, left_out_remarks, with_accuracy
from trackkit.errors import NoLapError, RecordingError
from trackkit.files import sha256_of
from trackkit.geometry.geodesy import LocalPlane, extent_m, unwrap_longitude
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.track.places import Place

_BAND_STEP_M = 10.0


@dataclass(frozen=True, eq=False)
class Build:
    """A track and how it came about.

    Parameters
    ----------
    track
        The track.
    laps_used
        How many laps it is made of; 0 for a drawn line.
    removed
        How many fixes the readers removed, by reason.
    remarks
        Sentences about what was assumed, found and left out.
    fitted
        The averaged line on `Track.plane`'s neighbour, the plane of the build; None when drawn.
    band
        Rows of (chainage_m, left_m, right_m), every 10 m or so: how far from the line the laps
        ran on either side, or how far the edges are; empty for one lap.
    laps
        Every lap found, with why it was not used, or nothing where it was.
    remedies
        What can be done about what was assumed or left out.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("gullhatch-oval").path
    >>> drive = trackkit.simulate_drive(trackkit.read_track(path), laps=2, rate_hz=5, seed=1)
    >>> build = trackkit.build_track([drive.recording], "Practice Oval")
    >>> build.track.name, build.laps_used
    ('Practice Oval', 3)
    """

    track: Track
    laps_used: int
    removed: dict[str, int]
    remarks: tuple[str, ...]
    fitted: FittedLine | None = None
    band: tuple[tuple[float, float, float], ...] = ()
    laps: tuple[tuple[FoundLap, str], ...] = ()
    remedies: tuple[Remedy, ...] = ()

    def __repr__(self) -> str:
        return f"Build({self.track!r}, of {self.laps_used} lap{'' if self.laps_used == 1 else 's'})"


def build_track(
    recordings: Sequence[Recording],
    name: str,
    *,
    layout: str = "",
    is_open: bool = False,
    finish: Place | None = None,
    sectors: int = 1,
    lap_length_m: float | None = None,
    pit_gates: bool = False,
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
        Where the finish gate goes; chosen by `trackkit.gates.choose.choose_finish` when None.
    sectors
        How many sectors; one fewer sector gates are placed.
    lap_length_m
        Of several layouts in the recordings, build the one whose lap is about so long, metres; the
        most driven one when None.
    pit_gates
        Whether to place pit-entry and pit-exit gates across the pit lane, where one is found.

    Returns
    -------
    Build
        The track and how it came about.

    Raises
    ------
    NoLapError
        When no recording holds a whole lap, or none of the length asked for.
    PlaceError
        When `finish` is off the track.
    RecordingError
        When the recordings lie too far apart to be of one circuit.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("gullhatch-oval").path
    >>> drive = trackkit.simulate_drive(trackkit.read_track(path), laps=2, rate_hz=5, seed=1)
    >>> build = trackkit.build_track([drive.recording], "Practice Oval", sectors=3)
    >>> build.laps_used, [gate.kind for gate in build.track.gates]
    (3, ['finish', 'sector', 'sector'])
    """
    plane = plane_of(recordings)
    per_recording, remarks = laps_by_recording(recordings, plane, is_open=is_open)
    laps = [lap for recording_laps in per_recording for lap in recording_laps]
    strays: tuple[FoundLap, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    if not is_open:
        layouts = layouts_of(laps)
        layout_built = chosen(layouts, lap_length_m)
        names = [r.name for r in recordings]
        remarks += layout_remarks(layouts, layout_built, per_recording, names)
        remedies = other_layouts(layouts, layout_built)
        laps, strays = list(layout_built.laps), layout_built.strays
    fitted = fit_line(laps, closed=not is_open, strays=strays)
    remarks += tuple(reason for _, reason in fitted.rejected)
    remarks += _stop_remarks(fitted)
    if is_open:
        remarks += left_out_remarks(per_recording, fitted.laps)
    sources = source_entries(recordings, per_recording, {id(lap) for lap in fitted.laps})
    lane = find_pit_lane(fitted, list(_paths(per_recording)))
    track, more = assembled(
        fitted.curve,
        plane,
        name,
        layout,
        fitted,
        finish=finish,
        sectors=sectors,
        sources=sources,
        pit_lane=None if lane is None else lane.curve,
    )
    if lane is not None:
        track, lane_remarks = with_pit_lane(track, lane, plane, gates=pit_gates)
        more += lane_remarks
    elif pit_gates:
        more += ("no lap leaves the line for a pit lane: no pit gates were placed",)
    removed: dict[str, int] = {}
    for recording in recordings:
        for reason, count in recording.removed.items():
            removed[reason] = removed.get(reason, 0) + count
    what = "lap" if not is_open else "run"
    count = len(fitted.laps)
    plural = "s" if count != 1 else ""
    when = track.revised or now()
    track = with_accuracy(track, plane, fitted.curve, fitted.chainage_m, fitted.accuracy)
    remarks += accuracy_remarks(track, fitted)
    track = track.revised_by(f"accuracy_m estimated {fitted.accuracy.basis}", when)
    track = track.revised_by(f"built from {count} {what}{plural}", when)
    return Build(
        track,
        count,
        removed,
        (*remarks, *more),
        fitted,
        band_driven(fitted, track, plane),
        with_reasons(per_recording, fitted),
        (*remedies, *end_remedies(track, finish)),
    )


def plane_of(recordings: Sequence[Recording]) -> LocalPlane:
    """Lay a plane around recordings.

    Raises
    ------
    RecordingError
        When they lie too far apart to be of one circuit.
    """
    longitude = np.concatenate([r.longitude_deg for r in recordings])
    latitude = np.concatenate([r.latitude_deg for r in recordings])
    require(
        "extent_m",
        extent_m(unwrap_longitude(longitude), latitude),
        RecordingError,
        "the recordings lie across",
        remedy="build each circuit from recordings of its own",
    )
    return LocalPlane.around(longitude, latitude)


def laps_by_recording(
    recordings: Sequence[Recording], plane: LocalPlane, *, is_open: bool
) -> tuple[list[list[FoundLap]], tuple[str, ...]]:
    """Find the laps of every recording; one without any is only an error when all are."""
    per_recording: list[list[FoundLap]] = []
    remarks: list[str] = []
    failures: list[NoLapError] = []
    find = find_runs if is_open else all_laps
    for recording in recordings:
        try:
            laps = find(path_driven(smooth(recording, plane)), recording.name)
        except NoLapError as error:
            failures.append(error)
            remarks.append(f"{error} (not used)")
            laps = []
        per_recording.append(laps)
    if not any(per_recording):
        raise failures[0]
    return per_recording, tuple(remarks)


def band_driven(
    fitted: FittedLine, track: Track, plane: LocalPlane
) -> tuple[tuple[float, float, float], ...]:
    """Read how far to either side the laps ran, by the track's own chainage."""
    if len(fitted.laps) < 2:
        return ()
    ran = np.where(fitted.weight > 0, fitted.offset_m, 0.0)
    left, right = np.maximum(ran.max(axis=0), 0.0), np.maximum(-ran.min(axis=0), 0.0)
    datum, _ = fitted.curve.project(
        plane.to_plane(track.centreline.longitude_deg[0], track.centreline.latitude_deg[0])
    )
    period = fitted.curve.length_m if track.closed else None
    rows = []
    for chainage in track.curve.chainages(_BAND_STEP_M).tolist():
        there = float(fitted.curve.wrap(float(datum) + chainage))
        rows.append(
            (
                chainage,
                float(np.interp(there, fitted.chainage_m, left, period=period)),
                float(np.interp(there, fitted.chainage_m, right, period=period)),
            )
        )
    return tuple(rows)


def _stop_remarks(fitted: FittedLine) -> tuple[str, ...]:
    stops = {
        stop for lap in fitted.laps for stop in lap.path.stops if lap.start_s < stop[0] < lap.end_s
    }
    if not stops:
        return ()
    times = ", ".join(f"{lasting:.0f} s" for _, lasting in sorted(stops))
    plural = "s" if len(stops) > 1 else ""
    return (f"removed {len(stops)} stop{plural} on the way ({times})",)


def _paths(per_recording: Sequence[Sequence[FoundLap]]) -> Iterator[Path]:
    for laps in per_recording:
        if laps:
            yield laps[0].path


def with_reasons(
    per_recording: Sequence[Sequence[FoundLap]], fitted: FittedLine
) -> tuple[tuple[FoundLap, str], ...]:
    """Pair every lap found with why it was not used, or nothing where it was."""
    reason = {id(lap): why for lap, why in fitted.rejected} | {id(lap): "" for lap in fitted.laps}
    return tuple(
        (lap, reason.get(id(lap), f"the lap at {lap.start_s:,.0f} s is of another layout"))
        for laps in per_recording
        for lap in laps
    )


def source_entries(
    recordings: Sequence[Recording], per_recording: Sequence[Sequence[FoundLap]], used: set[int]
) -> tuple[dict[str, Any], ...]:
    """Describe recordings as sources of a track, each with how many of its laps were used.

    Parameters
    ----------
    recordings, per_recording
        The recordings and the laps found in each.
    used
        Identities (`id`) of the laps that were used.
    """
    return tuple(
        {
            "file": pathlib.Path(recording.name).name,
            **_digest(recording.name),
            "laps": sum(id(lap) in used for lap in laps),
        }
        for recording, laps in zip(recordings, per_recording, strict=True)
    )


def _digest(name: str) -> dict[str, str]:
    """SHA-256 of a recording's file, where its name is one."""
    try:
        return {"sha256": sha256_of(name)}
    except OSError:
        return {}
