"""Recordings as lines of delimited text."""

from __future__ import annotations

import numpy as np

METRES_PER_DEGREE = 2 * np.pi * 6_378_137.0 / 360.0
"""Along the equator of WGS 84, whose semi-major axis is 6,378,137 m by definition."""


def rows(header: str, *lines: str) -> str:
    return "\n".join([header, *lines]) + "\n"


def equator_drive(
    header: str, *, speed_mps=20.0, speed_factor=1.0, time_factor=1.0, count=30
) -> str:
    """Write time, latitude, longitude, speed of a drive along the equator at a constant speed."""
    lines = [
        f"{n * time_factor:.10g},0.5,{10 + n * speed_mps / METRES_PER_DEGREE:.8f},"
        f"{speed_mps * speed_factor:.4f}"
        for n in range(count)
    ]
    return rows(header, *lines)


PLAIN = rows(
    "time,latitude,longitude",
    "2024-05-01T10:00:00Z,48.1,161.5",
    "2024-05-01T10:00:00.5Z,48.10001,161.5",
)
