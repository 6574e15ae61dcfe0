"""What geometry and recordings make of a track's gates: the one evaluation behind every check.

A check is an evaluation of a track prepared for it alone.  A page prepares its track once and
evaluates it again each time a gate moves: what does not depend on gates (the smoothed drives, what
places are worth) and what was found for gates that have not moved since is remembered, so that
only the moved gate is worked out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from trackkit.apart import each
from trackkit.checks.findings import Finding, marked
from trackkit.checks.gate_rules import GATE_RULES, SET_RULES
from trackkit.checks.line_rules import LINE_RULES
from trackkit.checks.other_layouts import check_against
from trackkit.checks.stated_rules import STATED_RULES
from trackkit.checks.timing_rules import GATE_QUALITY_RULES, SET_QUALITY_RULES
from trackkit.checks.vertex_rules import VERTEX_RULES
from trackkit.errors import NoLapError, PlaceError
from trackkit.gates.driven import require_driven
from trackkit.gates.quality import TimingQuality, driven_quality, timing_quality
from trackkit.track.crossed import crossed_gates
from trackkit.track.features import Centreline, Gate, PitLane
from trackkit.track.model import Track

# What only recordings need is imported where there are some: most tracks are checked without.
if TYPE_CHECKING:
    from trackkit.motion.drive import Drive
    from trackkit.recordings.recording import Recording
    from trackkit.timing.lap_times import TimedRecording
    from trackkit.timing.report import LapReport

LINE_FINDING_RULES = (*LINE_RULES, *VERTEX_RULES)
"""Rules that look at the line by itself."""


@dataclass(eq=False, repr=False)
class _LineFindings:
    """Findings about one line, and about its gates as they were when they were judged."""

    centreline: Centreline
    pit_lanes: tuple[PitLane, ...]
    quality: TimingQuality
    drives: tuple[Drive, ...]
    line: list[Finding]
    driven: list[Finding] | None = None
    gates: list[tuple[Gate, list[Finding]]] = field(default_factory=list)


@dataclass(eq=False, repr=False)
class Prepared:
    """A track and recordings of it, ready to be evaluated with other gates.

    Made by `prepare`.

    Parameters
    ----------
    track
        As it was opened; chainages along its line are what `datum_m` counts.
    files
        The recordings' names, as the user gave them.
    others
        Other layouts of the circuit, which gates on shared tarmac are compared with.
    timed
        The recordings, and what was worked out of their laps.
    astray
        Recordings, by their place in the list, that do not cover the track, and why.
    line_findings
        What `evaluate` found before.
    """

    track: Track
    files: tuple[str, ...]
    others: tuple[Track, ...]
    timed: list[TimedRecording]
    astray: dict[int, NoLapError]
    line_findings: _LineFindings | None = field(default=None, init=False)

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """The recordings."""
        return tuple(timed.recording for timed in self.timed)

    @property
    def drives(self) -> tuple[Drive, ...]:
        """Their smoothed drives, which laps are timed on."""
        return tuple(timed.drive for timed in self.timed)

    @property
    def drives_alone(self) -> tuple[Drive, ...]:
        """Each by itself: laps together are drawn towards the line that is judged."""
        return tuple(timed.drive.alone() for timed in self.timed)


@dataclass(frozen=True, eq=False)
class Evaluation:
    """What geometry and recordings make of a track's gates.

    Parameters
    ----------
    track
        The track.
    reports
        Laps of each recording; none where the track lacks the gates that laps begin and end at.
    quality
        What places along the line are worth.
    findings
        Errors first, then warnings, then notes; each in racing order.  Those the track file
        accepts are marked.
    whole
        Whether nothing was left until a drag is over.
    """

    track: Track
    reports: tuple[LapReport, ...]
    quality: TimingQuality
    findings: tuple[Finding, ...]
    whole: bool = True


def prepare(
    track: Track,
    recordings: Sequence[Recording] = (),
    files: Sequence[str] | None = None,
    others: Sequence[Track] = (),
) -> Prepared:
    """Smooth recordings, and see which of them are of the track at all.

    Parameters
    ----------
    track
        The track.
    recordings
        Of it.
    files
        What the user calls them; their own names when None.
    others
        Other layouts of the circuit.

    Raises
    ------
    TrackkitError
        When the track has no line that can be followed.
    """
    names = [recording.name for recording in recordings] if files is None else files
    timed: list[TimedRecording] = []
    if recordings:
        from trackkit.timing.lap_times import timed_over

        timed = [*each(partial(timed_over, track), recordings, "timing laps")]
    return prepare_timed(track, timed, names, others)


def prepare_timed(
    track: Track,
    timed: Sequence[TimedRecording],
    files: Sequence[str],
    others: Sequence[Track] = (),
) -> Prepared:
    """Prepare recordings that were timed over the track, or a copy of it in another process.

    Parameters
    ----------
    track, files, others
        As for `prepare`.
    timed
        The recordings.
    """
    timed = [recording.again_over(track) for recording in timed]
    astray = {}
    for index, recording in enumerate(timed):
        try:
            require_driven(track, recording.by_itself)
        except NoLapError as error:
            astray[index] = error
    return Prepared(track, tuple(files), tuple(others), timed, astray)


def evaluate(track: Track, prepared: Prepared, moving: str | None = None) -> Evaluation:
    """Work out what geometry and recordings make of a track's gates.

    Parameters
    ----------
    track
        The prepared track, or one that came of it by changing gates.
    prepared
        From `prepare`; it remembers what was found.
    moving
        The gate that is being dragged: uncertainties of times stay as they were, and where the
        line's chainages changed (a finish gate that moves), findings of other gates are left
        out until the drag is over.  None to have all.

    Raises
    ------
    TrackkitError
        When the track has no line that can be followed.
    """
    dragging = moving is not None
    reports = _reports(track, prepared, dragging=dragging)
    before = prepared.line_findings
    same_ground = (
        before is not None
        and before.centreline is track.centreline
        and before.pit_lanes is track.pit_lanes
    )
    if before is not None and same_ground:
        return _evaluated(track, prepared, before, reports, whole=not dragging)
    if dragging and before is not None:
        quality = carried(before.quality, track)
        passing = _LineFindings(
            track.centreline, track.pit_lanes, quality, prepared.drives_alone, [], []
        )
        return _evaluated(track, prepared, passing, reports, whole=False, only=moving)
    prepared.line_findings = _LineFindings(
        track.centreline,
        track.pit_lanes,
        _quality(track, prepared),
        prepared.drives_alone,
        [finding for rule in LINE_FINDING_RULES for finding in rule(track)],
    )
    return _evaluated(track, prepared, prepared.line_findings, reports, whole=True)


def _reports(track: Track, prepared: Prepared, *, dragging: bool) -> tuple[LapReport, ...]:
    try:
        crossed_gates(track)
    except PlaceError:
        return ()  # The rule gate-missing reports it.
    return tuple(timed.report(track, dragging=dragging) for timed in prepared.timed)


def _quality(track: Track, prepared: Prepared) -> TimingQuality:
    drives = [
        timed.by_itself
        for index, timed in enumerate(prepared.timed)
        if index not in prepared.astray
    ]
    if drives:
        try:
            return driven_quality(track, drives)
        except NoLapError:
            pass  # A recording that hardly covers the line may not when its datum moves.
    return timing_quality(track)


def carried(quality: TimingQuality, track: Track) -> TimingQuality:
    """Read what places are worth along a line that begins elsewhere on the same ground."""
    chainage = track.curve.chainages(float(quality.chainage_m[1]))
    begin, _ = quality.curve.project(
        quality.track.plane.to_plane(
            float(track.centreline.longitude_deg[0]), float(track.centreline.latitude_deg[0])
        ),
        track.curve.direction(0.0),
    )
    there = quality.curve.wrap(float(begin) + chainage)
    return replace(
        quality,
        track=track,
        chainage_m=chainage,
        speed_mps=quality.at(quality.speed_mps, there),
        line_sigma_m=quality.at(quality.line_sigma_m, there),
        turned_rad=quality.at(quality.turned_rad, there),
    )


def _evaluated(
    track: Track,
    prepared: Prepared,
    before: _LineFindings,
    reports: tuple[LapReport, ...],
    *,
    whole: bool,
    only: str | None = None,
) -> Evaluation:
    """Put findings together; gates that have not changed are not judged again."""
    if before.drives != prepared.drives_alone:
        before.drives, before.driven, before.gates = prepared.drives_alone, None, []
    covering = [report for n, report in enumerate(reports) if n not in prepared.astray]
    usable = not any(finding.rule == "too-few-points" for finding in before.line)
    if before.driven is None:
        before.driven = _of_the_line_driven(track, covering)
    gates = []
    for gate in track.gates:
        if only not in (None, gate.id):
            continue
        findings = next((kept for other, kept in before.gates if other == gate), None)
        if findings is None:
            findings = _judged(track, prepared, gate, before.quality, covering, usable=usable)
        gates.append((gate, findings))
    before.gates = gates
    everything = [
        *before.line,
        *before.driven,
        *(finding for _, findings in gates for finding in findings),
        *_together(track, before.quality, covering, usable=usable),
        *_elsewhere(track, prepared),
    ]
    return Evaluation(track, reports, before.quality, tuple(marked(track, everything)), whole)


def _of_the_line_driven(track: Track, reports: Sequence[LapReport]) -> list[Finding]:
    """Apply the rules that hold the line against what was driven."""
    if not reports:
        return []
    from trackkit.checks.driven_line_rules import DRIVEN_LINE_RULES
    from trackkit.checks.recording_rules import DRIVE_LINE_RULES

    return [
        finding
        for report in reports
        for rule in (*DRIVE_LINE_RULES, *DRIVEN_LINE_RULES)
        for finding in rule(track, report.recording, report)
    ]


def _elsewhere(track: Track, prepared: Prepared) -> list[Finding]:
    """Tell which recordings are not of the track."""
    if not prepared.astray:
        return []
    from trackkit.checks.recording_rules import elsewhere

    return [elsewhere(track, prepared.recordings[n], why) for n, why in prepared.astray.items()]


def _together(
    track: Track, quality: TimingQuality, reports: Sequence[LapReport], *, usable: bool
) -> list[Finding]:
    """Apply the rules that look at all gates together."""
    findings = [f for rule in (*STATED_RULES, *SET_RULES) for f in rule(track)]
    if usable:
        findings += [finding for rule in SET_QUALITY_RULES for finding in rule(track, quality)]
    if reports:
        from trackkit.checks.recording_rules import LAP_RULES

        for report in reports:
            for rule in LAP_RULES:
                findings += rule(track, report.recording, report)
    return findings


def _judged(
    track: Track,
    prepared: Prepared,
    gate: Gate,
    quality: TimingQuality,
    reports: Sequence[LapReport],
    *,
    usable: bool,
) -> list[Finding]:
    """Apply the rules that look at one gate, whatever the others are."""
    alone = replace(track, gates=(gate,))
    findings = [finding for rule in GATE_RULES for finding in rule(alone)]
    if usable:
        findings += [finding for rule in GATE_QUALITY_RULES for finding in rule(alone, quality)]
    for other in prepared.others:
        findings += check_against(alone, other)
    if not reports:
        return findings
    from trackkit.checks.recording_rules import DRIVE_GATE_RULES

    for report in reports:
        for rule in DRIVE_GATE_RULES:
            findings += rule(alone, report.recording, report)
    return findings
