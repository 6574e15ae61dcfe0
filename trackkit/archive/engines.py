"""The libraries that an archive stands on, which the extra ``archive`` brings."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from trackkit.errors import TrackkitError


def engine(name: str) -> Any:
    """Import a library that the extra ``archive`` brings.

    Parameters
    ----------
    name
        Of its module.

    Raises
    ------
    TrackkitError
        It is not installed.
    """
    try:
        return import_module(name)
    except ImportError as error:
        package = "dask" if name.startswith("dask") else name.partition(".")[0]
        raise TrackkitError(
            f"an archive needs {package}, which is not installed",
            remedy="install it: pip install 'trackkit[archive]'",
        ) from error
