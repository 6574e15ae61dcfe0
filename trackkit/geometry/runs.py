"""Runs of marked samples along a line or a drive."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def stretches(marked: NDArray[np.bool_], *, closed: bool) -> list[tuple[int, int]]:
    """List runs of marked samples as (first, last), one over the seam of a closed line as one."""
    if not marked.any():
        return []
    if marked.all():
        return [(0, len(marked) - 1)]
    turn = int(np.argmin(marked)) if closed else 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.roll(marked, -turn), [0]])))
    pairs = edges.reshape(-1, 2) + turn
    return [(int(a) % len(marked), int(b - 1) % len(marked)) for a, b in pairs]
