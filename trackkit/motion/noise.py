"""The model of a receiver's noise, the usual receiver, and what a receiver measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats


@dataclass(frozen=True)
class Levels:
    """Noise levels, one sigma per horizontal axis.

    Parameters
    ----------
    jerk
        Density of the white jerk truth moves with, m^2/s^5.
    white_m
        White noise of a measured position, metres.
    wander_m, wander_time_s
        The receiver's slow wander and its time constant.
    doppler_mps
        White noise of a measured velocity, m/s.
    slow_doppler_mps, slow_doppler_time_s
        Correlated noise of a measured velocity and its time constant; 0 m/s for none.
    """

    jerk: float = 3.0
    white_m: float = 0.15
    wander_m: float = 1.0
    wander_time_s: float = 120.0
    doppler_mps: float = 0.05
    slow_doppler_mps: float = 0.0
    slow_doppler_time_s: float = 1.0

    @property
    def states(self) -> int:
        """How many unknowns a fix has on one axis."""
        return 5 if self.slow_doppler_mps > 0 else 4


USUAL = Levels()
"""The usual receiver: assumed where a recording does not tell, and what practice recordings are of.

Wander and white noise of this size are common practice, no source; so is 0.05 m/s, a usual figure
of data sheets.  The kind of noise is Brown & Hwang's (Introduction to Random Signals and Applied
Kalman Filtering; from memory).
"""
RECEIVER_ACCURACY_M = 3.0 * USUAL.wander_m
"""Three sigma of the usual receiver's wander, on one axis."""


@dataclass(frozen=True, eq=False)
class Measured:
    """What a receiver measured, on a plane.

    Parameters
    ----------
    time_s
        Seconds, shape (n,), increasing.
    position_m
        Shape (n, 2).
    velocity_mps
        Shape (n, 2); NaN rows where unknown.
    joined
        Whether each fix goes on from the one before without a break, shape (n - 1,).
    scale
        Factor on the white noise of each position, shape (n,).
    direction
        Where only the speed is known: the unit vectors along which it is taken to be measured,
        shape (n, 2), `velocity_mps` being speed times direction.  None where velocities are known
        as vectors.
    velocity_scale
        Factor on the white noise of each velocity, shape (n,); None for 1.
    """

    time_s: Floats
    position_m: Floats
    velocity_mps: Floats
    joined: Flags
    scale: Floats
    direction: Floats | None = None
    velocity_scale: Floats | None = None

    def part(self, begin: int, end: int) -> Measured:
        """Cut out the fixes from `begin` to before `end`."""
        inside = slice(begin, end)
        return Measured(
            self.time_s[inside],
            self.position_m[inside],
            self.velocity_mps[inside],
            self.joined[begin : max(end - 1, begin)],
            self.scale[inside],
            None if self.direction is None else self.direction[inside],
            None if self.velocity_scale is None else self.velocity_scale[inside],
        )

    def only(self, chosen: Flags) -> Measured:
        """Cut out some fixes; each goes on from the one before if nothing between was broken."""
        piece = np.concatenate([[0], np.cumsum(~self.joined)])[chosen]
        return Measured(
            self.time_s[chosen],
            self.position_m[chosen],
            self.velocity_mps[chosen],
            np.diff(piece) == 0,
            self.scale[chosen],
            None if self.direction is None else self.direction[chosen],
            None if self.velocity_scale is None else self.velocity_scale[chosen],
        )


def over_usual(reported: Floats | None) -> Floats | None:
    """Divide what a receiver reports of each fix, such as an accuracy, by its median.

    Parameters
    ----------
    reported
        Shape (n,), NaN where unknown, or None.

    Returns
    -------
    ndarray or None
        Factors between 0.2 and 20, shape (n,), 1 where unknown; None where nothing is known.
    """
    if reported is None or not np.isfinite(reported).any():
        return None
    usual = float(np.nanmedian(reported))
    if usual <= 0:
        return None
    # Beyond all numbers is as good as 20 times.
    with np.errstate(over="ignore"):
        return np.clip(np.where(np.isfinite(reported), reported / usual, 1.0), 0.2, 20.0)
