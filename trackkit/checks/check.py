"""Checks of a track, by geometry and by recordings: findings, each with its remedy."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from trackkit.checks.evaluate import evaluate, prepare
from trackkit.checks.findings import Finding, marked
from trackkit.checks.other_layouts import layouts_beside
from trackkit.errors import TrackFileError, TrackkitError
from trackkit.remedies import Remedy
from trackkit.track.crossed import crossed_gates
from trackkit.track.document import track_from_document
from trackkit.track.encoding import track_to_document
from trackkit.track.file import read_document, schema_faults
from trackkit.track.model import Track

if TYPE_CHECKING:
    from trackkit.recordings.recording import Recording
    from trackkit.timing.report import LapReport

_BOX_WITHIN_DEG = 1e-6
"""About 0.1 m: programs round differently."""


def check_file(
    path: str | os.PathLike[str], recordings: Sequence[Recording] = ()
) -> tuple[Track | None, list[Finding]]:
    """Check a track file: its schema first, and its geometry where that can be computed.

    Other layouts of the circuit in the same folder are compared where they share tarmac.

    Parameters
    ----------
    path
        The track file.
    recordings
        Of the track.

    Returns
    -------
    track, findings
        The track is None where the file is too damaged to have a geometry.

    Raises
    ------
    TrackFileError
        When the file cannot be read or is no track file at all.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track, findings = trackkit.check_file(path)
    >>> track.name, findings
    ('Pipwick Kart Circuit', [])
    """
    document = read_document(path)
    findings = [
        _schema_finding(place, f"{place}: {what}") for place, what in schema_faults(document)
    ]
    try:
        track = track_from_document(document)
    except TrackFileError as error:
        if not findings:
            what = f"{error.place}: {error.what}" if error.place else error.what
            findings.append(_schema_finding(error.place or "", what))
        return None, findings
    findings += _box_findings(document, track)
    others = layouts_beside(path, track)
    return track, marked(track, [*findings, *check_track(track, recordings, others)])


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


def _box_findings(document: Mapping[str, Any], track: Track) -> list[Finding]:
    stated, actual = document.get("bbox"), track_to_document(track)["bbox"]
    if not isinstance(stated, list) or len(stated) not in (4, 6):
        return []  # There need be none, and the schema has another word on it.
    corners = [*stated[:2], *stated[len(stated) // 2 :][:2]]
    wanted = [*actual[:2], *actual[len(actual) // 2 :][:2]]
    if all(
        isinstance(a, int | float) and abs(a - b) <= _BOX_WITHIN_DEG
        for a, b in zip(corners, wanted, strict=True)
    ):
        return []
    return [
        Finding(
            severity="note",
            rule="bbox",
            feature=None,
            chainage_m=None,
            position=None,
            message=f"bbox is {json.dumps(stated)}, but the positions span {json.dumps(actual)}",
            remedy=Remedy(
                "set bbox to that, as saving the file does", do="set", value={"bbox": actual}
            ),
        )
    ]


def _feature_in(place: str) -> str | None:
    for word in ("feature ", "gate "):
        if place.startswith(word) and not place.startswith("feature number"):
            return place.removeprefix(word).partition(",")[0]
    return None


def check_track(
    track: Track, recordings: Sequence[Recording] = (), others: Sequence[Track] = ()
) -> list[Finding]:
    """Check the geometry of a track, what it does to times, and what recordings of it show.

    Parameters
    ----------
    track
        The track.
    recordings
        Of it.  Speeds, the spread of the line and the receiver's noise are those recorded; they
        are assumed without any.
    others
        Other layouts of the circuit, which gates on shared tarmac are compared with.

    Returns
    -------
    list of Finding
        Errors first, then warnings, then notes; each in racing order.  Those the track file
        accepts are marked.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> trackkit.check_track(track)
    []
    >>> narrow = trackkit.widen_gate(track, "Finish", 3.0).track
    >>> [finding.rule for finding in trackkit.check_track(narrow)]
    ['gate-narrow', 'gate-narrow', 'gate-missed']
    """
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
    return list(evaluate(track, prepare(track, recordings, others=others)).findings)


def check_recording(track: Track, recording: Recording) -> tuple[list[Finding], LapReport]:
    """Check a track with a recording of it, and time the recording's laps.

    Returns
    -------
    findings, report
        As `check_track` and `time_laps` give them.

    Raises
    ------
    PlaceError
        When the track lacks the gates that laps begin and end at.
    TrackkitError
        When the track has no line that can be followed.
    """
    crossed_gates(track)
    evaluation = evaluate(track, prepare(track, [recording]))
    return list(evaluation.findings), evaluation.reports[0]
