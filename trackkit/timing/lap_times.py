"""Laps, sectors, theoretical and continuous best, each time with its uncertainty."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import chain

from trackkit.errors import PlaceError
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.drive import Drive
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording
from trackkit.timing.crossed_laps import Pair, Parts, lap_report, laps_of_crossings
from trackkit.timing.crossings import (
    AGAIN_M,
    Crossing,
    CrossingCovariance,
    cross,
    sum_sigmas,
)
from trackkit.timing.driving_sessions import driving_sessions, standing_spells
from trackkit.timing.lap_wander import levels_from_laps
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.rules import USUAL_RULES, LapRules
from trackkit.timing.shared_line import corrected
from trackkit.track.crossed import crossed_gates
from trackkit.track.features import Centreline, Position
from trackkit.track.model import Track

_MOST_TOGETHER = 1000
"""Of more crossings, what each is off with each other takes too much room."""
_SAME_PLANE_DEG = 1e-7
"""Planes whose origins are closer than this (1 cm) are taken for one."""


def time_laps(
    track: Track,
    recording: Recording,
    rules: LapRules = USUAL_RULES,
    *,
    antenna_ahead_m: float = 0.0,
) -> LapReport:
    """Time the laps of a recording over a track.

    The recording is parted into sessions where its vehicle stands, or fixes are missing, for long;
    no lap goes from one to another.  A lap with something wrong with it says so and does not count.

    Where the recording alone cannot tell the receiver's wander, its laps do, from six on, and the
    drive is smoothed again with what they say.  What all laps together say of how far the drive is
    off from place to place is taken off it.

    Parameters
    ----------
    track
        With a finish gate (and a start gate, when it is not closed).
    recording
        Of any drive; one that never comes near gives a report without laps.
    rules
        What parts sessions, and which laps count.
    antenna_ahead_m
        How far the antenna is ahead of what crosses the line, the vehicle's nose, metres; negative
        if it is behind.

    Returns
    -------
    LapReport
        With the smoothed drive.

    Raises
    ------
    PlaceError
        When the track lacks the gates that laps begin and end at.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> [(lap.kind, lap.counts) for lap in report.laps]
    [('out', False), ('flying', True), ('flying', True), ('in', False)]
    >>> abs(report.best_lap_s - min(lap["time_s"] for lap in drive.truth["laps"])) < 0.02
    True
    """
    timed = TimedRecording.smoothed(recording, track.plane, antenna_ahead_m)
    return timed.report(track, rules=rules)


def timed_over(track: Track, recording: Recording) -> TimedRecording:
    """Smooth a recording and time it over a track, if that has gates that laps begin and end at."""
    timed = TimedRecording.smoothed(recording, track.plane)
    with suppress(PlaceError):
        timed.report(track)
    return timed


_Crossings = dict[tuple[str, Position, Position], list[Crossing]]
"""Crossings of gates, by their ids and ends."""


@dataclass(eq=False, repr=False)
class TimedRecording:
    """A recording, its drive, and what timing it remembers of gates that have not moved since.

    Parameters
    ----------
    recording
        Of any drive.
    by_itself
        Smoothed with what the recording itself tells.
    drive
        What laps are timed on: where the recording alone cannot tell the receiver's wander,
        smoothed with what its laps tell; and less what its laps together tell that it is off.
    antenna_ahead_m
        How far the antenna is ahead of what crosses the line.
    """

    recording: Recording
    by_itself: Drive
    drive: Drive
    antenna_ahead_m: float = 0.0
    _wander_laps: tuple[tuple[float, float], ...] | None = field(default=None, init=False)
    _alone: Drive | None = field(default=None, init=False)
    _corrected_by: Centreline | None = field(default=None, init=False)
    _parted: tuple[LapRules, Parts] | None = field(default=None, init=False)
    _crossings_by_itself: _Crossings = field(default_factory=dict, init=False)
    _crossings: _Crossings = field(default_factory=dict, init=False)
    _sigmas: dict[tuple[Crossing, Crossing], float] = field(default_factory=dict, init=False)
    _sigmas_before_drag: dict[tuple[str, str, int], float] = field(default_factory=dict, init=False)
    _reported: tuple[Track, LapRules, LapReport] | None = field(default=None, init=False)

    @classmethod
    def smoothed(
        cls, recording: Recording, plane: LocalPlane, antenna_ahead_m: float = 0.0
    ) -> TimedRecording:
        """Smooth a recording on a plane; nothing is timed yet."""
        drive = smooth(recording, plane)
        return cls(recording, drive, drive, antenna_ahead_m)

    def again_over(self, track: Track) -> TimedRecording:
        """Take a track for the one it was timed over, of which it had a copy in another process."""
        if self._corrected_by is not None:
            self._corrected_by = track.centreline
        if self._reported is not None:
            _, rules, report = self._reported
            self._reported = track, rules, replace(report, track=track)
        return self

    def report(
        self, track: Track, *, dragging: bool = False, rules: LapRules = USUAL_RULES
    ) -> LapReport:
        """Time its laps over a track.

        Parameters
        ----------
        track
            Of any gates, on the ground of the plane the recording was smoothed on.
        dragging
            Whether a gate is being dragged: the drive is not smoothed again, uncertainties of times
            stay what they were before, and those of the best times are left out.
        rules
            What parts sessions, and which laps count.

        Raises
        ------
        PlaceError
            When the track lacks the gates that laps begin and end at.
        """
        if not dragging:
            if self._reported is not None and self._reported[0] is track:
                _, same_rules, report = self._reported
                if same_rules == rules:
                    return report
            self._smooth_again(track, rules)
        parts = self.parts(rules)
        self._crossings = _crossings_of(track, self.drive, self._crossings, self.antenna_ahead_m)
        count = Counter[tuple[str, str]]()
        usual = dict(self._sigmas_before_drag) if dragging else {}

        def sigmas_of(pairs: Sequence[Pair]) -> dict[Pair, float]:
            sigmas: dict[Pair, float] = {}
            before_drag: dict[Pair, float] = {}
            places: dict[Pair, list[tuple[str, str, int]]] = {}
            for pair in pairs:
                gates = (pair[0].gate, pair[1].gate)
                place = (*gates, count[gates])
                count[gates] += 1
                if pair not in self._sigmas and place in usual:
                    before_drag[pair] = usual[place]
                else:
                    places.setdefault(pair, []).append(place)
            fresh = [pair for pair in places if pair not in self._sigmas]
            values = sum_sigmas(self.drive, [[(a, -1.0), (b, 1.0)] for a, b in fresh])
            worked_out = dict(zip(fresh, values, strict=True))
            for pair in places:
                sigmas[pair] = worked_out[pair] if pair in worked_out else self._sigmas[pair]
                usual.update(dict.fromkeys(places[pair], sigmas[pair]))
            self._sigmas = sigmas
            return before_drag | sigmas

        report = lap_report(
            track,
            self.drive,
            _in_order(self._crossings),
            parts,
            rules,
            sigmas_of,
            best_sigmas=not dragging,
        )
        if not dragging:
            self._sigmas_before_drag = usual
            self._reported = track, rules, report
        return report

    @property
    def wander_laps(self) -> int:
        """How many laps could tell of the wander and of the line when it was timed last."""
        return len(self._wander_laps or ())

    def parts(self, rules: LapRules) -> Parts:
        """Part the recording into sessions, once for some rules."""
        if self._parted is None or self._parted[0] != rules:
            drive = self.by_itself
            spells = standing_spells(drive.time_s, drive.position_m, drive.speed_mps)
            sessions = driving_sessions(
                drive.time_s,
                drive.position_m,
                spells,
                stand_s=rules.session_stand_s,
                gap_s=rules.session_gap_s,
            )
            self._parted = rules, (spells, sessions)
        return self._parted[1]

    def _smooth_again(self, track: Track, rules: LapRules) -> None:
        """Smooth the drive again where the plane, the laps that tell of it, or the line differ."""
        if not _same_plane(track.plane, self.by_itself.plane):
            self.by_itself = smooth(self.recording, track.plane)
            self._wander_laps = self._alone = None
            self._crossings_by_itself = {}
            self._parted = None
        alone = self._alone or self.by_itself
        self._crossings_by_itself = _crossings_of(
            track, self.by_itself, self._crossings_by_itself, self.antenna_ahead_m
        )
        crossings = _in_order(self._crossings_by_itself)
        laps = _wander_spans(track, laps_of_crossings(track, crossings, self.parts(rules)[1]))
        fresh = laps != self._wander_laps
        if fresh and not self.by_itself.wander_from_recording:
            levels = levels_from_laps(track, self.by_itself, laps)
            alone = self.by_itself.with_levels(levels)
        self._wander_laps = laps
        if fresh or alone is not self._alone or track.centreline is not self._corrected_by:
            self._alone, self._corrected_by = alone, track.centreline
            self.drive = corrected(track, alone, len(laps), laps)
            self._crossings, self._sigmas = {}, {}


def laps_of_drive(
    track: Track, drive: Drive, parts: Parts, rules: LapRules, antenna_ahead_m: float
) -> LapReport:
    """Time the laps of a drive that is smoothed already, and less what its laps tell it is off.

    Parameters
    ----------
    track
        Of any gates, on the line by which its laps told that.
    drive, parts
        As a `TimedRecording` has them.
    rules
        Which laps count.
    antenna_ahead_m
        How far the antenna is ahead of what crosses the line.
    """
    crossings = _in_order(_crossings_of(track, drive, {}, antenna_ahead_m))
    together = None
    if len(crossings) <= _MOST_TOGETHER:
        drive.prepare_variances(crossing.fix for crossing in crossings)
        together = CrossingCovariance.of(drive, crossings)

    def sigmas_of(pairs: Sequence[Pair]) -> dict[Pair, float]:
        sigmas = sum_sigmas(together or drive, [[(a, -1.0), (b, 1.0)] for a, b in pairs])
        return dict(zip(pairs, sigmas, strict=True))

    return lap_report(
        track, drive, crossings, parts, rules, sigmas_of, best_sigmas=True, together=together
    )


def held_together(report: LapReport) -> LapReport:
    """Hold all crossings of a report against each other once, for many questions about them.

    Parameters
    ----------
    report
        With its drive; one of very many crossings stays as it is.
    """
    if len(report.crossings) > _MOST_TOGETHER:
        return report
    return replace(report, _together=CrossingCovariance.of(report.drive, report.crossings))


def _same_plane(a: LocalPlane, b: LocalPlane) -> bool:
    apart = (a.longitude_deg - b.longitude_deg, a.latitude_deg - b.latitude_deg)
    return max(abs(value) for value in apart) < _SAME_PLANE_DEG


def _crossings_of(
    track: Track, drive: Drive, before: _Crossings, antenna_ahead_m: float
) -> _Crossings:
    """Find the crossings of a track's gates; those of gates that have not moved are kept."""
    # Coming round to a gate takes a whole lap; coming back to it after a spin does not.
    again_m = 0.5 * track.length_m if track.closed else min(0.5 * track.length_m, AGAIN_M)
    crossings = {}
    for gate in crossed_gates(track):
        key = (gate.id, gate.left, gate.right)
        if key in before:
            crossings[key] = before[key]
        else:
            crossings[key] = cross(gate, drive, again_m=again_m, antenna_ahead_m=antenna_ahead_m)
    return crossings


def _in_order(crossings: _Crossings) -> list[Crossing]:
    return sorted(chain.from_iterable(crossings.values()), key=lambda crossing: crossing.time_s)


def _wander_spans(track: Track, laps: Sequence[Lap]) -> tuple[tuple[float, float], ...]:
    """List begin and end, seconds, of the laps that can tell the receiver's wander."""
    return tuple(
        (lap.start_s, lap.start_s + lap.time_s)
        for lap in laps
        if track.closed and lap.counts and lap.start_s is not None and lap.time_s is not None
    )
