"""Where the official timing line lies, from official times and recordings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.errors import TrackkitError
from trackkit.geodesy import Floats
from trackkit.motion import Drive
from trackkit.receivermodel import PositionError, Receiver, position_error
from trackkit.track import Track

SEARCHED_M = 150.0
"""The official line is looked for this far to either side of the finish gate."""
WIDEST_M = 10.0
"""A 95 % interval wider than this tells nothing worth moving a gate for."""
FEWEST_LAPS = 5
_STEP_M = 0.25
_STRAY_SIGMAS = 5.0


@dataclass(frozen=True, eq=False)
class Passings:
    """When laps went by places near the finish gate.

    Parameters
    ----------
    place_m
        Distance ahead of the finish gate, rising, shape (k,).
    begin_s, end_s
        When each lap began and ended if the line were there, shape (laps, k).
    speed_mps
        Speed at each place, shape (k,).
    error
        Of positions.
    """

    place_m: Floats
    begin_s: Floats
    end_s: Floats
    speed_mps: Floats
    error: PositionError


@dataclass(frozen=True)
class Alignment:
    """Where the official line lies.

    Parameters
    ----------
    ahead_m
        How far ahead of the finish gate (negative: before it), antenna offset taken off.
    sigma_m
        One sigma.
    low_m, high_m
        95 % interval.
    laps
        How many laps it rests on.
    told
        Whether the interval is narrow enough to say anything.
    laps_needed
        About how many laps would make it so (the interval narrows with the root of their number).
    basis
        What was used, a clause.
    """

    ahead_m: float
    sigma_m: float
    low_m: float
    high_m: float
    laps: int
    told: bool
    laps_needed: int
    basis: str


def passings(track: Track, drive: Drive, laps: Sequence[tuple[float, float]]) -> Passings:
    """Find when laps went by places near the finish gate.

    Parameters
    ----------
    track
        Closed, with a finish gate.
    drive
        Of it.
    laps
        Beginning and end of complete laps at the finish gate, seconds from the first fix.
    """
    from scipy.interpolate import CubicHermiteSpline

    curve, length = track.curve, track.curve.length_m
    moving = drive.speed_mps > 1.0
    time, pace = drive.time_s[moving], drive.speed_mps[moving]
    heading = drive.velocity_mps[moving] / pace[:, None]
    where, aside = curve.project(drive.position_m[moving], heading)
    gone = np.unwrap(where - track.finish.chainage_m, period=length)
    bent = np.maximum(1.0 - curve.curvature(where) * aside, 0.2)
    rate = pace * (heading * curve.direction(where)).sum(axis=1) / bent
    spline = CubicHermiteSpline(time, gone, rate)
    place = np.arange(-SEARCHED_M, SEARCHED_M + 0.5 * _STEP_M, _STEP_M)
    reach = 3.0 * SEARCHED_M / max(float(np.median(pace)), 1.0) + 20.0

    def passed(moment_s: float) -> Floats:
        fine = np.arange(max(moment_s - reach, time[0]), min(moment_s + reach, time[-1]), 0.02)
        along = np.maximum.accumulate(spline(fine))
        at = length * round(float(spline(moment_s)) / length)
        return np.interp(at + place, along, fine, left=np.nan, right=np.nan)

    begin = np.array([passed(start) for start, _ in laps])
    end = np.array([passed(stop) for _, stop in laps])
    near = np.gradient(np.nanmedian(begin - begin[:, [len(place) // 2]], axis=0), place)
    speed = 1.0 / np.maximum(near, 1e-3)
    return Passings(place, begin, end, speed, position_error(Receiver.of(drive)))


def align_lap_times(
    found: Passings, official_s: Floats, *, rounding_s: float = 0.0, antenna_ahead_m: float = 0.0
) -> Alignment:
    """Estimate where the official line lies from lap times alone.

    Laps differ in speed around the line, and so do their times if they are taken elsewhere: the
    likelihood of each place is that of the differences between official and recorded times, whose
    uncertainty is that of the receiver over a lap and of the rounding.  Laps that differ by
    more than five sigma at the best place are left out.  With a flat prior the likelihood,
    normalised, is the probability of each place.

    Parameters
    ----------
    found
        Passings of the laps the times are of.
    official_s
        Official lap times, shape (laps,).
    rounding_s
        Last decimal they are given to.
    antenna_ahead_m
        How far the antenna is ahead of what the timekeepers detect.

    Raises
    ------
    TrackkitError
        With fewer than five laps.
    """
    usable = np.isfinite(found.begin_s).all(axis=1) & np.isfinite(found.end_s).all(axis=1)
    recorded = (found.end_s - found.begin_s)[usable]
    official = np.asarray(official_s, dtype=float)[usable]
    _require(len(official))
    lag = recorded.mean()
    spread = 2.0 * (found.error.covariance(0.0) - found.error.covariance(lag))
    sigma = np.sqrt(spread / found.speed_mps**2 + rounding_s**2 / 12.0)
    late = official[:, None] - recorded
    late = late[_kept(late, sigma)]
    _require(len(late))
    worth = -0.5 * ((late / sigma) ** 2).sum(axis=0) - len(late) * np.log(sigma)
    return _alignment(
        found.place_m, worth, len(late), antenna_ahead_m, f"{len(late)} official lap times"
    )


def align_passing_times(
    found: Passings,
    official_s: Floats,
    *,
    rounding_s: float = 0.0,
    antenna_ahead_m: float = 0.0,
) -> Alignment:
    """Estimate where the official line lies from passing times on the receiver's own clock.

    At each passing time the antenna was somewhere; the best linear mean of these places, whose
    errors are those of one slow wander, is where the line lies.

    Parameters
    ----------
    found
        Passings of the laps that the times begin.
    official_s
        When each lap began, seconds from the recording's first fix, shape (laps,).
    rounding_s, antenna_ahead_m
        As in `align_lap_times`.

    Raises
    ------
    TrackkitError
        With fewer than five laps.
    """
    place, keep, moment = [], [], []
    for index, (row, official) in enumerate(zip(found.begin_s, official_s, strict=True)):
        good = np.isfinite(row)
        if good.sum() > 2 and row[good][0] <= official <= row[good][-1]:
            place.append(float(np.interp(official, row[good], found.place_m[good])))
            keep.append(index)
            moment.append(float(official))
    _require(len(place))
    where, time = np.array(place), np.array(moment)
    near = np.abs(where - np.median(where)) < SEARCHED_M / 3.0
    where, time = where[near], time[near]
    _require(len(where))
    covariance = found.error.covariance(time[:, None] - time[None, :])
    speed = float(np.interp(np.median(where), found.place_m, found.speed_mps))
    covariance = covariance + np.eye(len(where)) * ((speed * rounding_s) ** 2 / 12.0 + 1e-6)
    weight = np.linalg.solve(covariance, np.ones(len(where)))
    sigma = float(1.0 / np.sqrt(weight.sum()))
    mean = float(weight @ where / weight.sum()) - antenna_ahead_m
    width = 2 * 1.96 * sigma
    return Alignment(
        mean, sigma, mean - 1.96 * sigma, mean + 1.96 * sigma, len(where), width <= WIDEST_M,
        len(where), f"{len(where)} official passing times on the receiver's clock",
    )  # fmt: skip


def _require(count: int) -> None:
    if count < FEWEST_LAPS:
        raise TrackkitError(
            f"{count} laps with an official time are too few to find the official line",
            remedy=f"give {FEWEST_LAPS} or more; some tens are needed with lap times alone",
        )


def _kept(late_s: Floats, sigma_s: Floats) -> Floats:
    best = int(np.argmin(np.median(np.abs(late_s / sigma_s), axis=0)))
    return np.asarray(np.abs(late_s[:, best]) < _STRAY_SIGMAS * sigma_s[best])


def _alignment(
    place_m: Floats, log_likelihood: Floats, laps: int, antenna_ahead_m: float, basis: str
) -> Alignment:
    density = np.exp(log_likelihood - log_likelihood.max())
    density /= density.sum()
    mean = float(density @ place_m)
    sigma = float(np.sqrt(density @ (place_m - mean) ** 2))
    total = np.cumsum(density)
    low = float(np.interp(0.025, total, place_m))
    high = float(np.interp(0.975, total, place_m))
    width = high - low
    needed = laps if width <= WIDEST_M else int(np.ceil(laps * (width / WIDEST_M) ** 2))
    shift = antenna_ahead_m
    return Alignment(
        mean - shift, sigma, low - shift, high - shift, laps, width <= WIDEST_M, needed, basis
    )
