"""Words for people who look at a value: counts, and sentences cut short."""

from __future__ import annotations

from collections.abc import Sized

_LONGEST = 80


def counted(things: Sized, singular: str, plural: str | None = None) -> str:
    """Write how many there are: ``1 gate``, ``4 gates``."""
    return f"{len(things):,} {singular if len(things) == 1 else plural or singular + 's'}"


def shortened(text: str) -> str:
    """Cut a sentence that is too long to stand in a `repr`."""
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
