"""Laps averaged: the shift of each, where one strays, and the line through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats, Indices, robust_spread
from trackkit.building.find_laps import FoundLap
from trackkit.geometry.curve import Curve
from trackkit.geometry.runs import runs_of
from trackkit.geometry.smoothing import moving_mean
from trackkit.motion.gauss_markov import covariance_of_means, variance_of_best_mean
from trackkit.motion.noise import USUAL

STRAY_SIGMAS = 4.0
"""A lap's place counts for nothing where it is this many robust sigmas from the others."""
LEAST_SCALE_M = 0.35
"""Drivers' lines scatter by this much at least, one sigma; a smaller spread is chance."""
TWO_APART_M = 4.0
"""Where two laps alone are farther apart than this, and than the receiver's wander leads to expect,
the slower one has left the line."""
LAP_SIGMA_M = 0.15
"""Shift that a lap has of its own at least, one sigma on one axis."""
_SCALE_OVER_M = 300.0
_STRAY_MARGIN_M = 15.0
_FADE_M = 30.0
_SEAM_M = 60.0

_PRIOR_FREEDOM = 4.0


@dataclass(frozen=True, eq=False)
class Beside:
    """How a drive lies beside the line of all laps, at moments along it.

    Parameters
    ----------
    time_s
        The moments, rising, shape (m,).
    error_m
        How far the drive is off, east and north, shape (m, 2).
    aside_m
        How far the lap then driven is to the left of the line, shape (m,).
    """

    time_s: Floats
    error_m: Floats
    aside_m: Floats

    def error_at(self, time_s: Floats) -> Floats:
        """Read how far the drive is off at some times, shape (k, 2)."""
        return np.stack([np.interp(time_s, self.time_s, axis) for axis in self.error_m.T], axis=1)


@dataclass(frozen=True, eq=False)
class Reading:
    """One lap read at chainages of a line, each of shape (n,).

    Parameters
    ----------
    offset_m
        To the left of the line; NaN where the lap is not known (a gap between fixes).
    speed_mps, elevation_m, time_s
        Of the lap; the time counts from the recording's first fix.
    jump_m
        How far to the left of its beginning the lap ends on a closed line.
    seam
        Where that was spread over; None on an open line.
    """

    offset_m: Floats
    speed_mps: Floats
    elevation_m: Floats
    time_s: Floats
    jump_m: float = 0.0
    seam: Flags | None = None


@dataclass(frozen=True, eq=False)
class Average:
    """What several laps make together.

    Parameters
    ----------
    mean_m, spread_m
        Sideways place of the line by chainage, and the standard deviation of the laps' about it
        (NaN for one lap); shape (n,).
    offset_m, weight
        Sideways places of each lap without its own shift, and how much each counts, 0 to 1;
        shape (laps, n).
    shift_m
        East and north shift of each lap as a whole from the line, shape (laps, 2).
    share
        Weight of each lap in the place of the line as a whole, shape (laps,), adding up to 1.
    """

    mean_m: Floats
    spread_m: Floats
    offset_m: Floats
    weight: Floats
    shift_m: Floats
    share: Floats


def read_lap(
    curve: Curve, chainage_m: Floats, lap: FoundLap, beside: Beside | None = None
) -> Reading:
    """Read a lap's sideways place, speed and elevation at chainages of a line.

    A lap ends where it began, but neither the driver nor the receiver's wander is quite where it
    was: on a closed line the difference is spread over `_SEAM_M` on either side, or over the whole
    lap where the wander cannot be told from the drive.

    Parameters
    ----------
    curve, chainage_m
        The line and even chainages along it, shape (n,).
    lap
        The lap.
    beside
        How far its drive is off and its laps are from the line, where all laps together have told.
    """
    part, path = lap.part, lap.path
    position, settled = path.position_m[part], beside is not None or path.drive.has_doppler
    if beside is not None:
        position = position - beside.error_at(path.time_s[part])
    where, offset = curve.project(position, path.direction[part])
    if beside is not None and not path.drive.has_doppler:
        # Between fixes a lap keeps beside the line that all of them tell.
        offset = np.interp(path.time_s[part], beside.time_s, beside.aside_m)
    elevation = path.elevation_m[part]
    columns = np.column_stack(
        [offset, path.speed_mps[part], elevation, path.fixed[part], path.time_s[part]]
    )
    jump, seam = 0.0, None
    if not curve.closed:
        order = np.argsort(where, kind="stable")
        read = _columns(chainage_m, where[order], columns[order])
    else:
        begin = float(where[0])
        along = (where - begin) % curve.length_m
        # The first few samples may project just behind the first one.
        half = len(along) // 2
        along[:half] -= curve.length_m * (along[:half] > 0.75 * curve.length_m)
        order = np.argsort(along, kind="stable")
        ahead = np.asarray(curve.along(begin, chainage_m))
        read = _columns(ahead, along[order], columns[order])
        reach = _SEAM_M if settled else curve.length_m
        reach = min(reach, 0.5 * curve.length_m)
        jump = float(offset[order[-1]] - offset[order[0]])
        after = np.clip(1.0 - ahead / reach, 0.0, None)
        before = np.clip(1.0 - (curve.length_m - ahead) / reach, 0.0, None)
        read[:, 0] += 0.5 * jump * (after - before)
        seam = after + before > 0.0
    fixed = read[:, 3] > 0.99
    offset = np.where(fixed, read[:, 0], np.nan)
    return Reading(offset, read[:, 1], read[:, 2], time_s=read[:, 4], jump_m=jump, seam=seam)


