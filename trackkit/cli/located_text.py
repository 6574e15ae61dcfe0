"""A located circuit in a few words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trackkit.track.title import title_of
from trackkit.units import units

if TYPE_CHECKING:
    from trackkit.library.known import Candidate


def title(candidate: Candidate) -> str:
    """Name a candidate as people say it, with the direction driven after a drive."""
    name = title_of(candidate.name, candidate.layout)
    if candidate.probability is None:
        return name
    if candidate.reversed:
        return f"{name}, against its racing direction"
    return f"{name}, {candidate.direction}" if candidate.direction else name


def days(candidate: Candidate) -> str:
    """Say of a layout that is not there on the day since when it is gone, or when it begins."""
    if candidate.validity == "not yet":
        return f"not before {candidate.valid_from}"
    if candidate.validity == "no longer":
        until = candidate.valid_until
        return f"no longer, until {until}" if until else "no longer, replaced"
    return ""


def open_between(candidates: list[Candidate], part_at_m: float | None) -> str:
    """Say what an answer is still open between, and where that will be decided."""
    first, *others = [f"{title(candidate)} [{candidate.id}]" for candidate in candidates]
    text = f"still open between {', '.join([first, *others[:-1]])} and {others[-1]}"
    if part_at_m is None:
        return f"{text}, which run on the same line"
    which = "they part" if len(candidates) == 2 else "the first two part"
    return f"{text}; {which} at {units().length_text(part_at_m)}"
