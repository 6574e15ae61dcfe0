"""Stretches of a drive that are shifted as a whole, as unknowns beside those of a repeated line.

A receiver that follows a reflected signal for some seconds puts a vehicle metres beside where it
is, and back again.  Such a shift comes within a second or two, stays, and goes.  How far and to
which side is unknown beforehand; when it comes and goes is taken as given, but for the second
itself, of which no course of the shift is believed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.motion.line_model import Sideways

SHIFT_M = 4.0
"""How far positions jump aside, one sigma on each axis (common practice, no source)."""
RAMP_S = 1.6
"""Within so long a shift comes or goes."""
_UNSURE_SHARE = 0.3
"""How far from its usual course a shift may be while it comes or goes, as a share of it."""
_LEAST_UNSURE_M = 0.5
_COLUMNS = 6
"""Of each shift: it itself, and what is unsure of it while it comes and while it goes; each east
and north."""


@dataclass(frozen=True, eq=False)
class Shifts:
    """When a drive is shifted, and what its pace tells of how far.

    Parameters
    ----------
    begin_s, end_s
        When each comes and goes: the middle of the time in which it does, shape (j,).
    size_m
        About how far, shape (j,).
    ahead
        The direction of driving at both, unit vectors, shape (j, 2, 2).
    gained_m
        By how much more the drive seems to move ahead while a shift comes, and while it goes, than
        on other laps there, shape (j, 2).
    gained_sigma_m
        One sigma of that, shape (j, 2); infinite where nothing tells it.
    """

    begin_s: Floats
    end_s: Floats
    size_m: Floats
    ahead: Floats
    gained_m: Floats
    gained_sigma_m: Floats

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.begin_s)

    def only(self, chosen: Flags) -> Shifts:
        """Take some of them."""
        return Shifts(
            self.begin_s[chosen],
            self.end_s[chosen],
            self.size_m[chosen],
            self.ahead[chosen],
            self.gained_m[chosen],
            self.gained_sigma_m[chosen],
        )

    def shares(self, time_s: Floats) -> Floats:
        """Share of each unknown in the shift at some times; east and north have the same.

        Parameters
        ----------
        time_s
            Shape (k,).

        Returns
        -------
        Floats
            Shape (k, 3 j): of all shifts themselves, then of what is unsure of their beginnings,
            then of their ends.
        """
        since, until = time_s[:, None] - self.begin_s, self.end_s - time_s[:, None]
        return np.concatenate(
            [
                risen(since, RAMP_S) * risen(until, RAMP_S),
                _while_rising(since),
                _while_rising(until),
            ],
            axis=1,
        )

    def moved(self, time_s: Floats, unknown: Floats) -> Floats:
        """How far the drive is shifted at some times.

        Parameters
        ----------
        time_s
            Shape (k,).
        unknown
            Values of the unknowns, one set or several, shape (6 j, m).

        Returns
        -------
        Floats
            East and north, shape (k, 2, m).
        """
        share = self.shares(time_s)
        return np.stack([share @ axis for axis in np.split(unknown, 2)], axis=1)

    def covariance(self) -> Floats:
        """Covariance of the unknowns beforehand, m^2: all of the east axis, then of the north."""
        unsure = np.maximum(_UNSURE_SHARE * self.size_m, _LEAST_UNSURE_M)
        sigma = np.concatenate([np.full(self.count, SHIFT_M), unsure, unsure])
        return np.diag(np.tile(sigma**2, 2))

    def told_by_pace(self) -> tuple[Floats, Floats]:
        """Information about the unknowns, and what it pulls them to: (6 j, 6 j) and (6 j,)."""
        count = self.count
        size = _COLUMNS * count
        information, pull = np.zeros((size, size)), np.zeros(size)
        place = np.arange(count)
        for end, sign in enumerate((1.0, -1.0)):
            trust = self.gained_sigma_m[:, end] ** -2.0
            towards = sign * self.ahead[:, end]
            for axis in range(2):
                mine = place + axis * 3 * count
                pull[mine] += trust * towards[:, axis] * self.gained_m[:, end]
                for other in range(2):
                    information[mine, place + other * 3 * count] += (
                        trust * towards[:, axis] * towards[:, other]
                    )
        return information, pull

    def quiet(self, side: Sideways) -> Sideways:
        """Let the offsets say nothing while shifts come or go."""
        edges = np.concatenate([self.begin_s, self.end_s])
        near = np.abs(side.time_s[:, None] - edges) < 0.5 * RAMP_S
        return replace(side, sigma_m=np.where(near.any(axis=1), np.inf, side.sigma_m))


def risen(since_s: Floats, ramp_s: float) -> Floats:
    """Share of a shift that has come so long after the middle of its coming."""
    x = np.clip(since_s / ramp_s + 0.5, 0.0, 1.0)
    return np.asarray(x**2 * (3.0 - 2.0 * x))


def _while_rising(since_s: Floats) -> Floats:
    """How unsure the course of a shift is then: 1 in the middle of its coming, and 0 beyond."""
    return np.asarray(np.clip(1.0 - np.abs(since_s) / RAMP_S, 0.0, 1.0))
