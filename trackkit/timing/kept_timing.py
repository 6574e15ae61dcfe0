"""A timed recording in few bytes, and its laps timed again over gates that have moved.

What a recording and the line of its track tell is kept: the smoothed drive, less what its laps told
that it is off, and its sessions.  Gates make no difference to it but by the laps that they cut: how
many of them there are decides whether they tell anything.  Without velocities laps also tell how
far the receiver wanders; that is taken to be the same however they are cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple
from datetime import datetime
from functools import lru_cache
from typing import Any, get_args

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve
from trackkit.motion.beside_track import line_shift_m
from trackkit.motion.kept_drive import drive_of_row, drive_row
from trackkit.timing.crossed_laps import Parts
from trackkit.timing.driving_sessions import DrivingSession, Ending
from trackkit.timing.kept_columns import LINE
from trackkit.timing.lap_times import TimedRecording, laps_of_drive
from trackkit.timing.lap_wander import FEWEST_LAPS
from trackkit.timing.report import LapReport
from trackkit.timing.rules import LapRules
from trackkit.timing.shared_line import FEWEST
from trackkit.track.features import Centreline
from trackkit.track.model import Track

_SAME_LINE_M = 0.02
"""A line that is cut at another place bends by no more than this between its vertices."""
_SAME_SHIFT = 0.1
"""Share by which what is known of a line's place may differ: cut elsewhere, its mean does."""
_ENDINGS: tuple[Ending, ...] = get_args(Ending)


def timing_row(timed: TimedRecording, track: Track, rules: LapRules) -> dict[str, Any]:
    """Keep what a recording and the line of its track tell.

    Parameters
    ----------
    timed
        After `TimedRecording.report` over the track.
    track
        The track.
    rules
        By which it was timed.

    Returns
    -------
    dict
        By the names `TIMING_NUMBERS`, `TIMING_TRUTHS`, `TIMING_WHOLES` and `TIMING_LISTS`, and
        ``whole_laps``.
    """
    spells, sessions = timed.parts(rules)
    line = track.centreline
    return drive_row(timed.drive) | {
        "antenna_ahead_m": timed.antenna_ahead_m,
        "rules": np.array(astuple(rules), dtype=float),
        "line_width_m": line.width_m,
        "line_shift_m": line_shift_m(track),
        "line_longitude_deg": np.asarray(line.longitude_deg),
        "line_latitude_deg": np.asarray(line.latitude_deg),
        "stood_s": spells.ravel(),
        "sessions_s": np.array(
            [
                (
                    each.begin_s,
                    each.end_s,
                    np.nan if each.for_s is None else each.for_s,
                    each.without_s,
                )
                for each in sessions
            ],
            dtype=float,
        ).ravel(),
        "endings": np.array([_ENDINGS.index(each.ending) for each in sessions], dtype=np.int64),
        "whole_laps": timed.wander_laps,
        "laps_tell_wander": not timed.by_itself.wander_from_recording,
    }


def report_of_row(
    row: Mapping[str, Any], track: Track, name: str, start: datetime | None
) -> LapReport | None:
    """Time the laps of a kept recording.

    Parameters
    ----------
    row
        From `timing_row`.
    track
        With any gates.
    name, start
        Of the recording.

    Returns
    -------
    LapReport or None
        None where the row does not serve: the line is another one than it was, or laps now tell
        what they did not, or no longer do.
    """
    if not _same_line(row, track):
        return None
    drive = drive_of_row(row, name, start, located=True)
    report = laps_of_drive(track, drive, _parts(row), rules_of_row(row), row["antenna_ahead_m"])
    whole = sum(track.closed and lap.is_whole and lap.time_s is not None for lap in report.laps)
    least = (FEWEST, FEWEST_LAPS) if row["laps_tell_wander"] else (FEWEST,)
    alike = all((whole < few) == (row["whole_laps"] < few) for few in least)
    return report if alike else None


def rules_of_row(row: Mapping[str, Any]) -> LapRules:
    """Tell by which rules a kept recording was timed."""
    stand_s, gap_s, within, all_laps = row["rules"]
    return LapRules(float(stand_s), float(gap_s), float(within), bool(all_laps))


def _parts(row: Mapping[str, Any]) -> Parts:
    sessions = tuple(
        DrivingSession(
            number + 1,
            begin_s,
            end_s,
            _ENDINGS[ending],
            None if np.isnan(for_s) else for_s,
            without_s,
        )
        for number, (ending, (begin_s, end_s, for_s, without_s)) in enumerate(
            zip(row["endings"], np.reshape(row["sessions_s"], (-1, 4)).tolist(), strict=True)
        )
    )
    return np.reshape(np.asarray(row["stood_s"], dtype=float), (-1, 2)), sessions


def _same_line(row: Mapping[str, Any], track: Track) -> bool:
    """Tell whether a track's line is the one of a row, wherever either begins."""
    line = track.centreline
    before = tuple(np.asarray(row[name], dtype=float) for name in LINE)
    shift_m = line_shift_m(track)
    if line.width_m != row["line_width_m"]:
        return False
    if abs(shift_m - row["line_shift_m"]) > _SAME_SHIFT * shift_m:
        return False
    if all(np.array_equal(*pair) for pair in zip(before, _positions(line), strict=True)):
        return True
    return _same_ground(np.stack(before).tobytes(), line)


def _positions(line: Centreline) -> tuple[Floats, Floats]:
    return line.longitude_deg, line.latitude_deg


@lru_cache(maxsize=64)
def _same_ground(before: bytes, line: Centreline) -> bool:
    """Tell whether a line runs where one did whose positions these are, and the same way."""
    vertex_m = line.plane.to_plane(*np.frombuffer(before).reshape(2, -1))
    ends_m = float(np.linalg.norm(vertex_m[-1] - vertex_m[0]))
    if (ends_m <= _SAME_LINE_M) != line.closed:
        return False
    curve = Curve.through(vertex_m, closed=line.closed)
    for vertex_m, other in ((curve.vertex_m, line.curve), (line.curve.vertex_m, curve)):
        where_m, aside_m = other.project(vertex_m)
        # Only vertices that one of the two lacks can be off the other.
        if np.abs(aside_m).max() > _SAME_LINE_M or np.count_nonzero(np.diff(where_m) < 0.0) > 1:
            return False
    return True
