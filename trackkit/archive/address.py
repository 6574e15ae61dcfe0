"""Where an archive lies."""

from __future__ import annotations

import os
from pathlib import Path

ENVIRONMENT_VARIABLE = "TRACKKIT_ARCHIVE"


def is_store(address: str) -> bool:
    """Tell whether an address is of an object store, such as ``s3://bucket/season``."""
    return "://" in address


def archive_address(at: str | os.PathLike[str] | None = None) -> str:
    """Say where the archive lies: as given, as TRACKKIT_ARCHIVE names it, or the user's own.

    Parameters
    ----------
    at
        A folder or the address of an object store; None where nothing is given.

    Returns
    -------
    str
        An absolute path, or the address.
    """
    given = os.fspath(at) if at is not None else os.environ.get(ENVIRONMENT_VARIABLE, "")
    if given and is_store(given):
        return given.rstrip("/")
    if given:
        return str(Path(given).expanduser().absolute())
    from platformdirs import user_data_path

    return str(user_data_path("trackkit", appauthor=False) / "archive")
