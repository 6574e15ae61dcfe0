"""All laps laid along one line: each tells of places where the others have no fix."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.average import Average, Beside
from trackkit.building.find_laps import FoundLap
from trackkit.building.path import STANDING_MPS
from trackkit.building.sparse import SPARSE_S
from trackkit.building.wander import Wander
from trackkit.geometry.curve import Curve
from trackkit.motion.beside_track import FAST_M
from trackkit.motion.drive import Drive
from trackkit.motion.line_levels import likeliest
from trackkit.motion.line_model import Knots, LineLevels, Sideways
from trackkit.motion.noise_levels import highest
from trackkit.motion.position_error import walked_m2ps
from trackkit.motion.repeated_line import Eliminated

_FEWEST_LAPS, _FEWEST_NODES = 2, 12
_KNOT_M, _FEWEST_KNOTS, _MOST_KNOTS = 5.0, 40, 280
_NODE_M = 10.0
_MOST_NODES = 4_000
"""Of more laps than make so many nodes some fixes are passed over."""
_TRUSTED = 1e-3
_CLOSE_S = 0.4
_SHIFT_M = 5.0
"""How far the first guess may be shifted, one sigma on each axis: as good as free."""
_BESIDE_M = 0.3
"""What the first guess is beside the line at first, one sigma, before the laps say how much."""
_OVER_M = 20.0
_BESIDE = (0.02, 20.0)
_OVER = (6.0, 100.0)
_STEP = 1.6
_SWEEPS = 2
_COUNTS = 0.5


@dataclass(frozen=True, eq=False)
class Together:
    """What all laps together say of a first guess of their line, and of their drives.

    Parameters
    ----------
    offset_m
        The line to the left of the guess, shape (n,).
    beside
        How far each drive is off, and its laps from the line, by the drive's identity.
    """

    offset_m: Floats
    beside: dict[int, Beside]


def laid_together(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    average: Average,
    wander: Wander,
) -> Together | None:
    """Find the line of all laps, and how far each drive is off, together.

    The model is that of `trackkit.motion.repeated_line`: at each fix a drive lies beside a first
    guess by the line that is repeated, by what this lap deviates from it, and by the drive's own
    slow error.  Recordings share nothing but the line: what they say of it adds up.  Of the line
    no more is assumed than that it is as smooth, beside the guess, as is likeliest.

    Parameters
    ----------
    curve, chainage_m
        The guess and even chainages along it, shape (n,).
    laps
        The laps.
    average
        Of them, on that guess: where a lap counts for nothing, it says nothing here.
    wander
        Of their recordings.

    Returns
    -------
    Together or None
        None for one lap, where fixes are sparse, where speeds came without courses, and where
        velocities come so often that each drive tells its shape by itself.
    """
    drives = {id(lap.path.drive): lap.path.drive for lap in laps}
    if len(laps) < _FEWEST_LAPS or not all(_suits(drive) for drive in drives.values()):
        return None
    if all(_tells_by_itself(drive) for drive in drives.values()):
        return None
    sides: dict[int, Sideways] = {}
    for key, drive in drives.items():
        side = _sideways(curve, chainage_m, laps, average, drive)
        if side is None:
            return None
        sides[key] = side
    knots = _knots(curve)
    usual = {key: _levels(drives[key], wander) for key in sides}
    longest = max(sides, key=lambda key: len(sides[key].time_s))
    read = likeliest(sides[longest], usual[longest], curve.length_m, closed=curve.closed)
    own = {"deviation_m": read.deviation_m, "deviation_over_m": read.deviation_over_m}
    parts = [Eliminated.of(sides[key], replace(usual[key], **own), knots) for key in sides]
    whole = replace(
        parts[0],
        information=np.sum([part.information for part in parts], axis=0),
        pull=np.sum([part.pull for part in parts], axis=0),
    )
    levels = _likeliest_line(whole, replace(usual[longest], **own))
    coefficient, _, _ = whole.line(knots.covariance(levels))
    offset = knots.basis(chainage_m, curve.left(chainage_m)) @ coefficient
    state = [part.given(coefficient) for part in parts]
    drifts = {}
    for (key, side), given in zip(sides.items(), state, strict=True):
        error = given[:, :2]
        # A lap that has left the line is where its fixes are.
        aside = side.offset_m - knots.basis(side.chainage_m, side.left) @ coefficient
        aside -= np.einsum("ij,ij->i", side.left, error)
        aside = np.where(np.isfinite(side.sigma_m), given[:, -2], aside)
        drifts[key] = Beside(side.time_s, error, aside)
    return Together(np.asarray(offset), drifts)


def _suits(drive: Drive) -> bool:
    return not drive.has_speed_alone and drive.recording.interval_s <= SPARSE_S


def _tells_by_itself(drive: Drive) -> bool:
    """Whether velocities tell the shape of a drive better than other laps could."""
    return drive.has_doppler and drive.recording.interval_s <= _CLOSE_S


def _levels(drive: Drive, wander: Wander) -> LineLevels:
    """Levels of a drive's error, and usual ones of the line."""
    weight = np.array(wander.weight)
    factor = float(np.exp(weight @ np.log(wander.factor)))
    constant = float(np.exp(weight @ np.log(wander.time_s)))
    walk = walked_m2ps(drive.levels, drive.recording.interval_s) if drive.has_doppler else None
    return LineLevels(
        factor * wander.expected_m[id(drive)],
        constant,
        walk,
        repeated_m=_BESIDE_M,
        repeated_over_m=_OVER_M,
        shift_m=_SHIFT_M,
    )


