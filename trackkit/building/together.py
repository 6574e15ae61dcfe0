"""All laps laid along one line: what each fix tells where the others have none, and whose wander."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.building.average import Average
from trackkit.building.find_laps import FoundLap
from trackkit.building.path import STANDING_MPS
from trackkit.building.sparse import SPARSE_S
from trackkit.building.wander import Wander
from trackkit.geometry.curve import Curve
from trackkit.motion.drive import Drive
from trackkit.motion.line_levels import likeliest
from trackkit.motion.line_model import Knots, LineLevels, Sideways
from trackkit.motion.noise_levels import highest
from trackkit.motion.position_error import walked_m2ps
from trackkit.motion.repeated_line import Eliminated

_FEWEST_LAPS = 2
_KNOT_M, _FEWEST_KNOTS, _MOST_KNOTS = 5.0, 40, 280
_NODE_M = 10.0
_MOST_NODES = 4_000
"""Of more laps than make so many nodes some fixes are passed over."""
_TRUSTED = 1e-3
_FAST_M = 0.05
"""What a smoothed position errs by from fix to fix at least, one sigma (common practice)."""
_SHIFT_M = 5.0
"""How far the first guess may be shifted, one sigma on each axis: as good as free."""
_BESIDE_M = 0.3
"""What the first guess is beside the line at first, one sigma, before the laps say how much."""
_OVER_M = 20.0
_BESIDE = (0.02, 20.0)
_OVER = (6.0, 100.0)
_STEP = 1.6
_SWEEPS = 2


@dataclass(frozen=True, eq=False)
class Together:
    """What all laps together say of a first guess of their line, and of their drives.

    Parameters
    ----------
    offset_m
        The line to the left of the guess, shape (n,).
    time_s, error_m
        By the identity of each drive: moments, rising, shape (m,), and how far the drive is off
        then, east and north, shape (m, 2).
    """

    offset_m: Floats
    time_s: dict[int, Floats]
    error_m: dict[int, Floats]

    def error_at(self, drive: Drive, time_s: Floats) -> Floats:
        """How far a drive is off at some times, east and north, shape (k, 2).

        Parameters
        ----------
        drive
            Any of them.
        time_s
            Shape (k,).
        """
        node, error = self.time_s[id(drive)], self.error_m[id(drive)]
        return np.stack([np.interp(time_s, node, axis) for axis in error.T], axis=1)


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
        None for one lap, where fixes are sparse, and where speeds came without courses.
    """
    drives = {id(lap.path.drive): lap.path.drive for lap in laps}
    if len(laps) < _FEWEST_LAPS or not all(_suits(drive) for drive in drives.values()):
        return None
    sides = {
        key: _sideways(curve, chainage_m, laps, average, drive) for key, drive in drives.items()
    }
    sides = {key: side for key, side in sides.items() if side is not None}
    if len(sides) < len(drives):
        return None
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
    error = {
        key: part.given(coefficient)[:, :2] for key, part in zip(sides, parts, strict=True)
    }
    return Together(
        np.asarray(offset), {key: side.time_s for key, side in sides.items()}, error
    )


def _suits(drive: Drive) -> bool:
    return not drive.has_speed_alone and drive.recording.interval_s <= SPARSE_S


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

    def score(candidate: LineLevels) -> float:
        return whole.line(whole.knots.covariance(candidate))[2]

    for _ in range(_SWEEPS):
        for name, bounds in (("repeated_m", _BESIDE), ("repeated_over_m", _OVER)):
            value = highest(
                lambda level, name=name: score(replace(levels, **{name: level})),
                getattr(levels, name),
                _STEP,
                bounds,
            )
            levels = replace(levels, **{name: value})
    return levels


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
    """Lay the laps of one drive beside a curve, at fixes."""
    mine = [n for n, lap in enumerate(laps) if lap.path.drive is drive]
    mine.sort(key=lambda n: laps[n].start_s)
    path = laps[mine[0]].path
    moving = (drive.speed_mps >= STANDING_MPS) & (drive.trust > _TRUSTED)
    total = sum(laps[n].length_m for n in mine)
    spacing = max(_NODE_M, total / _MOST_NODES)
    chosen, counts, fixes = [], [], []
    after = -np.inf
    for n in mine:
        lap = laps[n]
        inside = moving & (drive.time_s >= max(lap.start_s, after)) & (drive.time_s < lap.end_s)
        after = lap.end_s
        index = np.flatnonzero(inside)
        if not len(index):
            continue
        way = np.interp(drive.time_s[index], path.time_s, np.arange(len(path.time_s)))
        step = np.floor(way * path.step_m / spacing)
        first = np.flatnonzero(np.diff(step, prepend=-1.0) > 0)
        fixes.append(np.diff(np.append(first, len(index))))
        chosen.append(index[first])
        counts.append(_counts(average.weight[n] > 0.5, lap, curve, chainage_m, index[first]))
    if not chosen:
        return None
    index = np.concatenate(chosen)
    speed = np.maximum(drive.speed_mps[index], 1e-6)
    where, offset = curve.project(drive.position_m[index], drive.velocity_mps[index] / speed[:, None])
    white = drive.levels.white_m / np.sqrt(np.concatenate(fixes))
    way = path.step_m * np.interp(drive.time_s[index], path.time_s, np.arange(len(path.time_s)))
    return Sideways(
        drive.time_s[index],
        way,
        where,
        offset,
        curve.left(where),
        np.where(np.concatenate(counts), np.hypot(white, _FAST_M), np.inf),
        white,
    )


def _counts(
    counts: Flags, lap: FoundLap, curve: Curve, chainage_m: Floats, index: np.ndarray
) -> Flags:
    """Read at fixes where a lap counts."""
    drive = lap.path.drive
    speed = np.maximum(drive.speed_mps[index], 1e-6)
    where, _ = curve.project(drive.position_m[index], drive.velocity_mps[index] / speed[:, None])
    nearest = np.clip(np.searchsorted(chainage_m, where), 0, len(chainage_m) - 1)
    return np.asarray(counts[nearest])
