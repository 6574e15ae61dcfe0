"""The packages that pictures need, loaded where they are installed."""

from __future__ import annotations

import os
from importlib import import_module
from typing import Any

from trackkit.errors import UnderlayError


def load(name: str, path: str | os.PathLike[str]) -> Any:
    """Import a module that the extra `underlay` brings.

    Parameters
    ----------
    name
        Of the module.
    path
        The picture that needs it.

    Raises
    ------
    UnderlayError
        When it is not installed.
    """
    try:
        return import_module(name)
    except ImportError as error:
        raise UnderlayError(
            f"needs {name.partition('.')[0]} to be read, since it is a picture",
            file=path,
            remedy="install it: pip install 'trackkit[underlay]'",
        ) from error
