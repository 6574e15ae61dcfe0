"""What a track's history and its sources say."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from trackkit.files import sha256_of


def now() -> str:
    """Return the time of day as RFC 3339 writes it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def source_entry(path: str | os.PathLike[str], **more: Any) -> dict[str, Any]:
    """Describe a file a track was made from, by its name and SHA-256; a folder by its name."""
    if Path(path).is_dir():
        return {"file": Path(path).name, **more}
    return {"file": Path(path).name, "sha256": sha256_of(path), **more}
