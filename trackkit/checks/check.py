"""What geometry has to say about a track: findings, each with its remedy."""

from __future__ import annotations

import os

from trackkit.checks.findings import Finding, marked
from trackkit.checks.gate_rules import GATE_RULES, SET_RULES
from trackkit.checks.line_rules import LINE_RULES
from trackkit.checks.recording_rules import RECORDING_RULES, elsewhere
from trackkit.checks.timing_rules import QUALITY_RULES
from trackkit.errors import NoLapError, TrackFileError, TrackkitError
from trackkit.gates.quality import TimingQuality, timing_quality
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.timing.lap_times import LapReport, time_laps
from trackkit.track.document import track_from_document
from trackkit.track.file import read_document, schema_faults
from trackkit.track.model import Track


def check_file(path: str | os.PathLike[str]) -> tuple[Track | None, list[Finding]]:
    """Check a track file: its schema first, and its geometry where that can be computed.

    Returns
    -------
    track, findings
        The track is None where the file is too damaged to have a geometry.

    Raises
    ------
    TrackFileError
        When the file cannot be read or is no track file at all.
    """
    document = read_document(path)
    findings = [
        _schema_finding(place, f"{place}: {what}") for place, what in schema_faults(document)
    ]
    try:
        track = track_from_document(document)
        return track, [*findings, *check_track(track)]
    except TrackFileError as error:
        if not findings:
            what = f"{error.place}: {error.what}" if error.place else error.what
            findings.append(_schema_finding(error.place or "", what))
        return None, findings


def _schema_finding(place: str, message: str) -> Finding:
    return Finding(
        severity="error",
        rule="schema",
        feature=_feature_in(place),
        chainage_m=None,
        position=None,
        message=message,
        remedy=Remedy("mend the file, or build it again"),
    )


def _feature_in(place: str) -> str | None:
    for word in ("feature ", "gate "):
        if place.startswith(word) and not place.startswith("feature number"):
            return place.removeprefix(word).partition(",")[0]
    return None


def check_track(track: Track, quality: TimingQuality | None = None) -> list[Finding]:
    """Check the geometry of a track, and what it does to times.

    Parameters
    ----------
    track
        The track.
    quality
        Speeds and noise to judge its gates by; assumed where None.

    Returns
    -------
    list of Finding
        Errors first, then warnings, then notes; each in racing order.  Those the track file
        accepts are marked.
    """
    findings: list[Finding] = []
    try:
        _ = track.curve
    except TrackkitError as error:
        return [
            Finding(
                severity="error",
                rule="too-few-points",
                feature="centreline",
                chainage_m=None,
                position=None,
                message=error.what,
                remedy=Remedy("build the track again from a recording of a whole lap"),
            )
        ]
    for rule in RULES:
        findings += rule(track)
    if not any(finding.rule == "too-few-points" for finding in findings):
        quality = quality or timing_quality(track)
        for judge in QUALITY_RULES:
            findings += judge(track, quality)
    return marked(track, findings)


RULES = (*LINE_RULES, *SET_RULES, *GATE_RULES)
"""Every rule takes a track and yields what it finds; DEVELOPERS.md says how to add one."""


def check_recording(track: Track, recording: Recording) -> tuple[list[Finding], LapReport]:
    """Check a track, with what a recording of it shows.

    Speeds, the spread of the line and the receiver's noise are those recorded; what a check
    without recordings says about the geometry is among the findings.

    Parameters
    ----------
    track
        With the gates a lap needs.
    recording
        Of it.

    Returns
    -------
    findings, report

    Raises
    ------
    PlaceError
        When the track lacks the gates that laps begin and end at.
    """
    report = time_laps(track, recording)
    try:
        quality = timing_quality(track, [recording])
    except NoLapError as error:
        return marked(track, [*check_track(track), elsewhere(track, recording, error)]), report
    findings = check_track(track, quality)
    for rule in RECORDING_RULES:
        findings += rule(track, recording, report)
    return marked(track, findings), report
