"""Gate crossings on a smoothed drive, and how well the time between two of them is known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.geometry.vectors import gate_axes
from trackkit.motion.drive import Drive
from trackkit.motion.fix_covariance import FixCovariance
from trackkit.track.features import Gate

LONGEST_GAP_S = 10.0
"""No crossing is read out of a gap between fixes longer than this."""
AWAY_M = 30.0
"""A gate counts again only when the vehicle has been this far from it since."""
AGAIN_M = 200.0
"""After coming back over a gate, so far has to be driven before it counts again."""
_STILL_MPS = 0.5


@dataclass(frozen=True)
class Crossing:
    """A gate crossed from behind to in front.

    Parameters
    ----------
    gate
        Its id.
    time_s
        Seconds from the first fix.
    speed_mps
        Speed over ground.
    fix, share
        The fix before it, and the share of the time to the next fix that had gone by.
    delay
        By how much later the crossing is for each metre the vehicle is further back, as a vector
        east and north, s/m: the gate's normal over the speed along it.
    speed_sigma_mps
        Uncertainty of the speed, one sigma, m/s; of speed gates alone, None elsewhere.
    """

    gate: str
    time_s: float
    speed_mps: float
    fix: int = 0
    share: float = 0.0
    delay: tuple[float, float] = (0.0, 0.0)
    speed_sigma_mps: float | None = None

    def __hash__(self) -> int:
        # All fields take four times as long, and crossings are looked up by the thousand.
        return hash((self.gate, self.time_s))


def cross(
    gate: Gate, drive: Drive, *, again_m: float = AGAIN_M, antenna_ahead_m: float = 0.0
) -> list[Crossing]:
    """Find the crossings of one gate.

    Between two fixes the vehicle moves as is most probable (`Drive.between`).  Crossing counts
    only from behind to in front and between the ends; after it, the gate counts again when the
    vehicle has been `AWAY_M` away, so that a receiver jittering on the line, or a spin across it,
    counts once.  A vehicle that comes back over the gate, rolling or turned round, has to drive
    `again_m` from there before it counts again.  With the antenna `antenna_ahead_m` ahead of what
    crosses the line, the gate is met where the antenna then is.
    """
    if len(drive.time_s) < 2:
        return []
    # On the drive's own plane: moving the finish gate shifts the track's plane slightly.
    left, right = drive.plane.to_plane([gate.left[0], gate.right[0]], [gate.left[1], gate.right[1]])
    across, forward, width = gate_axes(left, right)
    # When the nose is on the line, the antenna is this far beyond it.
    left, right = left + antenna_ahead_m * forward, right + antenna_ahead_m * forward
    ahead = (drive.position_m - left) @ forward
    candidate = np.flatnonzero(
        (ahead[:-1] < 0)
        & (ahead[1:] >= 0)
        & (np.diff(drive.piece) == 0)
        & (np.diff(drive.time_s) <= LONGEST_GAP_S)
    )
    middle = 0.5 * (left + right)
    candidate = candidate[_near(drive.position_m, candidate, middle, width)]
    if len(candidate) == 0:
        return []
    share = drive.shares_at_line(candidate, left, forward)
    position, velocity = drive.between(candidate, share)
    along = (position - left) @ across
    good = (along >= 0.0) & (along <= width) & (velocity @ forward > 0)
    from_middle = drive.position_m - middle
    squared = np.einsum("ij,ij->i", from_middle, from_middle)
    away = squared > (AWAY_M + 0.5 * width) ** 2
    back = _back(drive, ahead, left, across, width)
    driven = _driven(drive) if len(back) else None
    crossings: list[Crossing] = []
    for fix, part, speed in zip(candidate[good], share[good], velocity[good], strict=True):
        if crossings and not away[crossings[-1].fix : fix + 1].any():
            continue
        came_back = int(np.searchsorted(back, fix)) - 1
        since_m = np.inf if driven is None else driven[fix] - driven[back[came_back]]
        if came_back >= 0 and since_m < again_m:
            continue
        start, end = drive.time_s[fix], drive.time_s[fix + 1]
        delay = forward / float(speed @ forward)
        crossings.append(
            Crossing(
                gate.id,
                float(start + part * (end - start)),
                float(np.hypot(speed[0], speed[1])),
                int(fix),
                float(part),
                (float(delay[0]), float(delay[1])),
            )
        )
    return crossings


def _back(drive: Drive, ahead: Floats, left: Floats, across: Floats, width_m: float) -> Indices:
    """Find the fixes after which the gate is crossed from in front to behind, between its ends."""
    before = np.flatnonzero((ahead[:-1] >= 0) & (ahead[1:] < 0) & (np.diff(drive.piece) == 0))
    share = ahead[before] / (ahead[before] - ahead[before + 1])
    step = drive.position_m[before + 1] - drive.position_m[before]
    along = (drive.position_m[before] + share[:, None] * step - left) @ across
    return before[(along >= 0.0) & (along <= width_m)]


def _driven(drive: Drive) -> Floats:
    """Distance driven since the first fix, metres; what a standing receiver jitters is none."""
    speed = np.where(drive.speed_mps < _STILL_MPS, 0.0, drive.speed_mps)
    step = 0.5 * (speed[1:] + speed[:-1]) * np.diff(drive.time_s)
    return np.concatenate([[0.0], np.cumsum(step)])


def _near(position_m: Floats, candidate: Indices, middle: Floats, width_m: float) -> Flags:
    """Keep the changes of side that can be at the gate rather than on the line it lies on."""
    step = np.linalg.norm(position_m[candidate + 1] - position_m[candidate], axis=1)
    away = np.linalg.norm(position_m[candidate] - middle, axis=1)
    return np.asarray(away <= width_m + 2.0 * step + 5.0)


@dataclass(frozen=True, eq=False)
class CrossingCovariance:
    """How the times of some crossings of one drive are off together, each with each other.

    Many sums over few crossings are known at once by it.

    Parameters
    ----------
    place
        The row of each crossing.
    parts
        Covariances of the times, s^2, shape (n, n): of fast errors and of slow ones, or of both as
        a whole; see `trackkit.motion.fix_covariance.FixCovariance.covariances`.
    """

    place: Mapping[Crossing, int]
    parts: tuple[Floats, ...]

    @classmethod
    def of(cls, drive: Drive, crossings: Sequence[Crossing]) -> CrossingCovariance:
        """Work out how some crossings are off together, in memory that grows as their square."""
        if not crossings:
            return cls({}, ())
        kept = drive.fix_covariance([crossing.fix for crossing in crossings])
        parts = kept.covariances(
            np.array([crossing.fix for crossing in crossings]),
            np.array([crossing.share for crossing in crossings]),
            np.array([crossing.delay for crossing in crossings]),
        )
        return cls({crossing: row for row, crossing in enumerate(crossings)}, parts)

    def sigmas(self, sums: Sequence[Sequence[tuple[Crossing, float]]]) -> Floats:
        """One sigma of each of several weighted sums of times, seconds, shape (sums,)."""
        most = max((len(terms) for terms in sums), default=0)
        # Shorter sums are filled up with terms of no weight.
        index = np.zeros((len(sums), most), dtype=np.intp)
        weight = np.zeros((len(sums), most))
        for row, terms in enumerate(sums):
            for column, (crossing, own) in enumerate(terms):
                index[row, column], weight[row, column] = self.place[crossing], own
        variance = np.zeros(len(sums))
        for part in self.parts:
            together = part[index[:, :, None], index[:, None, :]]
            variance += np.maximum(np.einsum("ji,jik,jk->j", weight, together, weight), 0.0)
        return np.sqrt(variance)


Known = Drive | FixCovariance | CrossingCovariance
"""What tells how well times of crossings are known: their drive, or what is kept of it for them."""


def interval_sigma(drive: Known, first: Crossing, second: Crossing) -> float:
    """One sigma of the time between two crossings, seconds; see `sum_sigma`."""
    return sum_sigma(drive, [(first, -1.0), (second, 1.0)])


def with_speed_sigmas(drive: Drive, crossings: Sequence[Crossing]) -> list[Crossing]:
    """Say how well speeds at crossings are known, one sigma, m/s.

    A speed is off by the error of the velocity along itself, and by what the vehicle gains while
    the crossing is late, carried over linearly (JCGM 100, "GUM", section 5.2; from memory).

    Parameters
    ----------
    drive
        That the crossings are of.
    crossings
        In order of time.
    """
    if not crossings:
        return []
    time = np.array([crossing.time_s for crossing in crossings])
    _, _, motion = drive.motion_at(time)
    known = drive.stretch_covariances([(crossing.fix, crossing.fix + 1) for crossing in crossings])
    measured = []
    for crossing, (_, velocity, acceleration), covariance in zip(
        crossings, motion, known, strict=True
    ):
        onward = velocity / max(float(np.hypot(*velocity)), _STILL_MPS)
        late = -float(acceleration @ onward) * np.asarray(crossing.delay)
        weight = np.array([late, onward, np.zeros(2)]).T.ravel()
        own = covariance.motion(np.array([crossing.fix]), np.array([crossing.share]))[0]
        sigma = float(np.sqrt(weight @ own @ weight))
        measured.append(replace(crossing, speed_sigma_mps=sigma))
    return measured


def sum_sigma(drive: Known, terms: Iterable[tuple[Crossing, float]]) -> float:
    """One sigma of a weighted sum of times of crossings, seconds.

    A crossing is late by the error of the position along the gate's normal over the speed along
    it.  The errors of several crossings belong to one drive and are correlated, the more the
    closer they are in time; the variance of their sum is taken as a whole (JCGM 100, "GUM",
    section 5.2; from memory).  A wander that stays the same cancels between two passings of one
    gate, but not between two gates that are passed in other directions or at other speeds.

    Parameters
    ----------
    drive
        That the crossings are of, or what is kept of it for them.
    terms
        Crossings and their weights, such as -1 and 1 for the time from one to another.
    """
    if isinstance(drive, CrossingCovariance):
        return float(drive.sigmas([list(terms)])[0])
    weights: dict[Crossing, float] = {}
    for crossing, weight in terms:
        weights[crossing] = weights.get(crossing, 0.0) + weight
    kept = [(crossing, weight) for crossing, weight in weights.items() if weight]
    if not kept:
        return 0.0
    return float(
        np.sqrt(
            drive.variance(
                np.array([crossing.fix for crossing, _ in kept]),
                np.array([crossing.share for crossing, _ in kept]),
                np.array([[weight * d for d in crossing.delay] for crossing, weight in kept]),
            )
        )
    )


def sum_sigmas(drive: Known, sums: Sequence[Sequence[tuple[Crossing, float]]]) -> list[float]:
    """One sigma of each of several weighted sums of times of crossings, seconds.

    Parameters
    ----------
    drive
        That the crossings are of, or what is kept of it for them.
    sums
        As for `sum_sigma`, worked out together.
    """
    if isinstance(drive, CrossingCovariance):
        return [float(sigma) for sigma in drive.sigmas(sums)]
    most = max((len(terms) for terms in sums), default=0)
    if not most:
        return [0.0] * len(sums)
    # Shorter sums are filled up with terms of no weight.
    index = np.full((len(sums), most), next(terms[0][0].fix for terms in sums if terms))
    share, slope = np.zeros((len(sums), most)), np.zeros((len(sums), most, 2))
    for row, terms in enumerate(sums):
        for place, (crossing, weight) in enumerate(terms):
            index[row, place], share[row, place] = crossing.fix, crossing.share
            slope[row, place] = weight * np.asarray(crossing.delay)
    return [float(sigma) for sigma in np.sqrt(drive.variances(index, share, slope))]