def _likeliest_line(whole: Eliminated, levels: LineLevels) -> LineLevels:
    """Find how far beside the guess the line is, and how smooth, by likelihood."""

    def score(beside_m: float, over_m: float) -> float:
        candidate = replace(levels, repeated_m=beside_m, repeated_over_m=over_m)
        return whole.line(whole.knots.covariance(candidate))[2]

    beside, over = levels.repeated_m, levels.repeated_over_m
    for _ in range(_SWEEPS):
        beside = highest(partial(score, over_m=over), beside, _STEP, _BESIDE)
        over = highest(partial(score, beside), over, _STEP, _OVER)
    return replace(levels, repeated_m=beside, repeated_over_m=over)


def _knots(curve: Curve) -> Knots:
    count = int(np.clip(curve.length_m / _KNOT_M, _FEWEST_KNOTS, _MOST_KNOTS))
    chainage = np.linspace(0.0, curve.length_m, count, endpoint=not curve.closed)
    return Knots(chainage, curve.left(chainage), curve.length_m, curve.closed)


def _sideways(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    average: Average,
    drive: Drive,
) -> Sideways | None:
    """Lay the laps of one drive beside a curve, at nodes of one fix or the mean of several.

    Without velocities smoothing draws a drive towards the inside of bends where fixes are few; the
    fixes themselves do not lie there.
    """
    mine = sorted((n for n, lap in enumerate(laps) if lap.path.drive is drive), key=_begins(laps))
    path = laps[mine[0]].path
    spacing = max(_NODE_M, sum(laps[n].length_m for n in mine) / _MOST_NODES)
    way = path.step_m * np.interp(drive.time_s, path.time_s, np.arange(len(path.time_s)))
    usable = (drive.speed_mps >= STANDING_MPS) & (drive.trust > _TRUSTED)
    number = np.full(len(way), -1)
    for n in reversed(mine):
        number[(drive.time_s >= laps[n].start_s) & (drive.time_s < laps[n].end_s)] = n
    index = np.flatnonzero(usable & (number >= 0))
    if len(index) < _FEWEST_NODES:
        return None
    heading = drive.velocity_mps[index] / drive.speed_mps[index, None]
    place = (drive.position_m if drive.has_doppler else drive.measured_m)[index]
    where, offset = curve.project(place, heading)
    nearest = np.clip(np.searchsorted(chainage_m, where), 0, len(chainage_m) - 1)
    counts = average.weight[number[index], nearest] > _COUNTS
    node = np.cumsum(
        np.diff(np.floor(way[index] / spacing), prepend=0.0).astype(bool)
        | np.diff(number[index], prepend=-1).astype(bool)
    )
    node -= node[0]
    fixes = np.bincount(node)
    if len(fixes) < _FEWEST_NODES:
        return None

    def mean(value: Floats) -> Floats:
        return np.asarray(np.bincount(node, value) / fixes)

    # From the middle fix, so that a mean never is of both ends of a closed line.
    middle = np.cumsum(fixes) - (fixes + 1) // 2
    if drive.has_doppler:
        # Smoothing has averaged the fixes around each.
        time, at, beside, gone = (
            v[middle] for v in (drive.time_s[index], where, offset, way[index])
        )
    else:
        ahead = np.asarray(curve.along(where[middle][node], where))
        half = 0.5 * curve.length_m
        at = curve.wrap(where[middle] + mean(np.where(ahead > half, ahead - curve.length_m, ahead)))
        time, beside, gone = mean(drive.time_s[index]), mean(offset), mean(way[index])
    white = drive.levels.white_m / np.sqrt(fixes)
    sigma = np.where(mean(counts) > 1.0 - 1e-9, np.hypot(white, FAST_M), np.inf)
    return Sideways(time, gone, np.asarray(at), beside, curve.left(at), sigma, white)


def _begins(laps: Sequence[FoundLap]) -> Callable[[int], float]:
    return lambda n: laps[n].start_s
