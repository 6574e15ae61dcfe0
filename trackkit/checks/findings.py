"""Findings of checks, and how one is accepted."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from trackkit.errors import TrackkitError
from trackkit.remedies import Remedy
from trackkit.track.features import Position, position_row
from trackkit.track.history import now
from trackkit.track.model import Track
from trackkit.views import view
from trackkit.words import shortened

Severity = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


@dataclass(frozen=True)
class Finding:
    """What a rule has found wrong, or worth knowing.

    Parameters
    ----------
    severity
        How bad it is: times will be wrong (error), may be (warning), or worth knowing (note).
    rule
        Short name of the rule, stable, for acceptance and scripts.
    feature
        Id of the feature it is about, or None for the whole track.
    chainage_m
        Where along the centreline, metres, or None.
    position
        Where on the ground, (longitude, latitude), degrees, or None.
    message
        What is wrong, a sentence without a full stop.
    remedy
        What to do about it.
    accepted
        Whether the track file says that this finding is accepted.
    track
        That it is about, for showing it; None where the file could not be read as a track.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> narrow = trackkit.widen_gate(track, "Finish", 3.0).track
    >>> finding = trackkit.check_track(narrow)[0]
    >>> finding.severity, finding.rule, finding.feature == track.finish.id
    ('warning', 'gate-narrow', True)
    """

    severity: Severity
    rule: str
    feature: str | None
    chainage_m: float | None
    position: Position | None
    message: str
    remedy: Remedy
    accepted: bool = False
    track: Track | None = field(default=None, compare=False)

    def _repr_html_(self) -> str | None:
        page: str | None = view("page", self)
        return page

    def __repr__(self) -> str:
        where = "" if self.feature is None else f" of {reprlib.repr(self.feature)}"
        at = "" if self.chainage_m is None else f" at {self.chainage_m:,.1f} m"
        return f"Finding({self.severity}, {self.rule}{where}{at}: {shortened(self.message)})"

    def as_row(self) -> dict[str, Any]:
        """Write the finding as JSON.

        Returns
        -------
        dict
            The fields by name; the chainage in metres, to a centimetre, the position as longitude
            and latitude in degrees, the remedy as a sentence and, where it can be done, as an
            ``action``.
        """
        return {
            "severity": self.severity,
            "rule": self.rule,
            "feature": self.feature,
            "chainage_m": None if self.chainage_m is None else round(self.chainage_m, 2),
            "position": None if self.position is None else position_row(self.position),
            "message": self.message,
            "remedy": self.remedy.what,
            "action": self.remedy.as_row(),
            "accepted": self.accepted,
        }


def new_finding(
    track: Track,
    *,
    severity: Severity,
    rule: str,
    message: str,
    remedy: Remedy,
    feature: str | None = None,
    chainage_m: float | None = None,
) -> Finding:
    """Make a finding; its place on the ground is that of its chainage."""
    position = None
    if chainage_m is not None:
        longitude, latitude = track.plane.to_geographic(track.curve.position(chainage_m))
        position = (float(longitude), float(latitude))
    return Finding(severity, rule, feature, chainage_m, position, message, remedy)


def is_of_recordings(finding: Finding) -> bool:
    """Say whether a finding is one that only recordings can give."""
    return finding.rule.startswith("recording-")


def marked(track: Track, findings: Iterable[Finding]) -> list[Finding]:
    """Mark those findings the track file accepts, and sort them.

    Returns
    -------
    list of Finding
        Errors first, then warnings, then notes; each in racing order.
    """
    accepted = {(entry.get("rule"), entry.get("feature")) for entry in track.accepted}
    marked_findings = [
        replace(f, accepted=f.accepted or (f.rule, f.feature) in accepted, track=track)
        for f in findings
    ]
    return sorted(
        marked_findings,
        key=lambda f: (
            SEVERITIES.index(f.severity),
            -1.0 if f.chainage_m is None else f.chainage_m,
        ),
    )


def accept_finding(
    track: Track,
    findings: Iterable[Finding],
    rule: str,
    feature: str | None = None,
    *,
    reason: str,
    by: str | None = None,
) -> Track:
    """Accept a finding, for a reason that is kept in the track file.

    Parameters
    ----------
    track
        The track.
    findings
        What `check_track` found.
    rule, feature
        Of the finding; the feature is None where it is about the whole track.
    reason
        Why it is as it should be.
    by
        Who accepts it, or None.

    Returns
    -------
    Track
        With the acceptance, dated today, and a line of history.

    Raises
    ------
    TrackkitError
        When there is no such finding, or no reason.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> track = trackkit.widen_gate(track, "Finish", 3.0).track
    >>> findings = trackkit.check_track(track)
    >>> rule, gate = findings[0].rule, findings[0].feature
    >>> track = trackkit.accept_finding(track, findings, rule, gate, reason="measured on site")
    >>> trackkit.check_track(track)[0].accepted
    True
    """
    if not reason.strip():
        raise TrackkitError("a finding is accepted for a reason", remedy="say why")
    open_findings = {
        (finding.rule, finding.feature) for finding in findings if not finding.accepted
    }
    if (rule, feature) not in open_findings:
        listing = ", ".join(f"{r} {f or '-'}" for r, f in sorted(open_findings, key=str))
        about = f"{rule} on {feature}" if feature else f"{rule} on the whole track"
        raise TrackkitError(
            f"there is no finding {about} to accept", remedy=f"there is: {listing or 'nothing'}"
        )
    today = now()
    entry = {
        "rule": rule,
        "feature": feature,
        "reason": reason.strip(),
        "by": by,
        "date": today[:10],
    }
    about = f"{rule} on {feature}" if feature else rule
    accepted = replace(track, accepted=(*track.accepted, entry))
    return accepted.revised_by(f"accepted {about}: {reason}", today, by)
