"""GDAL's own programs, which read and write tracks between an export and an import."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def ogr2ogr(made: Path, read: Path, *options: str) -> Path:
    """Have ogr2ogr make a file, or a folder, of another; skip the test where there is none."""
    program = shutil.which("ogr2ogr")
    if program is None:
        reason = "ogr2ogr is not installed (Debian: gdal-bin)"
        if os.environ.get("TRACKKIT_REQUIRE_GDAL") == "1":
            pytest.fail(f"{reason}, and it is required here")
        pytest.skip(reason)
    subprocess.run(
        [program, *options, str(made), str(read)], check=True, capture_output=True, timeout=60
    )
    return made
