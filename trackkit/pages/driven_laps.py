"""What a page holds of laps along the line: time, speed, accelerations, distance to the side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.pages.nearby import NEAR_M, Shown
from trackkit.pages.packing import pack
from trackkit.recordings.recording import Recording
from trackkit.timing.driving_sessions import DrivingSession
from trackkit.timing.laps import Lap
from trackkit.timing.traces import STEP_M, Span, Trace, lap_chainages, traces_at, traces_of_spans
from trackkit.track.model import Track

MOST_FIXES = 120_000
"""More are thinned out evenly: they would make the page larger than it needs to be."""
MOST_TRACE_ROWS = 100_000
FINEST_GRID_M = 2.0
"""Distance between two rows of a lap's speed and time; more where laps are many."""
_SPEED_MPS, _TIME_S, _LENGTH_M, _GAIN_MPS2 = 0.01, 1e-4, 0.01, 0.01
_FARTHEST_M = 100.0
"""Fixes farther apart than this were not driven one after the other."""
_LAP_KEYS = ("session", "number", "kind", "complete", "start_s", "time_s")
"""What of a lap does not change with its gates as far as its trace goes."""


@dataclass(frozen=True)
class Thinning:
    """How much of what was driven a page holds.

    Parameters
    ----------
    every
        One of so many fixes.
    stride
        One of so many rows, `STEP_M` apart, of a lap.
    """

    every: int
    stride: int

    @classmethod
    def of(cls, track: Track, recordings: Sequence[Recording], shown: Sequence[Shown]) -> Thinning:
        """Have the page of some recordings, and what is shown of them, small enough."""
        fixes = sum(part.count for part in shown if part.drawn)
        driven_m = sum(
            _driven_m(track, recording, part)
            for recording, part in zip(recordings, shown, strict=True)
        )
        stride = max(
            round(FINEST_GRID_M / STEP_M), int(np.ceil(driven_m / MOST_TRACE_ROWS / STEP_M))
        )
        return cls(max(1, -(-fixes // MOST_FIXES)), stride)

    @property
    def grid_m(self) -> float:
        """Distance between two rows of a lap."""
        return self.stride * STEP_M


def _driven_m(track: Track, recording: Recording, shown: Shown) -> float:
    place = track.plane.to_plane(
        recording.longitude_deg[shown.fixes], recording.latitude_deg[shown.fixes]
    )
    step = np.hypot(*np.diff(place, axis=0).T)
    return float(step[step < _FARTHEST_M].sum())


def driven_laps(
    track: Track,
    thinning: Thinning,
    drive: Drive,
    laps: Sequence[Lap],
    sessions: Sequence[DrivingSession],
    shown: Shown,
) -> list[dict[str, Any]]:
    """Lay the laps of a recording out along the line.

    Parameters
    ----------
    track
        The track.
    thinning
        How closely.
    drive, laps
        A smoothed recording, and the laps in it.
    sessions
        Those of the recording, where ways to the first lap and from the last are to be laid out
        too.
    shown
        What of it is shown.

    Returns
    -------
    list of dict
        A row a lap, ready for `json.dumps`, as pages/web/base.schema.json says.
    """
    places = lap_chainages(track, STEP_M)[:: thinning.stride]
    traces = traces_at(track, drive, laps, places)
    ways = ways_of(drive, laps, sessions)
    spans = [way for way in ways if way is not None]
    begun = [float(drive.time_s[span.first]) for span in spans]
    made = iter(traces_of_spans(track, drive, spans, begun, places))
    every = [trace if way is None else next(made) for trace, way in zip(traces, ways, strict=True)]
    origins = [
        (lap.start_s or 0.0) if way is None else float(drive.time_s[way.first])
        for lap, way in zip(laps, ways, strict=True)
    ]
    offsets = _offsets(track, drive, origins, every)
    return [
        {
            **shown.of_lap({key: row[key] for key in _LAP_KEYS}, lap),
            "fixes": _fixes_of(shown, lap, thinning.every),
            "from_m": 0.0 if trace is None else float(trace.chainage_m[0]),
            **_traced(trace, offset, shown, lap, way, origin),
        }
        for lap, row, trace, offset, way, origin in zip(
            laps, (lap.as_row() for lap in laps), every, offsets, ways, origins, strict=True
        )
    ]


def ways_of(
    drive: Drive, laps: Sequence[Lap], sessions: Sequence[DrivingSession]
) -> list[Span | None]:
    """Find the fixes of the ways to first laps and from last ones; None of what is no such way."""
    return [_way(drive, lap, sessions) if lap.time_s is None else None for lap in laps]


def _way(drive: Drive, lap: Lap, sessions: Sequence[DrivingSession]) -> Span | None:
    """Find the fixes of the way to the first lap of a session, or from its last."""
    session = next((one for one in sessions if one.number == lap.session), None)
    first, last = (lap.passed[0], lap.passed[-1]) if lap.passed else (None, None)
    if session is None or (first is None) == (last is None):
        return None
    if first is not None:
        end = int(np.searchsorted(drive.time_s, session.end_s, side="right")) - 1
        return Span(first.fix, max(end, first.fix))
    begin = int(np.searchsorted(drive.time_s, session.begin_s))
    return None if last is None else Span(min(begin, last.fix), last.fix, ended=True)


def _traced(
    trace: Trace | None,
    offset_m: Floats,
    shown: Shown,
    lap: Lap,
    way: Span | None,
    origin_s: float,
) -> dict[str, Any]:
    """Pack a trace, and say of a way to a lap or from one when it passed the gate."""
    if trace is None:
        return {"trace": None, "way": None}
    elapsed = trace.elapsed_s
    near = np.abs(offset_m) <= NEAR_M
    # What went away passes the lines square to the track far from it as well.
    kept = near if way is not None else np.full(len(near), shown.shows_all_of(lap)) | near
    row = None
    if way is not None:
        passed = lap.passed[0] or lap.passed[-1]
        if passed is None or not np.isfinite(elapsed[kept]).any():
            return {"trace": None, "way": None}
        at_gate = passed.time_s - origin_s
        # Times count from the first place shown: how long it was driven before is not told.
        since = float(min(np.nanmin(elapsed[kept]), at_gate))
        elapsed, at_gate = elapsed - since, at_gate - since
        row = {
            "start_s": max(origin_s + since - shown.begin_s, 0.0),
            "begun_s": None if way.ended else round(at_gate, 6),
            "ended_s": round(at_gate, 6) if way.ended else None,
        }
    columns = {
        "time_s": (_steps(np.where(kept, elapsed, np.nan)), _TIME_S),
        "speed_mps": (trace.speed_mps, _SPEED_MPS),
        "offset_m": (offset_m, _LENGTH_M),
        "along_mps2": (trace.longitudinal_mps2, _GAIN_MPS2),
        "across_mps2": (trace.lateral_mps2, _GAIN_MPS2),
    }
    packed = {
        name: pack(np.where(kept, values, np.nan), step) for name, (values, step) in columns.items()
    }
    return {"trace": packed, "way": row}


def _steps(time_s: Floats) -> Floats:
    """Each time less the last that is known, in whole steps, so that what is rounded adds up."""
    steps = np.full(len(time_s), np.nan)
    there = np.isfinite(time_s)
    whole = np.rint(time_s[there] / _TIME_S) * _TIME_S
    steps[there] = np.diff(whole, prepend=0.0)
    return steps


def _offsets(
    track: Track, drive: Drive, origins_s: Sequence[float], traces: Sequence[Trace | None]
) -> list[Floats]:
    """How far to the left of places of the centreline laps pass them, metres."""
    begun = [
        np.zeros(0) if trace is None else origin + trace.elapsed_s
        for origin, trace in zip(origins_s, traces, strict=True)
    ]
    offsets = [np.full(len(when), np.nan) for when in begun]
    reached = [np.flatnonzero(np.isfinite(when)) for when in begun]
    if not any(len(own) for own in reached):
        return offsets
    chainage = next(trace.chainage_m for trace in traces if trace is not None)
    place = np.concatenate(reached)
    position, _ = drive.at(np.concatenate([w[r] for w, r in zip(begun, reached, strict=True)]))
    # The drive may be on another plane than the track has now.
    on_track = track.plane.to_plane(*drive.plane.to_geographic(position))
    line, left = track.curve.position(chainage)[place], track.curve.left(chainage)[place]
    aside = np.einsum("ij,ij->i", on_track - line, left)
    ends = np.cumsum([len(own) for own in reached])[:-1]
    for offset, own, values in zip(offsets, reached, np.split(aside, ends), strict=True):
        offset[own] = values
    return offsets


def _fixes_of(shown: Shown, lap: Lap, every: int) -> list[int] | None:
    """First and one-past-last of the fixes handed over that belong to a lap."""
    if lap.start_s is None or lap.time_s is None:
        return None
    time: NDArray[np.float64] = shown.time_s[shown.fixes][::every]
    first, last = np.searchsorted(time, [lap.start_s, lap.start_s + lap.time_s])
    return [int(first), int(last)]
