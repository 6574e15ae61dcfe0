"""Tell a track file from other files by what it holds."""

from __future__ import annotations

import json
import re
from pathlib import Path

_TRACK_MEMBER = re.compile(rb'"track"\s*:\s*\{')
_MOST_BYTES = 1 << 26


def is_track(path: str) -> bool:
    """Tell whether a file is GeoJSON with a ``track`` member, though perhaps a broken one."""
    try:
        with Path(path).open("rb") as file:
            if not file.read(256).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
                return False
            file.seek(0)
            data = file.read(_MOST_BYTES)
    except OSError:
        return False
    if not _TRACK_MEMBER.search(data):
        return False
    try:
        return isinstance(json.loads(data).get("track"), dict)
    except (ValueError, RecursionError):
        return True