def _columns(at: Floats, where: Floats, columns: Floats) -> Floats:
    return np.stack([np.interp(at, where, column) for column in columns.T], axis=1)


def averaged(
    curve: Curve,
    chainage_m: Floats,
    laps: Sequence[FoundLap],
    readings: Sequence[Reading],
    two_apart_m: float = TWO_APART_M,
) -> Average:
    """Average laps robustly, freed of each lap's own shift.

    Each lap's shift east and north is fitted to its sideways distances from the median of all.
    What is then `STRAY_SIGMAS` from the others (an off, an overtake, the pit lane) counts for
    nothing, with `_STRAY_MARGIN_M` around it and fading over `_FADE_M`, so that no lap enters or
    leaves the average with a step.  The place of the line as a whole is the best linear estimate
    from the shifts and the receivers' wander (`wander_covariance`).

    Parameters
    ----------
    curve, chainage_m
        The line and even chainages along it, shape (n,).
    laps, readings
        The laps, read at those chainages.
    two_apart_m
        Where two laps alone are farther apart than this, the slower one has left the line.
    """
    left = curve.left(chainage_m)
    step = float(chainage_m[1] - chainage_m[0])
    raw = np.array([reading.offset_m for reading in readings])
    speed = np.array([reading.speed_mps for reading in readings])
    measured = np.isfinite(raw) & ~_off_at_seam(readings, raw.shape)
    weight = measured.astype(float)
    filled = np.where(measured, raw, 0.0)
    shift = np.zeros((len(raw), 2))
    for _ in range(2):
        level = filled - shift @ left.T
        middle = _weighted_median(level, weight)
        shift = np.array(
            [_fitted_shift(left, f - middle, w) for f, w in zip(filled, weight, strict=True)]
        )
        shift -= shift.mean(axis=0)
        level = filled - shift @ left.T
        stray = _stray(level, measured, speed, step, two_apart_m, closed=curve.closed)
        weight = _faded(measured & ~stray, step, closed=curve.closed)
    total = weight.sum(axis=0)
    # Where nothing counts, as in a tunnel on every lap, the line goes straight on in between.
    shape = _mean(level, weight, chainage_m, curve)
    spread = np.full(len(chainage_m), np.nan)
    if len(raw) > 1:
        squares = (weight * (level - shape) ** 2).sum(axis=0)
        spread = np.sqrt(squares / np.maximum(total, 1e-9))
        spread = np.where(total > 1.0, spread, np.nan)
        if not np.isfinite(spread).any():
            spread = np.zeros(len(chainage_m))
        spread = np.interp(chainage_m, chainage_m[np.isfinite(spread)], spread[np.isfinite(spread)])
    share = _shares(laps, shift)
    whole = share @ shift
    mean = shape + left @ whole
    return Average(mean, spread, level + left @ whole, weight, shift - whole, share)


def _fitted_shift(left: Floats, offset: Floats, weight: Floats) -> Floats:
    root = np.sqrt(weight)
    # On a course that hardly turns only the shift across it can be fitted: along it, it stays 0.
    return np.asarray(np.linalg.lstsq(left * root[:, None], offset * root, rcond=1e-2)[0])


def _weighted_median(value: Floats, weight: Floats) -> Floats:
    counted = np.where(weight > 0.5, value, np.nan)
    nothing = ~np.isfinite(counted).any(axis=0)
    counted[:, nothing] = value[:, nothing]
    return np.asarray(np.nanmedian(counted, axis=0))


def _stray(
    level: Floats,
    measured: Flags,
    speed: Floats,
    step_m: float,
    two_apart_m: float = TWO_APART_M,
    *,
    closed: bool,
) -> Flags:
    """Mark where a lap is far from the others, with a margin around it."""
    count = len(level)
    if count == 1:
        return np.zeros(level.shape, dtype=bool)
    if count == 2:
        apart = measured.all(axis=0) & (np.abs(level[0] - level[1]) > two_apart_m)
        stray = np.zeros(level.shape, dtype=bool)
        for begin, end in runs_of(apart, closed=closed):
            # Who is slower from metre to metre changes: over the whole of it one has left the line.
            away = np.arange(begin, end) % level.shape[1]
            stray[int(np.argmin(speed[:, away].mean(axis=1))), away] = True
    else:
        middle = _weighted_median(level, measured.astype(float))
        away = np.where(measured, np.abs(level - middle), np.nan)
        nothing = ~measured.any(axis=0)
        away[:, nothing] = 0.0
        scale = robust_spread(away, about=0.0, axis=0)
        scale = np.maximum(moving_mean(scale, _SCALE_OVER_M, step_m, closed=closed), LEAST_SCALE_M)
        stray = np.nan_to_num(away) > STRAY_SIGMAS * scale
    margin = max(1, round(_STRAY_MARGIN_M / step_m))
    padded = np.pad(stray, ((0, 0), (margin, margin)), mode="wrap" if closed else "edge")
    window = np.lib.stride_tricks.sliding_window_view(padded, 2 * margin + 1, axis=1)
    wide = np.asarray(window.any(axis=-1))
    # At one place not all laps can be stray: without the margin, some of them count again.
    wide[:, wide.all(axis=0)] = stray[:, wide.all(axis=0)]
    return np.asarray(wide)


