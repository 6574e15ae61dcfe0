"""What a circuit is called."""

from __future__ import annotations


def title_of(name: str, layout: str) -> str:
    """Say a circuit's name and layout as people do."""
    return f"{name} ({layout})" if layout else name
