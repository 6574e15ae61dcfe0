"""When a drive went by places near a gate, and how passings err together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.timing.crossings import Crossing
from trackkit.track.model import Track

SEARCHED_M = 150.0
"""A line is looked for this far to either side of its gate, or a third of a lap if that is less."""
STEP_M = 0.5
WANDER_CAUTION = 1.2
"""A wander read from a recording is uncertain by about this factor, one sigma: that many time
constants are in an hour, and levels are searched in steps as large."""
_LEAST_FAST_M2 = 1e-4
_SAMPLED_S = 0.1
_MARGIN_M = 10.0
_SLOWEST_MPS = 1.0


@dataclass(frozen=True, eq=False)
class Passings:
    """When a drive went by places near one gate.

    Parameters
    ----------
    place_m
        Distance ahead of the gate, rising evenly, shape (k,).
    time_s, pace_spm
        Shape (n, k): time of each passing at each place, and seconds a metre there; NaN rows
        where the drive was not recorded all along, or did not go forward.
    crossing
        Of the gate, one a passing.
    direction
        Of racing at the gate, a unit vector.
    """

    place_m: Floats
    time_s: Floats
    pace_spm: Floats
    crossing: tuple[Crossing, ...]
    direction: Floats

    def at(self, ahead_m: float) -> tuple[Floats, Floats]:
        """Return times and paces at one place, each of shape (n,)."""
        step = self.place_m[1] - self.place_m[0]
        where = np.clip((ahead_m - self.place_m[0]) / step, 0.0, len(self.place_m) - 1.0001)
        low = int(where)
        share = where - low
        # Cubic with the paces at both ends: what times do between two places.
        t0, t1 = self.time_s[:, low], self.time_s[:, low + 1]
        p0, p1 = self.pace_spm[:, low] * step, self.pace_spm[:, low + 1] * step
        rise = t1 - t0
        time = t0 + share * (p0 + share * (3 * rise - 2 * p0 - p1 + share * (p0 + p1 - 2 * rise)))
        slope = p0 + share * (2 * (3 * rise - 2 * p0 - p1) + share * 3 * (p0 + p1 - 2 * rise))
        return time, slope / step


def passings(
    track: Track, drive: Drive, chainage_m: float, crossings: Sequence[Crossing]
) -> Passings:
    """Find when a drive went by places near a gate.

    Parameters
    ----------
    track
        Closed.
    drive
        Of it.
    chainage_m
        Of the gate.
    crossings
        Of the gate.
    """
    from scipy.interpolate import CubicHermiteSpline

    curve = track.curve
    reach = min(SEARCHED_M, curve.length_m / 3.0)
    place = np.linspace(-reach, reach, 2 * int(np.ceil(reach / STEP_M)) + 1)
    step = np.diff(drive.time_s, prepend=drive.time_s[0])
    gone = np.cumsum(step * drive.speed_mps)
    time = np.full((len(crossings), len(place)), np.nan)
    pace = np.full_like(time, np.nan)
    windows = []
    for crossing in crossings:
        middle = gone[crossing.fix]
        first, last = np.searchsorted(gone, [middle - reach - 25.0, middle + reach + 25.0])
        same = np.flatnonzero(drive.piece == drive.piece[crossing.fix])
        begin = drive.time_s[max(first - 1, same[0])]
        end = drive.time_s[min(last, same[-1])]
        windows.append(np.linspace(begin, end, 2 + int((end - begin) / _SAMPLED_S)))
    if not windows:
        return Passings(place, time, pace, (), curve.direction(chainage_m))
    position, velocity = drive.at(np.concatenate(windows))
    speed = np.linalg.norm(velocity, axis=1)
    heading = velocity / np.maximum(speed, 1e-9)[:, None]
    where, aside = curve.project(position, heading)
    bent = np.maximum(1.0 - curve.curvature(where) * aside, 0.2)
    rate = (velocity * curve.direction(where)).sum(axis=1) / bent
    half = 0.5 * curve.length_m
    ahead = (where - chainage_m + half) % curve.length_m - half
    bounds = np.cumsum([0, *(len(window) for window in windows)])
    for row, (low, high) in enumerate(pairwise(bounds.tolist())):
        near = np.flatnonzero(np.abs(ahead[low:high]) <= reach + _MARGIN_M) + low
        if len(near) < 2 or np.any(np.diff(near) > 1):
            continue
        s, v, t = ahead[near], rate[near], windows[row][near - low]
        if s[0] > -reach or s[-1] < reach or np.any(np.diff(s) <= 0) or v.min() < _SLOWEST_MPS:
            continue
        spline = CubicHermiteSpline(s, t, 1.0 / v)
        time[row], pace[row] = spline(place), spline(place, 1)
    return Passings(place, time, pace, tuple(crossings), curve.direction(chainage_m))


def covariance_along(drive: Drive, lines: Sequence[Passings]) -> Floats:
    """Covariance of the errors of positions along the track at all passings of some gates, m^2.

    A recording does not show what the wander adds up to over a session, so its level is taken a
    little larger than it was read (`WANDER_CAUTION`).

    Parameters
    ----------
    drive
        That the passings are of.
    lines
        Passings of one gate each; their rows follow one another in the result.
    """
    every = [crossing for line in lines for crossing in line.crossing]
    direction = np.concatenate([np.tile(line.direction, (len(line.crossing), 1)) for line in lines])
    fix = np.array([crossing.fix for crossing in every], dtype=np.intp)
    share = np.array([crossing.share for crossing in every])

    def along(covariance: Floats) -> Floats:
        return np.asarray(np.einsum("ia,iajb,jb->ij", direction, covariance, direction))

    if drive.line is None:
        levels = replace(drive.levels, wander_m=WANDER_CAUTION * drive.levels.wander_m)
        return along(drive.with_levels(levels).covariance(fix, share))
    # Laps have told of what is slow; what is fast is each passing's own.
    when = np.array([crossing.time_s for crossing in every])
    after, before = drive.line.covariances(when, direction)
    fast = np.diagonal(along(drive.covariance(fix, share))) - np.diagonal(before)
    own = np.diag(np.maximum(fast, _LEAST_FAST_M2))
    return np.asarray(WANDER_CAUTION**2 * after + own)
