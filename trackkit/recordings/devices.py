"""Libraries for the files of devices, which are installed only where they are wanted."""

from __future__ import annotations

import os
from importlib import import_module
from typing import Any

from trackkit.errors import RecordingError

_EXTRA = {
    "fitdecode": "devices",
    "pyubx2": "devices",
    "pyarrow": "parquet",
    "ezdxf": "dxf",
    "osmium": "osm",
}


def library(name: str, what: str, path: str | os.PathLike[str]) -> Any:
    """Import a library that an extra brings.

    Parameters
    ----------
    name
        Of its module.
    what
        What it reads, for the sentence.
    path
        The file that needs it.

    Raises
    ------
    RecordingError
        It is not installed.
    """
    try:
        return import_module(name)
    except ImportError as error:
        raise RecordingError(
            f"needs {name.split('.')[0]} to be read, since it is {what}",
            file=path,
            remedy=f"install it: pip install 'trackkit[{_EXTRA[name.split('.')[0]]}]'",
        ) from error
