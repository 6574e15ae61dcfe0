"""Ids of the library in the place of track files."""

from __future__ import annotations

import os
from pathlib import Path

from trackkit.errors import TrackkitError


def known_path(word: str) -> str | None:
    """Find the track file of an id; None where the word is the name of a file instead.

    Raises
    ------
    TrackkitError
        When no circuit of the libraries has the id.
    """
    if os.sep in word or "/" in word or "." in word or Path(word).exists():
        return None
    from trackkit import open_library

    circuit = open_library().find(word)
    if circuit is None:
        raise TrackkitError(
            "is no file, and no circuit of the libraries has it as its id",
            file=word,
            remedy="`trackkit library list` shows the ids",
        )
    return str(circuit.path)
