"""A recording timed and laid out for a page, where its drive is at hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from trackkit.errors import PlaceError
from trackkit.pages.comparison import compared_laps
from trackkit.pages.driven_laps import Thinning, driven_laps
from trackkit.pages.nearby import Shown
from trackkit.recordings.recording import Recording
from trackkit.timing.driving_sessions import DrivingSession
from trackkit.timing.lap_times import TimedRecording, timed_over
from trackkit.timing.laps import Lap
from trackkit.track.model import Track


@dataclass(frozen=True, eq=False)
class LaidOut:
    """A recording as a page has it.

    Parameters
    ----------
    timed
        The recording, timed.
    laps
        Its laps along the line, from `trackkit.pages.driven_laps.driven_laps`.
    compared
        What they are compared by, from `trackkit.pages.comparison.compared_laps`.
    """

    timed: TimedRecording
    laps: Sequence[Mapping[str, Any]]
    compared: Mapping[str, Any] | None


def laid_out(track: Track, thinning: Thinning, of: tuple[Recording, Shown]) -> LaidOut:
    """Time a recording and lay its laps out; `thinning` says how closely, `Shown` what of it."""
    recording, shown = of
    timed = timed_over(track, recording)
    laps: Sequence[Lap] = ()
    sessions: Sequence[DrivingSession] = ()
    with suppress(PlaceError):
        report = timed.report(track)
        laps, sessions = report.laps, report.sessions
    shown_laps = [lap for lap in laps if shown.shows_all_of(lap)]
    return LaidOut(
        timed,
        driven_laps(track, thinning, timed.drive, laps, sessions, shown),
        compared_laps(track, timed.drive, shown_laps, shown.begin_s),
    )
