"""How a lap drove each section: least and last speed, where braking began, each with its sigma."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.runs import runs_of
from trackkit.geometry.vectors import left_of
from trackkit.motion.drive import Drive
from trackkit.motion.stretch_covariance import StretchCovariance
from trackkit.timing.laps import Lap
from trackkit.timing.traces import SLOWEST_MPS, STEP_M, Trace, trace_lap
from trackkit.track.model import Track

BRAKING_MPS2 = -1.5
"""Slowing down harder than this is braking rather than coasting (common practice, no source)."""
_SLOPE_M = 3.0
"""How fast braking sets in is read so far to either side."""


@dataclass(frozen=True)
class SectionSpeeds:
    """How one lap drove a section.

    Parameters
    ----------
    least_mps, end_mps
        Least speed, and the speed at the section's end; NaN where the recording does not tell.
    braking_m
        Chainage where its longest braking began, or None.
    least_sigma_mps, end_sigma_mps
        One sigma of the speeds, m/s; NaN where it is not known.
    braking_sigma_m
        One sigma of where braking began, metres; None where there was no braking, or it had begun
        before the section.
    """

    least_mps: float
    end_mps: float
    braking_m: float | None
    least_sigma_mps: float = math.nan
    end_sigma_mps: float = math.nan
    braking_sigma_m: float | None = None


def section_speeds(
    track: Track,
    drive: Drive,
    laps: Sequence[Lap],
    sections: Sequence[tuple[float, float]],
    position_left: Sequence[Floats],
) -> list[tuple[SectionSpeeds, ...]]:
    """Read how laps drove sections of the track.

    Speeds and accelerations err as the smoothed drive's do, carried over linearly (JCGM 100,
    "GUM", section 5.2; from memory): a speed also by how it changes over what is not known of the
    place along the track; the place where braking began by that, and by the error of the
    acceleration over how fast it grows there.

    Parameters
    ----------
    track, drive
        The track, and the drive that laps were timed on.
    laps
        Whole ones, in order of time.
    sections
        Chainages of begin and end, metres.
    position_left
        For each lap the share of a position's error along the track that is left where its laps
        told of it, shape (sections,); ones where they did not.
    """
    traces = [trace_lap(track, drive, lap) for lap in laps]
    ends = [(lap.passed[0], lap.passed[-1]) for lap in laps]
    stretches = drive.stretch_covariances(
        [
            (first.fix, min(last.fix + 1, len(drive.time_s) - 1))
            for first, last in ends
            if first is not None and last is not None
        ]
    )
    made = []
    for lap, trace, left, stretch in zip(laps, traces, position_left, stretches, strict=True):
        assert trace is not None  # noqa: S101 - a whole lap has a beginning and an end
        made.append(_of_lap(track, drive, lap, trace, sections, left, stretch))
    return made


def _of_lap(
    track: Track,
    drive: Drive,
    lap: Lap,
    trace: Trace,
    sections: Sequence[tuple[float, float]],
    position_left: Floats,
    stretch: StretchCovariance,
) -> tuple[SectionSpeeds, ...]:
    begun = lap.passed[0]
    assert begun is not None  # noqa: S101 - a whole lap has a beginning and an end
    made = []
    for (begin_m, end_m), left in zip(sections, position_left.tolist(), strict=True):
        inside = (trace.chainage_m >= begin_m) & (trace.chainage_m <= end_m)
        row = np.flatnonzero(inside & np.isfinite(trace.speed_mps))
        if not len(row):
            made.append(SectionSpeeds(math.nan, math.nan, None))
            continue
        least, last = int(row[np.argmin(trace.speed_mps[row])]), int(row[-1])
        ended = trace.chainage_m[last] > end_m - 2.0 * STEP_M
        braking, slope = _braking(trace, row)
        at = np.array([trace.chainage_m[least], trace.chainage_m[last], braking or begin_m])
        time = begun.time_s + np.interp(at, trace.chainage_m[row], trace.elapsed_s[row])
        speeds, place = _sigmas(track, drive, stretch, at, time, slope, left)
        made.append(
            SectionSpeeds(
                float(trace.speed_mps[least]),
                float(trace.speed_mps[last]) if ended else math.nan,
                braking,
                float(speeds[0]),
                float(speeds[1]) if ended else math.nan,
                None if math.isnan(slope) else place,
            )
        )
    return tuple(made)


def _braking(trace: Trace, row: np.ndarray) -> tuple[float | None, float]:
    """Find where the longest braking of a section began, and how the acceleration changes there.

    Returns
    -------
    braking_m, slope
        The slope in m/s^2 a metre; NaN where braking had begun before the section.
    """
    ahead, place = np.nan_to_num(trace.longitudinal_mps2), trace.chainage_m
    brakes = ahead[row] < BRAKING_MPS2
    if not brakes.any():
        return None, math.nan
    run = max(runs_of(brakes), key=lambda run: run[1] - run[0])
    first = int(row[run[0]])
    if run[0] == 0 or not np.isfinite(trace.longitudinal_mps2[first - 1]):
        return float(place[first]), math.nan
    share = (ahead[first - 1] - BRAKING_MPS2) / (ahead[first - 1] - ahead[first])
    begun = float(place[first - 1] + share * (place[first] - place[first - 1]))
    near = np.interp([begun - _SLOPE_M, begun + _SLOPE_M], place, ahead)
    slope = min(float(near[1] - near[0]) / (2.0 * _SLOPE_M), -1e-3)
    return begun, slope


def _sigmas(
    track: Track,
    drive: Drive,
    stretch: StretchCovariance,
    chainage_m: Floats,
    time_s: Floats,
    slope: float,
    position_left: float,
) -> tuple[Floats, float]:
    """One sigma of the speeds at some places, m/s, and of where braking began at the last, m."""
    index, share, motion = drive.motion_at(time_s)
    held = np.clip(index, stretch.first, stretch.first + len(stretch.time_s) - 2)
    share = np.where(index < held, 0.0, np.where(index > held, 1.0, share))
    covariance = stretch.motion(held, share)
    velocity, acceleration = motion[:, 1], motion[:, 2]
    pace = np.maximum(np.hypot(velocity[:, 0], velocity[:, 1]), SLOWEST_MPS)
    onward = velocity / pace[:, None]
    ahead = track.curve.direction(chainage_m)
    gaining = np.einsum("ij,ij->i", acceleration, onward)
    advance = np.maximum(np.einsum("ij,ij->i", velocity, ahead), SLOWEST_MPS)
    weight = np.zeros((len(pace), 3, 2))
    # Farther on than it is taken to be, a vehicle has this place's speed a little earlier.
    weight[:, 0] = -position_left * (gaining / advance)[:, None] * ahead
    weight[:, 1] = onward
    speed = np.sqrt(_variance(covariance, weight))
    if math.isnan(slope):
        return speed, math.nan
    aside = left_of(onward[-1:])
    turning = float(acceleration[-1] @ aside[0])
    weight = np.zeros((1, 3, 2))
    weight[0, 0] = position_left * ahead[-1]
    weight[0, 1] = -(turning / pace[-1]) * aside[0] / slope
    weight[0, 2] = -onward[-1] / slope
    return speed, float(np.sqrt(_variance(covariance[-1:], weight)[0]))


def _variance(covariance: Floats, weight: Floats) -> Floats:
    """Variance of weighted sums of the motion, shape (k,), of weights of shape (k, 3, 2)."""
    by_axis = weight.transpose(0, 2, 1).reshape(-1, 6)
    variance = np.einsum("ki,kij,kj->k", by_axis, covariance, by_axis)
    return np.asarray(np.maximum(variance, 0.0))
