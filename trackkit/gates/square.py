"""The ends of a gate at right angles to the track."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import PlaceError
from trackkit.geometry.clearance import NEAR_ENOUGH_M, distance_to_other_piece
from trackkit.motion.noise import RECEIVER_ACCURACY_M
from trackkit.track.derive import geographic
from trackkit.track.model import Position, Track

GATE_MARGIN_M = 4.0
"""How far a gate reaches beyond the band on either side: the receiver's wander, and a wide line."""
NARROWEST_HALF_M = 3.0
NARROWEST_M, WIDEST_M = 0.5, 500.0
"""No gate is narrower or wider than these."""


def square_ends(
    track: Track, chainage_m: float, width_m: float | None
) -> tuple[Position, Position, tuple[str, ...]]:
    """Find the ends of a gate at right angles to the track.

    Parameters
    ----------
    track
        The track.
    chainage_m
        Where on the centreline, metres.
    width_m
        Distance between the ends, half on either side.  None means the band and a margin of
        `GATE_MARGIN_M` on either side, shortened where it would come within the receiver's
        accuracy of another piece of track.

    Returns
    -------
    left, right, remarks
        Ends as (longitude, latitude), degrees, and what was shortened.
    """
    curve = track.curve
    centre, aside = curve.position(chainage_m), curve.left(chainage_m)
    if width_m is not None:
        if not NARROWEST_M <= width_m <= WIDEST_M:
            raise PlaceError(
                f"a gate {width_m:g} m wide is not sensible",
                remedy=f"give {NARROWEST_M:g} to {WIDEST_M:g} metres",
            )
        halves = [0.5 * width_m, 0.5 * width_m]
        remarks: tuple[str, ...] = ()
    else:
        full = 0.5 * track.band_m + GATE_MARGIN_M
        reach = [
            _clear_half(track, chainage_m, centre, side * aside, full, RECEIVER_ACCURACY_M)
            for side in (1, -1)
        ]
        halves = [NARROWEST_HALF_M if half is None else half for half in reach]
        remarks = tuple(
            f"its {side} end is {half:.1f} m from the centreline instead of {full:.1f} m, to stay "
            "clear of another piece of track"
            for side, half in zip(("left", "right"), halves, strict=True)
            if half < full
        )
    left = geographic(track, centre + halves[0] * aside)
    right = geographic(track, centre - halves[1] * aside)
    return left, right, remarks


def widest_clear_m(track: Track, chainage_m: float) -> float | None:
    """Find how wide a gate may be, half on either side, to stay clear of other pieces of track.

    Returns
    -------
    float or None
        At most the band and `GATE_MARGIN_M` on either side, metres; None where not even
        `NARROWEST_HALF_M` on either side is clear by the receiver's accuracy.
    """
    centre, aside = track.curve.position(chainage_m), track.curve.left(chainage_m)
    full = 0.5 * track.band_m + GATE_MARGIN_M
    accuracy = max(RECEIVER_ACCURACY_M, track.accuracy_m or 0.0)
    halves = [
        _clear_half(track, chainage_m, centre, side * aside, full, accuracy) for side in (1, -1)
    ]
    clear = [half for half in halves if half is not None]
    return 2.0 * min(clear) if len(clear) == len(halves) else None


def _clear_half(
    track: Track,
    chainage_m: float,
    centre: Floats,
    aside: Floats,
    full_m: float,
    accuracy_m: float,
) -> float | None:
    """Find how far to one side is clear of other track; None where not even the narrowest is."""
    for half in (*np.arange(full_m, NARROWEST_HALF_M, -0.5).tolist(), NARROWEST_HALF_M):
        reach = np.linspace(0.0, half, 1 + int(np.ceil(half)))
        away = min(
            distance_to_other_piece(track.curve, chainage_m, centre + r * aside)
            for r in reach[len(reach) // 2 :]
        )
        if away >= accuracy_m - 0.5 * NEAR_ENOUGH_M:
            return float(half)
    return None
