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
from trackkit.building.average import LAP_SIGMA_M, LEAST_SCALE_M, Reading
from trackkit.building.find_laps import FoundLap
from trackkit.motion.drive import Drive
from trackkit.motion.gauss_markov import covariance, covariance_of_means, variance_of_best_mean
from trackkit.motion.noise import USUAL
from trackkit.recordings.recording import Recording

RADIUS_68 = float(np.sqrt(-2.0 * np.log(0.32)))
"""68 % of positions lie within this many sigmas of one axis (Rayleigh's distribution)."""
ALONG_M = 45.0
"""A driver's own line stays aside for about so long (common practice, no source)."""

_FACTORS = np.exp(np.linspace(-2.1, 2.1, 29))
_TIMES_S = (60.0, 120.0, 240.0)
_TIME_WEIGHTS = (0.25, 0.5, 0.25)
_USUAL_DOUBT, _HDOP_DOUBT, _REPORTED_DOUBT, _READ_DOUBT = np.log([1.5, 1.4, 1.25, 1.2])
_PRIOR_FREEDOM = 4.0
_MOST_BLOCKS = 100
_SHORTEST_BLOCK_S = 5.0
_LOOSE = 5.0
_LEAST_TURN = 0.1
_MOST_LAPS = 60


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
    basis
        On what it rests, clauses.
    assumed
        Whether nothing but the usual level stands behind it.
    """

    weight: tuple[float, ...]
    time_s: tuple[float, ...]
    factor: tuple[float, ...]
    expected_m: dict[int, float]
    basis: tuple[str, ...]
    assumed: bool


@dataclass(frozen=True)
class _Expected:
    level_m: float
    doubt: float
    basis: str


def wander_of(laps: Sequence[FoundLap], readings: Sequence[Reading], left: Floats) -> Wander:
    """Find the wander of the recordings that laps are of.

    One factor holds for all of them: that on the level which each receiver leads to expect.  Its
    prior is Student's t of its logarithm, the likelihood that of the laps' shifts with their common
    mean unknown (restricted likelihood; Patterson & Thompson 1971, from memory), and in a recording
    with velocities that of what they leave of the positions.  A single lap without velocities tells
    by how far its end lies beside its beginning.

    Parameters
    ----------
    laps, readings
        Which laps, and how they lie along the line.
    left
        Unit vectors to the left of the line at the places of the readings, shape (n, 2).
    """
    drives = {id(lap.path.drive): lap.path.drive for lap in laps}
    expected = {key: _expected(drive) for key, drive in drives.items()}
    level = {key: some.level_m for key, some in expected.items()}
    doubt = min(some.doubt for some in expected.values())
    distance = (np.log(_FACTORS) / doubt) ** 2
    prior = -0.5 * (_PRIOR_FREEDOM + 1.0) * np.log1p(distance / _PRIOR_FREEDOM)
    score = np.tile(prior, (len(_TIMES_S), 1)) + np.log(_TIME_WEIGHTS)[:, None]
    basis = [some.basis for some in expected.values()]
    told = False
    if len(laps) > 1:
        some = _spread_over(laps)
        shift = np.array([_shift(left, readings[i].offset_m) for i in some])
        score += _by_shifts([laps[i] for i in some], shift, level, left)
        basis.append(f"how {len(laps)} laps lie beside each other")
    elif not laps[0].path.drive.has_doppler:
        score += _by_seam(laps[0], readings[0].jump_m, level)
    for key, drive in drives.items():
        if drive.has_doppler and not drive.wander_from_recording:
            score += _by_velocities(drive, level[key])
            told = True
    if told:
        basis.append("what its velocities leave of its positions")
    chance = np.exp(score - score.max())
    weight = chance.sum(axis=1) / chance.sum()
    factor = np.exp(chance @ np.log(_FACTORS) / chance.sum(axis=1))
    usual = {some.basis for some in expected.values()} == {_ASSUMED}
    return Wander(
        weight=tuple(weight.tolist()),
        time_s=_TIMES_S,
        factor=tuple(factor.tolist()),
        expected_m=level,
        basis=tuple(dict.fromkeys(basis)),
        assumed=usual and len(laps) == 1,
    )


_ASSUMED = "a receiver's usual wander, which is assumed"


def _expected(drive: Drive) -> _Expected:
    """Say what a receiver leads to expect of its wander, one axis, and how surely."""
    recording = drive.recording
    if recording.accuracy_m is not None:
        sigma = one_axis_m(recording)
        sigma = float(np.sqrt(max(sigma**2 - drive.levels.white_m**2, (0.3 * sigma) ** 2)))
        return _Expected(sigma, float(_REPORTED_DOUBT), "the accuracy that the receiver reported")
    if drive.wander_from_recording:
        read = "the wander that the recording shows"
        return _Expected(drive.levels.wander_m, float(_READ_DOUBT), read)
    if recording.hdop is not None:
        usual = float(np.nanmedian(recording.hdop))
        basis = "the dilution of precision that the receiver reported"
        return _Expected(max(usual, 0.3) * USUAL.wander_m, float(_HDOP_DOUBT), basis)
    return _Expected(USUAL.wander_m, float(_USUAL_DOUBT), _ASSUMED)


def one_axis_m(recording: Recording) -> float:
    """Turn the accuracies that a recording reports into one sigma on one axis, metres."""
    reported = np.asarray(recording.accuracy_m, dtype=float)
    size = float(np.sqrt(np.nanmean(reported**2)))
    return size if recording.accuracy_of == "axis" else size / RADIUS_68


def _spread_over(laps: Sequence[FoundLap]) -> list[int]:
    """Of very many laps choose some: this takes the cube of their number."""
    count = min(len(laps), _MOST_LAPS)
    return np.unique(np.linspace(0, len(laps) - 1, count).astype(int)).tolist()


def _shift(left: Floats, offset: Floats) -> Floats:
    good = np.isfinite(offset)
    return np.asarray(np.linalg.lstsq(left[good], offset[good], rcond=1e-2)[0])


def _by_shifts(
    laps: Sequence[FoundLap], shift_m: Floats, level: dict[int, float], left: Floats
) -> Floats:
    """Log likelihood of the laps' shifts, shape (times, factors)."""
    turning, axes = np.linalg.eigh(left.T @ left / len(left))
    value = shift_m @ axes[:, turning > _LEAST_TURN]
    owner = np.array([id(lap.path.drive) for lap in laps])
    own = LAP_SIGMA_M**2 + LEAST_SCALE_M**2 * 2.0 * ALONG_M / max(laps[0].length_m, ALONG_M)
    score = np.zeros((len(_TIMES_S), len(_FACTORS)))
    for row, time in enumerate(_TIMES_S):
        shared = np.zeros((len(laps), len(laps)))
        for key in dict.fromkeys(owner.tolist()):
            mine = np.flatnonzero(owner == key)
            drive = laps[int(mine[0])].path.drive
            if drive.has_doppler:
                share = variance_of_best_mean(drive.recording.duration_s, time)
            else:
                span = [(laps[i].start_s, laps[i].end_s) for i in mine.tolist()]
                share = covariance_of_means(span, time)
            shared[np.ix_(mine, mine)] = level[key] ** 2 * share
        for column, factor in enumerate(_FACTORS.tolist()):
            score[row, column] = _likelihood(factor**2 * shared + own * np.eye(len(laps)), value)
    return score


