"""How far a receiver wandered, as far as its recordings tell: what all laps share, no lap shows.

The wander is a first-order Gauss-Markov process (`trackkit.motion.gauss_markov`).  Its level has a
prior, by what the receiver says of itself, and a likelihood, by how laps and recordings lie beside
each other and by what velocities leave of the positions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.average import LEAST_SCALE_M, Reading
from trackkit.building.find_laps import FoundLap
from trackkit.building.sparse import SPARSE_S
from trackkit.geometry.curve import Curve
from trackkit.motion.drive import Drive
from trackkit.motion.gauss_markov import covariance, variance_of_best_mean
from trackkit.motion.noise import USUAL
from trackkit.recordings.recording import Recording
from trackkit.words import counted

RADIUS_68 = float(np.sqrt(-2.0 * np.log(0.32)))
"""68 % of positions lie within this many sigmas of one axis (Rayleigh's distribution)."""
ALONG_M = 45.0
"""A driver's own line stays aside for about so long (common practice, no source)."""

_FACTORS = np.exp(np.linspace(-2.1, 2.1, 43))
_TIMES_S = (60.0, 120.0, 240.0)
_TIME_WEIGHTS = (0.25, 0.5, 0.25)
_USUAL_FACTOR, _HDOP_FACTOR, _REPORTED_FACTOR, _READ_FACTOR = 1.5, 1.4, 1.25, 1.2
"""One sigma of what is expected beforehand (common practice, no source)."""
_PRIOR_FREEDOM = 4.0
_OWN_M = np.geomspace(0.1, 12.0, 25)
_OWN_FACTOR = 1.7
_MOST_LAPS, _PLACES = 10, 24
_MOST_TIMES, _SHORTEST_STEP_S = 100, 5.0
_LOOSE = 3.0
_ROUGH_M, _ROUGH_FACTOR = 0.1, 2.0
_ROUGHER = np.geomspace(0.2, 5.0, 13)


@dataclass(frozen=True)
class Wander:
    """The wander of some recordings.

    Parameters
    ----------
    weight
        Probability of each of its time constants, adding up to 1.
    time_s
        The time constants.
    factor
        For each of them, the level over what was expected of each recording.
    expected_m
        Level expected of each recording beforehand, by the identity of its drive.
    own_m
        One sigma of what a single lap has of its own besides, metres.
    basis
        On what it rests, clauses.
    assumed
        Whether nothing but the usual level stands behind it.
    """

    weight: tuple[float, ...]
    time_s: tuple[float, ...]
    factor: tuple[float, ...]
    expected_m: dict[int, float]
    own_m: float
    basis: tuple[str, ...]
    assumed: bool


@dataclass(frozen=True)
class _Expected:
    level_m: float
    factor: float
    basis: str


def wander_of(
    curve: Curve, chainage_m: Floats, laps: Sequence[FoundLap], readings: Sequence[Reading]
) -> Wander:
    """Find the wander of the recordings that laps are of.

    One factor holds for all of them: that on the level which each receiver leads to expect.  Its
    prior is Student's t of its logarithm.  The likelihood is that of the laps' sideways places
    where nobody knows the line itself (restricted likelihood; Patterson & Thompson 1971, from
    memory), what each lap has of its own being unknown too; and in a recording with velocities that
    of what they leave of the positions.  A single lap without velocities tells by how far its end
    lies beside its beginning.

    Parameters
    ----------
    curve, chainage_m
        The line and chainages along it, shape (n,).
    laps, readings
        The laps, read at those chainages.
    """
    drives = {id(lap.path.drive): lap.path.drive for lap in laps}
    expected = {key: _expected(drive) for key, drive in drives.items()}
    level = {key: some.level_m for key, some in expected.items()}
    doubt = np.log(min(some.factor for some in expected.values()))
    distance = (np.log(_FACTORS) / doubt) ** 2
    prior = -0.5 * (_PRIOR_FREEDOM + 1.0) * np.log1p(distance / _PRIOR_FREEDOM)
    score = np.tile(prior, (len(_TIMES_S), 1)) + np.log(_TIME_WEIGHTS)[:, None]
    over = f"over {counted(laps, 'lap')}"
    basis = [f"from {some.basis} {over}" for some in expected.values()]
    own = LEAST_SCALE_M
    if len(laps) > 1:
        by_laps, own = _by_laps(curve, chainage_m, laps, readings, level)
        score += by_laps
        basis.append("and from how they lie beside each other")
    elif not laps[0].path.drive.has_doppler and curve.closed:
        score += _by_seam(laps[0], readings[0].jump_m, level)
    for key, drive in drives.items():
        if is_tied(drive) and not drive.wander_from_recording:
            score += _by_velocities(drive, level[key])
    chance = np.exp(score - score.max())
    weight = chance.sum(axis=1) / chance.sum()
    factor = np.exp(chance @ np.log(_FACTORS) / chance.sum(axis=1))
    usual = {some.basis for some in expected.values()} == {_ASSUMED}
    return Wander(
        weight=tuple(weight.tolist()),
        time_s=_TIMES_S,
        factor=tuple(factor.tolist()),
        expected_m=level,
        own_m=own,
        basis=tuple(dict.fromkeys(basis)),
        assumed=usual and len(laps) == 1,
    )


_ASSUMED = "a receiver's usual wander"


def expected_level_m(drive: Drive) -> float:
    """Say what a receiver leads to expect of its wander, one sigma on one axis, metres."""
    return _expected(drive).level_m


def _expected(drive: Drive) -> _Expected:
    """Say what a receiver leads to expect of its wander, one axis, and how surely."""
    recording = drive.recording
    if recording.accuracy_m is not None:
        sigma = one_axis_m(recording)
        sigma = float(np.sqrt(max(sigma**2 - drive.levels.white_m**2, (0.3 * sigma) ** 2)))
        return _Expected(sigma, _REPORTED_FACTOR, "the accuracy that the receiver reported")
    if drive.wander_from_recording:
        read = "the wander that the recording shows"
        return _Expected(drive.levels.wander_m, _READ_FACTOR, read)
    if recording.hdop is not None:
        usual = float(np.nanmedian(recording.hdop))
        basis = "the dilution of precision that the receiver reported"
        return _Expected(max(usual, 0.3) * USUAL.wander_m, _HDOP_FACTOR, basis)
    return _Expected(USUAL.wander_m, _USUAL_FACTOR, _ASSUMED)


def one_axis_m(recording: Recording) -> float:
    """Turn the accuracies that a recording reports into one sigma on one axis, metres."""
    reported = np.asarray(recording.accuracy_m, dtype=float)
    size = float(np.sqrt(np.nanmean(reported**2)))
    return size if recording.accuracy_of == "axis" else size / RADIUS_68


def _two_parts(varied: Floats, fixed: Floats, value: Floats, scales: Floats) -> Floats:
    """Log likelihood of columns whose covariance is a sum of two, each times a scale.

    Parameters
    ----------
    varied, fixed
        The two covariances, shape (n, n); the second is positive definite.
    value
        Columns with the same covariance and mean 0, shape (n, k).
    scales
        Scales of the second, shape (m,); those of the first are `_FACTORS`, both squared.

    Returns
    -------
    ndarray
        Shape (m, factors).
    """
    from scipy.linalg import eigh

    # Both at once become diagonal (Golub & Van Loan, Matrix Computations, 8.7; from memory).
    size, axes = eigh(varied, fixed)
    turned = ((axes.T @ value) ** 2).sum(axis=1)
    columns = value.shape[1]
    variance = (
        np.maximum(size, 0.0) * (_FACTORS**2)[:, None] + (np.asarray(scales) ** 2)[:, None, None]
    )
    return np.asarray(-0.5 * (columns * np.log(variance) + turned / variance).sum(axis=2))


def _contrasts(count: int) -> Floats:
    """Rows at right angles to each other that leave out the mean of so many values (Helmert)."""
    rows = np.tril(np.ones((count - 1, count)))
    number = np.arange(1, count)
    rows[number - 1, number] = -number
    return np.asarray(rows / np.sqrt(number * (number + 1.0))[:, None])


def _by_laps(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    readings: Sequence[Reading],
    level: dict[int, float],
) -> tuple[Floats, float]:
    """Log likelihood of the laps' sideways places, shape (times, factors), and their own sigma."""
    chosen = np.unique(np.linspace(0, len(laps) - 1, min(len(laps), _MOST_LAPS)).astype(int))
    place = np.unique(np.linspace(0, len(chainage_m), _PLACES + 1).astype(int)[:-1])
    some = [laps[i] for i in chosen.tolist()]
    offset = np.array([readings[i].offset_m[place] for i in chosen.tolist()])
    when = np.array([readings[i].time_s[place] for i in chosen.tolist()])
    left = curve.left(chainage_m[place])
    there = np.isfinite(offset)
    rows, value = [], []
    for column in range(len(place)):
        index = np.flatnonzero(there[:, column])
        if len(index) < 2:
            continue
        part = np.zeros((len(index) - 1, *offset.shape))
        part[:, index, column] = _contrasts(len(index))
        rows.append(part.reshape(len(part), -1))
        value.append(rows[-1] @ np.where(there, offset, 0.0).ravel())
    if not rows:
        return np.zeros((len(_TIMES_S), len(_FACTORS))), LEAST_SCALE_M
    contrast, seen = np.concatenate(rows), np.concatenate(value)[:, None]
    apart = np.asarray(curve.separation(chainage_m[place][:, None], chainage_m[place]))
    alone = np.kron(np.eye(len(some)), np.exp(-apart / ALONG_M))
    own = contrast @ alone @ contrast.T
    drives = [lap.path.drive for lap in some]
    scores = []
    doubt = -0.5 * (np.log(_OWN_M / LEAST_SCALE_M) / np.log(_OWN_FACTOR)) ** 2
    for time in _TIMES_S:
        shared = _shared(curve, chainage_m[place], some, drives, when, left, level, time)
        scores.append(_two_parts(contrast @ shared @ contrast.T, own, seen, _OWN_M))
    score = np.array(scores) + doubt[None, :, None]
    most = score.max()
    chance = np.exp(score - most)
    weight = chance.sum(axis=(0, 2))
    usual = float(np.exp(weight @ np.log(_OWN_M) / weight.sum()))
    return np.log(np.maximum(chance.sum(axis=1), 1e-300)) + most, usual


def _shared(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    drives: Sequence[Drive],
    when_s: Floats,
    left: Floats,
    level: dict[int, float],
    time_constant_s: float,
) -> Floats:
    """Covariance that the wander expected gives sideways places, laps by places, squared."""
    count = len(chainage_m)
    total = np.zeros((when_s.size, when_s.size))
    for key in dict.fromkeys(id(drive) for drive in drives):
        mine = [n for n, drive in enumerate(drives) if id(drive) == key]
        drive = drives[mine[0]]
        index = np.concatenate([np.arange(n * count, (n + 1) * count) for n in mine])
        facing = np.tile(left, (len(mine), 1))
        if is_tied(drive):
            share = float(variance_of_best_mean(drive.recording.duration_s, time_constant_s))
            block = share * (facing @ facing.T)
        elif drive.has_doppler or not curve.closed:
            lag = when_s[mine].ravel()
            block = covariance(lag[:, None] - lag, time_constant_s) * (facing @ facing.T)
        else:
            # What the seam was closed by is part of each place of its lap.
            ends = np.array([(laps[n].start_s, laps[n].end_s) for n in mine])
            time = np.concatenate([when_s[mine].ravel(), *ends.T])
            seams = [seam_shares(curve, chainage_m, laps[n]) for n in mine]
            begun = np.array([curve.left(begin) for begin, _ in seams])
            facing = np.concatenate([facing, begun, begun])
            spread = np.kron(np.eye(len(mine)), np.ones((count, 1)))
            spread = spread * np.concatenate([lean for _, lean in seams])[:, None]
            made = np.hstack([np.eye(len(index)), -spread, spread])
            kernel = covariance(time[:, None] - time, time_constant_s) * (facing @ facing.T)
            block = made @ kernel @ made.T
        total[np.ix_(index, index)] = level[key] ** 2 * block
    return total


def is_tied(drive: Drive) -> bool:
    """Whether velocities, often enough, tie a drive's positions to each other."""
    return drive.has_doppler and drive.recording.interval_s <= SPARSE_S


def seam_shares(curve: Curve, chainage_m: Floats, lap: FoundLap) -> tuple[float, Floats]:
    """Say where a lap begins and which share of the jump at its seam each place was moved by."""
    begin, _ = curve.project(lap.path.position_m[lap.begin], lap.path.direction[lap.begin])
    ahead = np.asarray(curve.along(float(begin), chainage_m)) / curve.length_m
    return float(begin), 0.5 - ahead


def _by_seam(lap: FoundLap, jump_m: float, level: dict[int, float]) -> Floats:
    """Log likelihood of how far the end of one lap lies beside its beginning."""
    lasting = lap.end_s - lap.start_s
    expected = level[id(lap.path.drive)] * _FACTORS
    score = []
    for time in _TIMES_S:
        apart = 1.0 - covariance(lasting, time)
        variance = 2.0 * (expected**2 * apart + LEAST_SCALE_M**2)
        score.append(-0.5 * (np.log(variance) + jump_m**2 / variance))
    return np.array(score)


def _by_velocities(drive: Drive, level_m: float) -> Floats:
    """Log likelihood of what a drive along its velocities leaves of the positions."""
    levels = drive.levels
    # With a wander so large, the positions have no say in the slow part of the drive.
    loose = drive.with_levels(replace(levels, wander_m=_LOOSE * max(level_m, levels.wander_m)))
    duration = drive.recording.duration_s
    count = int(min(_MOST_TIMES, duration / _SHORTEST_STEP_S))
    if count < 4:
        return np.zeros((len(_TIMES_S), len(_FACTORS)))
    nearest = np.searchsorted(drive.time_s, np.linspace(0.0, duration, count))
    index = np.unique(np.minimum(nearest, len(drive.time_s) - 1))
    time = drive.time_s[index]
    contrast = _contrasts(len(time))
    rest = contrast @ loose.wander_m[index]
    # The drive along noisy velocities is itself a random walk.
    walk = drive.recording.interval_s * levels.doppler_mps**2
    walk += 2.0 * levels.slow_doppler_time_s * levels.slow_doppler_mps**2
    # Neither that nor the white noise left after smoothing is known well.
    fixed = walk * np.minimum.outer(time, time) + _ROUGH_M**2 * np.eye(len(time))
    fixed = contrast @ fixed @ contrast.T
    doubt = -0.5 * (np.log(_ROUGHER) / np.log(_ROUGH_FACTOR)) ** 2
    scores = []
    for constant in _TIMES_S:
        slow = level_m**2 * (contrast @ covariance(time[:, None] - time, constant) @ contrast.T)
        scores.append(_two_parts(slow, fixed, rest, _ROUGHER))
    score = np.array(scores) + doubt[None, :, None]
    most = score.max()
    return np.asarray(np.log(np.maximum(np.exp(score - most).sum(axis=1), 1e-300)) + most)
