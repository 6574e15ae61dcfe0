"""What pages send, read with care: anything may come that is JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from trackkit.errors import TrackkitError
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.track.features import Position

Request = Mapping[str, Any]
"""One edit: ``{"do": "move", "gate": ID, "to_m": METRES, ...}``; docs/editing.md lists them."""


def position(request: Request, key: str) -> Position:
    """Read a longitude and a latitude, degrees."""
    at = request.get(key)
    if not isinstance(at, list) or len(at) != 2:
        raise TrackkitError(f"{key} is a longitude and a latitude")
    longitude, latitude = (number({key: value}, key) for value in at)
    if abs(latitude) > 90 or abs(longitude) > 540:
        raise TrackkitError(f"{longitude:g}, {latitude:g} is no longitude and latitude in degrees")
    return float(wrap_longitude(longitude)), latitude


def number(request: Request, key: str) -> float:
    """Read a finite number."""
    value = request.get(key)
    wrong = TrackkitError(f"{key} is not a number")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise wrong
    try:
        read = float(value)
    except OverflowError as error:
        raise wrong from error
    if not math.isfinite(read):
        raise wrong
    return read


def text(request: Request, key: str) -> str:
    """Read a text that is not too long."""
    value = request.get(key)
    if not isinstance(value, str) or len(value) > 10_000:
        raise TrackkitError(f"{key} is not a text")
    return value
