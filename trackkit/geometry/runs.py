"""Runs of marked samples along a line or a drive."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def runs_of(marked: ArrayLike, *, closed: bool = False) -> list[tuple[int, int]]:
    """List the runs of marked samples, in order of where they begin.

    Parameters
    ----------
    marked
        Whether each sample is, shape (n,).
    closed
        Whether the first sample follows the last, as on a closed line.  Where both are marked, they
        belong to one run, which comes last.

    Returns
    -------
    list of (begin, end)
        The first sample of each run and the one after its last.  A run that goes on over the seam
        ends beyond n: ``np.arange(begin, end) % n`` are its samples.
    """
    flags = np.asarray(marked, dtype=bool)
    edges = np.flatnonzero(np.diff(flags, prepend=False, append=False)).tolist()
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    if closed and len(runs) > 1 and runs[0][0] == 0 and runs[-1][1] == len(flags):
        runs = [*runs[1:-1], (runs[-1][0], len(flags) + runs[0][1])]
    return runs
