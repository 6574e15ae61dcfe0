"""The caution that goes with every track file, printed wherever one is made or shown."""

from __future__ import annotations

CAUTION = (
    "Nobody handles a phone, a logger or any other device while driving: set it up before you "
    "leave and read it once you have stopped. "
    "Record or walk a circuit only with the leave of whoever runs it, and follow the marshals' "
    "instructions. "
    "Times taken by GPS are for training; officiating belongs to the licensed timekeepers. "
    "Do not use this for timing on public roads."
)
