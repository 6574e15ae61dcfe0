"""Positions that no receiver can have measured."""

from __future__ import annotations

from typing import Any, TypeVar

from trackkit.arrays import Floats

NULL_WITHIN_DEG = 1e-4

Angle = TypeVar("Angle", float, Floats)


def is_on_earth(longitude_deg: Angle, latitude_deg: Angle) -> Any:
    """Say whether positions, degrees, are longitudes and latitudes; NaN are none."""
    return (abs(longitude_deg) <= 180.0) & (abs(latitude_deg) <= 90.0)


def is_null_position(longitude_deg: Angle, latitude_deg: Angle) -> Any:
    """Say whether positions, degrees, are 0, 0, which receivers write when they have none."""
    return (abs(longitude_deg) <= NULL_WITHIN_DEG) & (abs(latitude_deg) <= NULL_WITHIN_DEG)
