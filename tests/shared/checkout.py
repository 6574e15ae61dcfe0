"""Where the checkout is, and recordings of real receivers beside it."""

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TRACKS = ROOT / "tracks"
RECORDINGS = (
    Path(os.environ.get("TRACKKIT_SHARED", ROOT.parent / "shared")).resolve() / "recordings"
)


def recording_of_a_real_receiver(name: str) -> Path:
    """Find one of the recordings beside the checkout, or skip the test by its name."""
    path = RECORDINGS / name
    if not path.exists():
        pytest.skip(f"{name} is not beside this checkout")
    return path
