"""Files that a page asks for by a name, beside one that was opened."""

from __future__ import annotations

import os
from pathlib import Path

from trackkit.errors import OutputError


def new_file_beside(path: str, name: str, suffix: str) -> str:
    """Give the path of a file that is to be written beside another, over nothing.

    Parameters
    ----------
    path
        The file that was opened.
    name
        Of the new one, without a folder.
    suffix
        Such as ``.geojson``; put after the name where it is missing.

    Raises
    ------
    OutputError
        When that is no name of a file there, or when there is such a file.
    """
    name = name.strip()
    if not name.casefold().endswith(suffix):
        name += suffix
    if name.startswith(".") or not name.isprintable() or any(sign in name for sign in '/\\:*?"<>|'):
        kind = "the track file" if suffix == ".geojson" else Path(path).name
        raise OutputError(
            f"{name!r} is no name for a file beside {kind}",
            remedy=f"give a name without a folder, such as {Path(path).stem}-copy{suffix}",
        )
    copy = str(Path(path).parent / name)
    if os.path.lexists(copy):
        raise OutputError(
            "exists, and a copy is written over nothing", file=copy, remedy="give another name"
        )
    return copy
