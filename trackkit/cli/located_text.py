"""A located circuit in a few words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trackkit.track.title import title_of

if TYPE_CHECKING:
    from trackkit.library.known import Candidate


def title(one: Candidate) -> str:
    """Name a candidate as people say it, with the direction driven after a drive."""
    name = title_of(one.name, one.layout)
    if one.probability is None:
        return name
    if one.reversed:
        return f"{name}, against its racing direction"
    return f"{name}, {one.direction}" if one.direction else name


def open_between(candidates: list[Candidate], part_at_m: float | None) -> str:
    """Say what an answer is still open between, and where that will be decided."""
    first, *others = [f"{title(one)} [{one.id}]" for one in candidates]
    said = f"still open between {', '.join([first, *others[:-1]])} and {others[-1]}"
    if part_at_m is None:
        return f"{said}, which run on the same line"
    which = "they part" if len(candidates) == 2 else "the first two part"
    return f"{said}; {which} at {part_at_m:.0f} m"