def _off_at_seam(readings: Sequence[Reading], shape: tuple[int, ...]) -> Flags:
    """Mark the seams of laps that end elsewhere than they began by far more than others do.

    Whoever is off the line just there would otherwise be taken back to it by half.
    """
    off = np.zeros(shape, dtype=bool)
    jump = np.abs([reading.jump_m for reading in readings])
    if len(readings) < 3:
        return off
    limit = STRAY_SIGMAS * max(float(robust_spread(jump, about=0.0)), LEAST_SCALE_M)
    for number, reading in enumerate(readings):
        if reading.seam is not None and jump[number] > limit:
            off[number] = reading.seam
    off[:, off.all(axis=0)] = False
    return off


def _faded(counts: Flags, step_m: float, *, closed: bool) -> Floats:
    """Let weights rise from 0 to 1 over a distance, inside the stretches that count."""
    if counts.all():
        return counts.astype(float)
    even = moving_mean(counts.astype(float), _FADE_M, step_m, closed=closed)
    return np.asarray(np.where(counts, np.maximum(2.0 * even - 1.0, 1e-6), 0.0))


def _mean(level: Floats, weight: Floats, chainage_m: Floats, curve: Curve) -> Floats:
    total = weight.sum(axis=0)
    weighted = total > 0
    if not weighted.any():
        return np.zeros(len(chainage_m))
    mean = (weight * level).sum(axis=0)[weighted] / total[weighted]
    period = curve.length_m if curve.closed else None
    return np.asarray(np.interp(chainage_m, chainage_m[weighted], mean, period=period))


def wander_covariance(laps: Sequence[FoundLap], lap_sigma_m: float = LAP_SIGMA_M) -> Floats:
    """Covariance of the shifts that receivers' wander gives to laps, on one axis, m^2.

    Between recordings there is none.  Within one, where Doppler velocities let the smoother see
    the wander change, the laps share what is left of it after the whole recording: the variance of
    the best estimate of what it varies about.  Without, the shifts have the covariance of the means
    of the wander over the laps.  `lap_sigma_m` is what each lap's shift has of its own besides: a
    driver's line, too, is shifted as a whole now and then.
    """
    count = len(laps)
    covariance = lap_sigma_m**2 * np.eye(count)
    owner = np.array([id(lap.path.drive) for lap in laps])
    for recording in set(owner.tolist()):
        mine = np.flatnonzero(owner == recording).tolist()
        drive = laps[mine[0]].path.drive
        sigma = drive.levels.wander_m if drive.wander_from_recording else USUAL.wander_m
        constant = drive.levels.wander_time_s
        if drive.has_doppler:
            share = variance_of_best_mean(drive.recording.duration_s, constant)
        else:
            span = [(laps[i].start_s, laps[i].end_s) for i in mine]
            share = covariance_of_means(span, constant)
        covariance[np.ix_(mine, mine)] += sigma**2 * share
    return np.asarray(covariance)


def _shares(laps: Sequence[FoundLap], shift_m: Floats) -> Floats:
    """Weigh the laps for the best linear estimate of the line's shift as a whole."""
    owner = np.array([id(lap.path.drive) for lap in laps])
    members = [np.flatnonzero(owner == recording) for recording in dict.fromkeys(owner.tolist())]
    covariance = wander_covariance(laps, _own_sigma(shift_m, members))
    weight = np.zeros(len(laps))
    for mine in members:
        weight[mine] = np.linalg.inv(covariance[np.ix_(mine, mine)]).sum(axis=1)
    return np.asarray(weight / weight.sum())


def _own_sigma(shift_m: Floats, members: Sequence[Indices]) -> float:
    """Read how far laps of one recording are shifted against each other, on one axis."""
    squares, freedom = 0.0, 0
    for mine in members:
        squares += float(((shift_m[mine] - shift_m[mine].mean(axis=0)) ** 2).sum())
        freedom += 2 * (len(mine) - 1)
    if freedom < _PRIOR_FREEDOM:
        return LAP_SIGMA_M
    return max(LAP_SIGMA_M, float(np.sqrt(squares / freedom)))
