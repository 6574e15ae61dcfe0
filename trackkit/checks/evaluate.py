"""What recordings make of a track's gates, worked out again each time a gate moves.

A prepared session keeps what does not depend on gates (the smoothed drives, what places are worth)
and what was found for gates that have not moved since, so that only the moved gate is worked out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from trackkit.checks.findings import Finding, marked
from trackkit.checks.gate_rules import GATE_RULES, SET_RULES
from trackkit.checks.line_rules import LINE_RULES
from trackkit.checks.other_layouts import check_against
from trackkit.checks.recording_rules import DRIVE_GATE_RULES, DRIVE_LINE_RULES, LAP_RULES, elsewhere
from trackkit.checks.timing_rules import GATE_QUALITY_RULES, SET_QUALITY_RULES
from trackkit.errors import NoLapError, PlaceError
from trackkit.gates.quality import TimingQuality, driven_quality, timing_quality
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.drive import Drive, smooth
from trackkit.recordings.recording import Recording
from trackkit.timing.crossings import Crossing, cross, interval_sigma
from trackkit.timing.lap_times import LapReport, lap_report, laps_of, whole_laps, with_wander
from trackkit.track.model import Centreline, Gate, Position, Track, crossed_gates

SAME_PLANE_DEG = 1e-7
"""Planes whose origins are closer than this (1 cm) are taken for one."""

_GateKey = tuple[str, Position, Position]


@dataclass(eq=False)
class _Timed:
    """One recording's drive, and what is known of it for the gates as they are.

    `first` is smoothed with what the recording itself tells; `drive` with the wander that the
    `whole` laps tell, where it does not.  `usual` is how well times between two gates were known,
    one after the other, before a drag began.
    """

    recording: Recording
    first: Drive
    drive: Drive
    whole: tuple[tuple[float, float], ...] | None = None
    first_crossed: dict[_GateKey, list[Crossing]] = field(default_factory=dict)
    crossed: dict[_GateKey, list[Crossing]] = field(default_factory=dict)
    sigmas: dict[tuple[Crossing, Crossing], float] = field(default_factory=dict)
    usual: dict[tuple[str, str, int], float] = field(default_factory=dict)


@dataclass(eq=False)
class _Found:
    """Findings about one line, and about its gates as they are; emptied when the line changes."""

    centreline: Centreline
    quality: TimingQuality
    drives: tuple[Drive, ...]
    line: list[Finding]
    driven: list[Finding] | None = None
    gates: dict[str, tuple[Gate, list[Finding]]] = field(default_factory=dict)


@dataclass(eq=False)
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
    timed, found
        What `evaluate` remembers: of the recordings, and of findings.
    astray
        Recordings, by their place in the list, that do not cover the track, and why.
    """

    track: Track
    files: tuple[str, ...]
    others: tuple[Track, ...]
    timed: list[_Timed]
    astray: dict[int, NoLapError] = field(default_factory=dict)
    found: _Found | None = None

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """The recordings."""
        return tuple(one.recording for one in self.timed)

    @property
    def drives(self) -> tuple[Drive, ...]:
        """Their smoothed drives."""
        return tuple(one.drive for one in self.timed)


@dataclass(frozen=True, eq=False)
class Evaluation:
    """What the recordings make of a track's gates.

    Parameters
    ----------
    track
        The track.
    reports
        Laps of each recording; none where the track lacks the gates that laps begin and end at.
    quality
        What places along the line are worth.
    findings
        As `check` gives them.
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
    """
    timed = []
    for recording in recordings:
        drive = smooth(recording, track.plane)
        timed.append(_Timed(recording, drive, drive))
    names = tuple(files if files is not None else (one.name for one in recordings))
    prepared = Prepared(track, names, tuple(others), timed)
    for index, one in enumerate(timed):
        try:
            driven_quality(track, [one.first])
        except NoLapError as error:
            prepared.astray[index] = error
    return prepared


def evaluate(track: Track, prepared: Prepared, moving: str | None = None) -> Evaluation:
    """Work out what the recordings make of a track's gates.

    Parameters
    ----------
    track
        The prepared track, or one that came of it by changing gates.
    prepared
        From `prepare`; it remembers what it found.
    moving
        The gate that is being dragged: uncertainties of times stay as they were, and where the
        line's chainages changed (a finish gate that moves), findings of other gates are left
        out until the drag is over.  None to have all.
    """
    light = moving is not None
    reports = _reports(track, prepared, light=light)
    known = prepared.found
    if known is not None and known.centreline is track.centreline:
        return _evaluated(track, prepared, known, reports, whole=not light)
    if light and known is not None:
        passing = _Found(
            track.centreline, _carried(known.quality, track), prepared.drives, [], [],
        )  # fmt: skip
        return _evaluated(track, prepared, passing, reports, whole=False, only=moving)
    prepared.found = _Found(
        track.centreline, _quality(track, prepared), prepared.drives,
        [found for rule in LINE_RULES for found in rule(track)],
    )  # fmt: skip
    return _evaluated(track, prepared, prepared.found, reports, whole=True)


def _reports(track: Track, prepared: Prepared, *, light: bool) -> tuple[LapReport, ...]:
    try:
        crossed_gates(track)
    except PlaceError:
        return ()  # gate-missing says so
    return tuple(_report(track, one, light=light) for one in prepared.timed)


