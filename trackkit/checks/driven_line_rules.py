"""What a recording shows of the line itself: where laps leave it, its length, bends not driven."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.checks.findings import Finding, new_finding
from trackkit.geometry.bends import smoothed_curvature
from trackkit.geometry.runs import runs_of
from trackkit.motion.drive import Drive
from trackkit.motion.projected import projected
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.track.model import Track
from trackkit.words import counted

OFF_LINE_M = 4.0
"""A line that the laps lie this far from is not the line driven."""
OFF_FOR_M = 8.0
"""Laps leave the line where they stay off it for this long."""
OFF_WANDERS = 3.0
"""And further off than so many times one sigma of the receiver's wander."""
ASIDE_M = 2.0
"""A lap that stays this far to one side of a driven line is longer or shorter by a turn's worth."""
LENGTH_WITHIN = 0.005
LENGTH_WITHIN_POSITIONS = 0.02
"""Share by which a driven length may be off besides; more without recorded speeds."""
HARDEST_CORNERING_MPS2 = 60.0
"""Six times gravity: the fastest open-wheeled cars corner at up to five or six (from memory)."""
FASTEST_MPS = 140.0
"""504 km/h, which no vehicle reaches on a circuit (from memory)."""
_MOVING_MPS = 3.0
_STEP_M = 2.0


def _laps(report: LapReport) -> list[Lap]:
    # Laps that leave a wrong line are what tells that it is wrong.
    return [lap for lap in report.laps if lap.is_whole]


def _within(drive: Drive, lap: Lap) -> Flags:
    """Tell which fixes are of a lap, driven rather than stood."""
    begin = float(lap.start_s or 0.0)
    inside = (drive.time_s >= begin) & (drive.time_s <= begin + float(lap.time_s or 0.0))
    return np.asarray(inside & (drive.speed_mps > _MOVING_MPS))


def _places(track: Track, drive: Drive, fixes: Flags) -> tuple[Floats, Floats]:
    where, aside = projected(drive, track.curve)
    return where[fixes], aside[fixes]


def _off_limit_m(track: Track, drive: Drive) -> float:
    """How far from the line laps run that are on it, metres."""
    on_it = OFF_LINE_M if track.line == "driven" else max(OFF_LINE_M, 0.5 * track.band_m + 1.0)
    return max(on_it, OFF_WANDERS * drive.levels.wander_m)


