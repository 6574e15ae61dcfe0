"""What a recording shows about a track file: laps lost, double counts, true speeds, the line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.checks.driven_line_rules import OFF_LINE_M
from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.timing_rules import RARE
from trackkit.errors import NoLapError
from trackkit.gates.false_crossings import creeping_probability, parked_probability
from trackkit.gates.remedies import make_narrower, make_wider
from trackkit.geometry.runs import runs_of
from trackkit.geometry.vectors import gate_axes
from trackkit.motion.drive import STANDING_MPS, Drive
from trackkit.motion.projected import projected
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.timing.report import LapReport
from trackkit.track.features import Gate
from trackkit.track.model import Track

DOUBLE_SHARE = 0.5
"""Two crossings of a gate within this share of the usual lap are one too many."""
WALKING_MPS = 2.0
"""Slower than this is walking pace."""
_PARKED_S = 5.0


def elsewhere(track: Track, recording: Recording, error: NoLapError) -> Finding:
    """Say that a recording does not cover the track."""
    return new_finding(
        track,
        severity="error",
        rule="recording-elsewhere",
        message=f"{recording.name}: {error.what}",
        remedy=Remedy(
            "check that it is of this circuit and layout, as locating it tells",
            do="locate",
            value={"recording": recording.name},
        ),
    )


def _lost(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find gates that laps went by without a crossing."""
    whole = [lap for lap in report.laps if lap.kind in ("flying", "pit")]
    missed = Counter(gate for lap in whole for gate in lap.missed)
    for gate_id, count in missed.items():
        gate = track.gate(gate_id)
        yield new_finding(
            track,
            severity="warning",
            rule="recording-lost",
            feature=gate_id,
            chainage_m=gate.chainage_m,
            message=f"{recording.name}: gate {gate.name} was missed on {count} of {len(whole)} "
            "laps",
            remedy=_seen_on_the_map(make_wider(track, gate, gate.chainage_m)),
        )
    in_pits = [lap for lap in report.laps if lap.kind == "pit" and lap.time_s is not None]
    if len(in_pits) > 1 and not any(lap.is_whole for lap in report.laps):
        yield new_finding(
            track,
            severity="warning",
            rule="recording-no-lap",
            message=f"{recording.name} holds no lap that counts: all {len(in_pits)} complete ones "
            "go through the pits, by the pit gates",
            remedy=Remedy("see that the pit gates lie across the pit lane, and not the track"),
        )
    elif not any(lap.is_whole for lap in report.laps):
        yield new_finding(
            track,
            severity="warning",
            rule="recording-no-lap",
            message=f"{recording.name} holds no complete flying lap of this track",
            remedy=Remedy(
                "check that it is driven for a lap or more, and in racing direction, or make the "
                "track of the other direction",
                do="reverse",
            ),
        )


def _seen_on_the_map(remedy: Remedy) -> Remedy:
    return replace(remedy, what=f"look at the map of the recording; {remedy.what}")


