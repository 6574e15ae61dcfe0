"""What the sources of a track ask to be said wherever it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trackkit.track.model import Track

MAP_SOURCE = "OpenStreetMap"
"""The kind of a source that is open map data."""


def credits_of(track: Track) -> tuple[str, ...]:
    """List the credits that the sources of a track ask for, each once."""
    texts = [source.get("credit") for source in track.sources if isinstance(source, Mapping)]
    return tuple(dict.fromkeys(text for text in texts if isinstance(text, str) and text))


def credit_of(track: Track) -> str:
    """Write the credits that the sources of a track ask for as one text, empty where none does."""
    return "; ".join(credits_of(track))


def map_source(track: Track) -> Mapping[str, Any] | None:
    """Return the source of a track that is open map data, or None."""
    for source in track.sources:
        if isinstance(source, Mapping) and source.get("kind") == MAP_SOURCE:
            return source
    return None


def is_map_drawn(track: Track) -> bool:
    """Tell whether the line of a track is as open map data have it, and nobody has driven it."""
    metres = track.centreline.metres_of_kinds()
    if track.line != "centre" or map_source(track) is None or metres is None:
        return False
    return metres["drawn"] > 0.5 * sum(metres.values())
