"""What the command line does not load, so that it starts quickly."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
def test_locate_loads_no_pandas_geopandas_or_matplotlib(bean_folder: Path) -> None:
    done = subprocess.run(
        [
            sys.executable,
            "-X",
            "importtime",
            "-m",
            "trackkit",
            "locate",
            "-41.2",
            "-30.5",
            "--library",
            str(bean_folder),
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {
        line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines()
    }
    assert "trackkit" in loaded
    assert not loaded & {"pandas", "geopandas", "matplotlib", "scipy"}


def test_help_loads_no_numerics() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "trackkit", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {
        line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines()
    }
    assert not loaded & {"pandas", "geopandas", "matplotlib", "scipy", "numpy"}