def _leaves_line(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find stretches where most laps run beside the line."""
    drive, laps, curve = report.drive.alone(), _laps(report), track.curve
    if not laps:
        return
    limit = _off_limit_m(track, drive)
    chainage = curve.chainages(_STEP_M)
    off = np.zeros((len(laps), len(chainage)), dtype=bool)
    most = np.zeros(len(chainage))
    for row, lap in zip(off, laps, strict=True):
        fixes = _within(drive, lap)
        where, aside = _places(track, drive, fixes)
        if len(where) < 2 or float(np.median(np.abs(aside))) > limit:
            return  # The rule recording-off-line has the word.
        for begin, end in _long_runs(np.abs(aside) > limit, drive.position_m[fixes]):
            first, last = where[max(begin - 1, 0)], where[min(end, len(where) - 1)]
            bins = _between(curve.along(first, last), chainage, float(first), curve.length_m)
            row |= bins
            most[bins] = np.maximum(most[bins], np.abs(aside[begin:end]).max())
    usual = off.mean(axis=0) >= 0.5
    stretches = runs_of(usual)
    if not stretches:
        return
    begin, end = max(stretches, key=lambda run: most[run[0] : run[1]].max())
    others = f", and at {counted(stretches[1:], 'more place')}" if len(stretches) > 1 else ""
    yield new_finding(
        track,
        severity="warning",
        rule="recording-leaves-line",
        feature="centreline",
        chainage_m=float(chainage[begin]),
        message=f"{recording.name}: most laps leave the line at {chainage[begin]:.0f} m and are "
        f"back on it at {chainage[min(end, len(chainage) - 1)]:.0f} m, up to "
        f"{most[begin:end].max():.1f} m away{others}",
        remedy=_fold_in(recording),
    )


def _long_runs(off: Flags, position_m: Floats) -> Iterator[tuple[int, int]]:
    step = np.append(np.linalg.norm(np.diff(position_m, axis=0), axis=1), 0.0)
    for begin, end in runs_of(off):
        if float(step[begin:end].sum()) >= OFF_FOR_M:
            yield begin, end


def _between(reach_m: Floats, chainage_m: Floats, first_m: float, length_m: float) -> Flags:
    """Places from one chainage on; at least the one nearest to it."""
    reach = float(reach_m)
    if reach > 0.5 * length_m:
        reach = 0.0  # Back on the line before the place where it was left.
    return np.asarray((chainage_m - first_m) % length_m <= max(reach, _STEP_M))


def _length_driven(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find a line that is longer or shorter than its laps."""
    drive, laps, curve = report.drive.alone(), _laps(report), track.curve
    lengths = [_driven_m(drive, lap) for lap in laps]
    if not lengths:
        return
    driven = float(np.median(lengths))
    line = curve.length_m
    if not track.closed:
        line = float(curve.along(track.timed_from.chainage_m, track.finish.chainage_m))
    aside = ASIDE_M if track.line == "driven" else 0.5 * track.band_m
    share = LENGTH_WITHIN if drive.has_doppler else LENGTH_WITHIN_POSITIONS
    if abs(driven - line) <= 2.0 * np.pi * aside + share * line:
        return
    laps_are = f"{'laps are' if track.closed else 'runs are'} {driven:.0f} m long"
    yield new_finding(
        track,
        severity="warning",
        rule="recording-length",
        feature="centreline",
        message=f"{recording.name}: {laps_are} (median), but the line is {line:.0f} m: more than "
        "driving to one side of it explains",
        remedy=_fold_in(recording),
    )


def _driven_m(drive: Drive, lap: Lap) -> float:
    begin = float(lap.start_s or 0.0)
    end = begin + float(lap.time_s or 0.0)
    inside = (drive.time_s > begin) & (drive.time_s < end)
    time = np.concatenate([[begin], drive.time_s[inside], [end]])
    speed = np.interp(time, drive.time_s, drive.speed_mps)
    return float(0.5 * np.diff(time) @ (speed[1:] + speed[:-1]))


def _not_driven(track: Track, recording: Recording, report: LapReport) -> Iterator[Finding]:
    """Find speeds, and bends at the speeds recorded there, that no vehicle drives."""
    drive, laps, curve = report.drive.alone(), _laps(report), track.curve
    chainage = curve.chainages(1.0)
    bend = np.abs(smoothed_curvature(curve, chainage))
    asked = []
    for lap in laps:
        fixes = _within(drive, lap)
        where, aside = _places(track, drive, fixes)
        on = np.abs(aside) < _off_limit_m(track, drive)
        if on.sum() < 2:
            continue
        order = np.argsort(where[on])
        speed = np.interp(chainage, where[on][order], drive.speed_mps[fixes][on][order])
        asked.append(speed)
    if not asked:
        return
    speed = np.median(asked, axis=0)
    sideways = speed**2 * bend
    if float(speed.max()) > FASTEST_MPS:
        at = int(np.argmax(speed))
        yield new_finding(
            track,
            severity="warning",
            rule="recording-too-fast",
            feature="centreline",
            chainage_m=float(chainage[at]),
            message=f"{recording.name}: {3.6 * speed[at]:.0f} km/h at {chainage[at]:.0f} m, as no "
            "vehicle drives",
            remedy=Remedy("see that its times and speeds are in the units they are read in"),
        )
    elif float(sideways.max()) > HARDEST_CORNERING_MPS2:
        at = int(np.argmax(sideways))
        yield new_finding(
            track,
            severity="warning",
            rule="recording-cornering",
            feature="centreline",
            chainage_m=float(chainage[at]),
            message=f"{recording.name}: laps pass {chainage[at]:.0f} m at "
            f"{3.6 * speed[at]:.0f} km/h, where the line has a radius of {1.0 / bend[at]:.1f} m: "
            f"{sideways[at] / 9.80665:.0f} g sideways, as no vehicle corners",
            remedy=_fold_in(recording),
        )


def _fold_in(recording: Recording) -> Remedy:
    return Remedy(
        "see both on a map; where the recording is right, fold it in",
        do="build revise",
        value={"recording": recording.name},
    )


DRIVEN_LINE_RULES: tuple[Callable[[Track, Recording, LapReport], Iterator[Finding]], ...] = (
    _leaves_line,
    _length_driven,
    _not_driven,
)
"""Rules that hold the line against laps driven on it, and look at no gate."""
