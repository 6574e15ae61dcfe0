"""Published definitions of the units that recordings come in."""

from __future__ import annotations

KNOT_MPS = 1852.0 / 3600.0
"""International knot: 1,852 m an hour (First Extraordinary Hydrographic Conference, 1929)."""

FOOT_M = 0.3048
"""International foot (international yard and pound agreement, 1959)."""

MILE_M = 5280 * FOOT_M
"""International mile, 1,609.344 m."""

SPEED_MPS = {
    "m/s": 1.0,
    "km/h": 1.0 / 3.6,
    "mph": MILE_M / 3600.0,
    "knots": KNOT_MPS,
    "mm/s": 1e-3,
}
LENGTH_M = {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "ft": FOOT_M}
ANGLE_DEG = {"deg": 1.0, "1e-7 deg": 1e-7}
TIME_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
