"""A located circuit as a row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trackkit.library.known import Candidate, Located


def candidate_row(one: Candidate) -> dict[str, Any]:
    """Write a candidate as ``locate --json`` does."""
    return {
        "id": one.id,
        "name": one.name,
        "layout": one.layout,
        "direction": one.direction,
        "distance_m": round(one.distance_m, 3),
        "probability": None if one.probability is None else round(one.probability, 4),
        "reversed": one.reversed,
    }


def located_row(located: Located) -> dict[str, Any]:
    """Write an answer as ``locate --json`` does."""
    return {
        "answer": located.answer,
        "candidates": [candidate_row(one) for one in located.candidates],
        "tied": list(located.tied),
        "part_at_m": None if located.part_at_m is None else round(located.part_at_m, 1),
        "unknown": None if located.unknown is None else round(located.unknown, 4),
    }


def candidate_row_keys() -> tuple[str, ...]:
    """Name the columns of a candidate."""
    return ("id", "name", "layout", "direction", "reversed", "distance_m", "probability")


def title(one: Candidate) -> str:
    """Name a candidate as people say it, with the direction driven after a drive."""
    name = f"{one.name} ({one.layout})" if one.layout else one.name
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