def _double(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find gates that counted a second time on one lap."""
    if not track.closed or report.median_s is None:
        return
    for gate in track.gates:
        times = np.array([c.time_s for c in report.crossings if c.gate == gate.id])
        early = np.diff(times) < DOUBLE_SHARE * report.median_s
        if early.any():
            at = float(times[1:][early][0])
            yield new_finding(
                track,
                severity="error",
                rule="recording-double",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"{recording.name}: gate {gate.name} counted twice on a lap "
                f"{int(early.sum())} times, first at {at:.1f} s",
                remedy=make_narrower(track, gate, gate.chainage_m),
            )


def _off_line(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find a centreline that the laps do not follow."""
    drive = report.drive.alone()
    offset = _offsets(track, drive)
    if len(offset) == 0:
        return
    usual = float(np.median(np.abs(offset)))
    if usual > OFF_LINE_M:
        yield new_finding(
            track,
            severity="warning",
            rule="recording-off-line",
            feature="centreline",
            message=f"{recording.name} lies {usual:.1f} m from the centreline (median); the line "
            "is not the one driven",
            remedy=Remedy("build the track from this recording, or look at both on a map"),
        )


def _offsets(track: Track, drive: Drive) -> Floats:
    moving = drive.speed_mps > 3.0
    offset = projected(drive, track.curve)[1][moving]
    return offset[np.abs(offset) < 100.0]


def _behind(track: Track, gate: Gate, position_m: Floats, wander_m: float) -> tuple[Floats, Flags]:
    """How far behind a gate's line positions are, and whether the wander may carry them over."""
    left, right = track.gate_ends(gate)
    across, forward, _ = gate_axes(left, right)
    away = position_m - left
    along, behind = away @ across, -(away @ forward)
    near = (along > -2.0 * wander_m) & (along < gate.width_m + 2.0 * wander_m)
    return behind, near & (np.abs(behind) < 6.0 * wander_m)


def _parked(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find gates beside which the vehicle stood so near that the wander may cross them."""
    drive = report.drive.alone()
    spells = runs_of(drive.speed_mps < STANDING_MPS)
    wander = drive.levels.wander_m
    for gate in track.gates:
        worst, stood = 0.0, 0.0
        for begin, end in spells:
            seconds = float(drive.time_s[end - 1] - drive.time_s[begin])
            if seconds < _PARKED_S:
                continue
            middle = drive.position_m[begin:end].mean(axis=0, keepdims=True)
            (behind,), (near,) = _behind(track, gate, middle, wander)
            if not near:
                continue
            risk = parked_probability(
                float(behind), seconds, wander_m=wander, wander_time_s=drive.levels.wander_time_s
            )
            if risk > worst:
                worst, stood = risk, seconds
        if worst > RARE:
            yield new_finding(
                track,
                severity="warning",
                rule="recording-parked",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"{recording.name}: a vehicle stood for {stood:.0f} s so near gate "
                f"{gate.name} that positions alone would count it with a probability of "
                f"{worst:.2f}",
                remedy=Remedy(
                    "move the gate away from where vehicles wait, or have them wait elsewhere"
                ),
            )


def _creeping(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find gates beside which the vehicle moved slowly, on one side, so near as to be counted.

    A vehicle that drives over the line is counted rightly; `_parked` is about one that stands.
    """
    drive = report.drive.alone()
    spells = runs_of(drive.speed_mps < WALKING_MPS)
    wander = drive.levels.wander_m
    for gate in track.gates:
        worst, lasted = 0.0, 0.0
        for begin, end in spells:
            time = drive.time_s[begin:end]
            behind, near = _behind(track, gate, drive.position_m[begin:end], wander)
            creeps = near & (drive.speed_mps[begin:end] > STANDING_MPS)
            if creeps.sum() * recording.interval_s < _PARKED_S or np.ptp(np.sign(behind[near])):
                continue
            every = np.arange(time[near][0], time[near][-1], 1.0)
            risk = creeping_probability(
                np.interp(every, time[near], behind[near]),
                wander_m=wander,
                wander_time_s=drive.levels.wander_time_s,
            )
            if risk > worst:
                worst, lasted = risk, float(np.ptp(time[near]))
        if worst > RARE:
            yield new_finding(
                track,
                severity="warning",
                rule="recording-creeping",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"{recording.name}: a vehicle moved slowly for {lasted:.0f} s so near gate "
                f"{gate.name}, without passing it, that positions alone would count it with a "
                f"probability of {worst:.2f}",
                remedy=Remedy("move the gate away from where vehicles are pushed or queue"),
            )


_RecordingRule = Callable[[Track, Recording, LapReport], Iterator[Finding]]
LAP_RULES: tuple[_RecordingRule, ...] = (_lost, _double)
"""Rules that look at the laps."""
DRIVE_LINE_RULES: tuple[_RecordingRule, ...] = (_off_line,)
"""Rules that look at the drive and the line, and at no gate."""
DRIVE_GATE_RULES: tuple[_RecordingRule, ...] = (_parked, _creeping)
"""Rules that look at the drive and at each gate by itself."""
