"""What geometry has to say about a track: findings, each with its remedy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trackkit.track import Position

Severity = Literal["error", "warning", "note"]


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
    message, remedy
        What is wrong, and what to do; sentences without full stops.
    accepted
        Whether the track file says that this finding is accepted.
    """

    severity: Severity
    rule: str
    feature: str | None
    chainage_m: float | None
    position: Position | None
    message: str
    remedy: str
    accepted: bool = False