def _report(track: Track, one: _Timed, *, light: bool) -> LapReport:
    """Time the laps as `trackkit.timing.lap_times.time_laps` does."""
    if not light:
        if not _same_plane(track.plane, one.first.plane):
            one.first = one.drive = smooth(one.recording, track.plane)
            one.whole = None
            one.first_crossed, one.crossed, one.sigmas = {}, {}, {}
        if not one.first.wander_told:
            one.first_crossed = _crossed(track, one.first, one.first_crossed)
            whole = whole_laps(track, laps_of(track, _in_order(one.first_crossed)))
            if whole != one.whole:
                one.drive, one.whole = with_wander(track, one.first, whole), whole
                one.crossed, one.sigmas = {}, {}
    one.crossed = _crossed(track, one.drive, one.crossed)
    known: dict[tuple[Crossing, Crossing], float] = {}
    counted = Counter[tuple[str, str]]()
    usual = dict(one.usual) if light else {}

    def sigma(drive: Drive, before: Crossing, after: Crossing) -> float:
        gates, pair = (before.gate, after.gate), (before, after)
        place = (*gates, counted[gates])
        counted[gates] += 1
        if pair in one.sigmas:
            found = one.sigmas[pair]
        elif place in usual:
            return usual[place]
        else:
            found = interval_sigma(drive, before, after)
        known[pair] = usual[place] = found
        return found

    report = lap_report(track, one.drive, _in_order(one.crossed), sigma, best_sigmas=not light)
    if not light:
        one.usual = usual
    one.sigmas = known
    return report


def _crossed(
    track: Track, drive: Drive, known: dict[_GateKey, list[Crossing]]
) -> dict[_GateKey, list[Crossing]]:
    """Find crossings of all gates; those of gates that have not moved are known."""
    found = {}
    for gate in crossed_gates(track):
        key = (gate.id, gate.left, gate.right)
        found[key] = known[key] if key in known else cross(gate, drive)
    return found


def _in_order(crossed: dict[_GateKey, list[Crossing]]) -> list[Crossing]:
    return sorted((c for found in crossed.values() for c in found), key=lambda c: c.time_s)


def _same_plane(a: LocalPlane, b: LocalPlane) -> bool:
    apart = (a.longitude_deg - b.longitude_deg, a.latitude_deg - b.latitude_deg)
    return max(abs(value) for value in apart) < SAME_PLANE_DEG


def _quality(track: Track, prepared: Prepared) -> TimingQuality:
    drives = [one.first for index, one in enumerate(prepared.timed) if index not in prepared.astray]
    if drives:
        try:
            return driven_quality(track, drives)
        except NoLapError:
            pass  # A recording that hardly covers the line may not when its datum moves.
    return timing_quality(track)


def _carried(quality: TimingQuality, track: Track) -> TimingQuality:
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
    known: _Found,
    reports: tuple[LapReport, ...],
    *,
    whole: bool,
    only: str | None = None,
) -> Evaluation:
    """Put findings together; gates that have not changed are not judged again."""
    if known.drives != prepared.drives:
        known.drives, known.driven, known.gates = prepared.drives, None, {}
    if only is None:
        now = {gate.id: gate for gate in track.gates}
        known.gates = {key: kept for key, kept in known.gates.items() if kept[0] == now.get(key)}
    covering = [report for n, report in enumerate(reports) if n not in prepared.astray]
    usable = not any(found.rule == "too-few-points" for found in known.line)
    if known.driven is None:
        known.driven = [
            found
            for report in covering
            for look in DRIVE_LINE_RULES
            for found in look(track, report.recording, report)
        ]
    findings = [*known.line, *known.driven]
    for gate in track.gates:
        if only not in (None, gate.id):
            continue
        if gate.id not in known.gates:
            judged = _judged(track, prepared, gate, known.quality, covering, usable=usable)
            known.gates[gate.id] = (gate, judged)
        findings += known.gates[gate.id][1]
    findings += _together(track, known.quality, covering, usable=usable)
    if reports:
        findings += [
            elsewhere(track, prepared.recordings[n], why) for n, why in prepared.astray.items()
        ]
    return Evaluation(track, reports, known.quality, tuple(marked(track, findings)), whole)


def _together(
    track: Track, quality: TimingQuality, reports: Sequence[LapReport], *, usable: bool
) -> list[Finding]:
    """Find what is to be said of the gates as a whole."""
    findings = [found for rule in SET_RULES for found in rule(track)]
    if usable:
        findings += [found for judge in SET_QUALITY_RULES for found in judge(track, quality)]
    for report in reports:
        for look in LAP_RULES:
            findings += look(track, report.recording, report)
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
    """Find what is to be said of one gate, whatever the others are."""
    alone = replace(track, gates=(gate,))
    findings = [found for rule in GATE_RULES for found in rule(alone)]
    if usable:
        for judge in GATE_QUALITY_RULES:
            findings += judge(alone, quality)
    for other in prepared.others:
        findings += check_against(alone, other)
    for report in reports:
        for look in DRIVE_GATE_RULES:
            findings += look(alone, report.recording, report)
    return findings
