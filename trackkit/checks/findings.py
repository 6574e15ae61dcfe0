"""What a check has to say, and how it is accepted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal

from trackkit.errors import TrackkitError
from trackkit.remedies import Remedy
from trackkit.track.model import Position, Track, position_row

Severity = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


@dataclass(frozen=True)
class Finding:
    """Something a check has to say.

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
    """

    severity: Severity
    rule: str
    feature: str | None
    chainage_m: float | None
    position: Position | None
    message: str
    remedy: Remedy
    accepted: bool = False

    def as_row(self) -> dict[str, Any]:
        """Return the finding as JSON; its chainage to a centimetre."""
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


def marked(track: Track, findings: Iterable[Finding]) -> list[Finding]:
    """Mark those findings the track file accepts, and sort them.

    Returns
    -------
    list of Finding
        Errors first, then warnings, then notes; each in racing order.
    """
    accepted = {(entry.get("rule"), entry.get("feature")) for entry in track.accepted}
    found = [replace(f, accepted=True) if (f.rule, f.feature) in accepted else f for f in findings]
    return sorted(
        found,
        key=lambda f: (
            SEVERITIES.index(f.severity),
            -1.0 if f.chainage_m is None else f.chainage_m,
        ),
    )


def accept(
    track: Track,
    findings: Iterable[Finding],
    rule: str,
    feature: str | None,
    *,
    reason: str,
    date: str,
    by: str | None = None,
) -> Track:
    """Return the track with a finding accepted, for a reason that is kept in its file.

    Parameters
    ----------
    track
        The track.
    findings
        What a check of it found.
    rule, feature
        Of the finding; the feature is None where it is about the whole track.
    reason
        Why it is as it should be.
    date
        RFC 3339 date.
    by
        Who says so, or None.

    Raises
    ------
    TrackkitError
        When there is no such finding, or no reason.
    """
    if not reason.strip():
        raise TrackkitError("a finding is accepted for a reason", remedy="say why")
    found = list(findings)
    known = {(one.rule, one.feature) for one in found if not one.accepted}
    if (rule, feature) not in known:
        told = ", ".join(f"{r} {f or '-'}" for r, f in sorted(known, key=str)) or "nothing"
        about = f"{rule} on {feature}" if feature else f"{rule} on the whole track"
        raise TrackkitError(f"there is no finding {about} to accept", remedy=f"there is: {told}")
    entry = {
        "rule": rule,
        "feature": feature,
        "reason": reason.strip(),
        "by": by,
        "date": date,
    }
    return replace(track, accepted=(*track.accepted, entry))