def _likelihood(covariance_m2: Floats, value_m: Floats) -> float:
    """Restricted log likelihood of columns that vary about a mean nobody knows."""
    factor = np.linalg.cholesky(covariance_m2)
    one = np.linalg.solve(factor, np.ones(len(value_m)))
    white = np.linalg.solve(factor, value_m)
    information = float(one @ one)
    rest = white - one[:, None] * (one @ white) / information
    log_size = 2.0 * float(np.log(np.diag(factor)).sum()) + np.log(information)
    return -0.5 * (value_m.shape[1] * log_size + float((rest**2).sum()))


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
    lasting = max(_SHORTEST_BLOCK_S, duration / _MOST_BLOCKS)
    number = np.floor(drive.time_s / lasting).astype(int)
    _, block, count = np.unique(number, return_inverse=True, return_counts=True)
    time = np.bincount(block, drive.time_s) / count
    rest = np.stack([np.bincount(block, loose.wander_m[:, a]) / count for a in (0, 1)], axis=1)
    if len(time) < 4:
        return np.zeros((len(_TIMES_S), len(_FACTORS)))
    # The drive along noisy velocities is itself a random walk.
    walk = drive.recording.interval_s * levels.doppler_mps**2
    walk += 2.0 * levels.slow_doppler_time_s * levels.slow_doppler_mps**2
    fixed = walk * np.minimum.outer(time, time)
    fixed += np.diag(levels.white_m**2 / count + 1e-4)
    lag = time[:, None] - time
    score = np.zeros((len(_TIMES_S), len(_FACTORS)))
    for row, constant in enumerate(_TIMES_S):
        shape = covariance(lag, constant)
        for column, factor in enumerate(_FACTORS.tolist()):
            score[row, column] = _likelihood((factor * level_m) ** 2 * shape + fixed, rest)
    return score
