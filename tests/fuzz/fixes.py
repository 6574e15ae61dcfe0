"""Fixes at sea, as text."""

from __future__ import annotations

import math
from collections.abc import Sequence

SEA = (-128.0, 43.0)
"""Open sea, where everything made here lies: longitude and latitude, degrees."""
_DEGREE_M = 111_320.0


def ring(fixes: int, radius_m: float, at: tuple[float, float] = SEA) -> list[tuple[float, float]]:
    """Return longitudes and latitudes of a circle driven anticlockwise."""
    turn = [2 * math.pi * n / 60 for n in range(fixes)]
    narrow = math.cos(math.radians(at[1])) or 1e-9
    return [
        (
            at[0] + radius_m / _DEGREE_M / narrow * math.cos(angle),
            at[1] + radius_m / _DEGREE_M * math.sin(angle),
        )
        for angle in turn
    ]


def clock(second: float) -> str:
    """Write seconds of an invented day as ISO 8601."""
    minute, rest = divmod(second, 60.0)
    hour, minute = divmod(int(minute), 60)
    return f"2024-05-04T{9 + hour:02d}:{minute:02d}:{rest:012.9f}Z"


def table(rows: Sequence[Sequence[object]], heads: str = "time,latitude,longitude") -> str:
    """Write rows as CSV below a header."""
    return "\n".join([heads, *(",".join(str(cell) for cell in row) for row in rows)]) + "\n"


def sentence(second: float, longitude: float, latitude: float, knots: float | None) -> str:
    """Write one RMC sentence of NMEA 0183."""

    def angle(value: float, digits: int) -> str:
        whole, part = divmod(abs(value), 1.0)
        return f"{int(whole):0{digits}d}{part * 60:07.4f}"

    moment = f"{9 + int(second // 3600):02d}{int(second // 60) % 60:02d}{second % 60:06.3f}"
    speed = "" if knots is None else f"{knots:.2f}"
    body = (
        f"GPRMC,{moment},A,{angle(latitude, 2)},{'S' if latitude < 0 else 'N'},"
        f"{angle(longitude, 3)},{'W' if longitude < 0 else 'E'},{speed},,040524,,"
    )
    checksum = 0
    for character in body:
        checksum ^= ord(character)
    return f"${body}*{checksum:02X}\r\n"
