"""A recording timed and laid out for a page, where its drive is at hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from trackkit.arrays import Floats
from trackkit.errors import PlaceError
from trackkit.motion.drive import Drive
from trackkit.motion.projected import keep, projected
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
    along
        Where along the line its drives by themselves are, from `trackkit.motion.projected`.
    """

    timed: TimedRecording
    laps: Sequence[Mapping[str, Any]]
    compared: Mapping[str, Any] | None
    along: tuple[tuple[Floats, Floats], ...]

    def again_over(self, track: Track) -> LaidOut:
        """Take a track for the one it was laid out on, of which it had a copy."""
        self.timed.again_over(track)
        for drive, places in zip(_drives_alone(self.timed), self.along, strict=True):
            keep(drive, track.curve, places)
        return self


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
    along = tuple(projected(drive, track.curve) for drive in _drives_alone(timed))
    return LaidOut(
        timed,
        driven_laps(track, thinning, timed.drive, laps, sessions, shown),
        compared_laps(track, timed.drive, shown_laps, shown.begin_s, sessions),
        along,
    )


def _drives_alone(timed: TimedRecording) -> list[Drive]:
    """List what checks hold against the line: laps together are drawn towards it."""
    alone = timed.drive.alone()
    return [alone] if alone is timed.by_itself else [alone, timed.by_itself]
