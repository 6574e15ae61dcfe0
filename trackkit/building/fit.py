"""One smooth line out of the laps found: aligned, averaged, fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.building.average import (
    LEAST_SCALE_M,
    STRAY_SIGMAS,
    TWO_APART_M,
    Average,
    Reading,
    averaged,
    read_lap,
)
from trackkit.building.find_laps import FoundLap, sort_out
from trackkit.building.line_accuracy import KnownLine, known_along
from trackkit.building.together import laid_together
from trackkit.building.wander import expected_level_m, wander_of
from trackkit.geometry.curve import Curve
from trackkit.geometry.smoothing import (
    Noise,
    chosen_wavelength,
    low_pass,
    noise_of_laps,
    noise_of_receiver,
    smoothed_curve,
)
from trackkit.motion.gauss_markov import variance_of_mean

HEIGHT_WAVELENGTH_M = 80.0
_SPACING_M = 1.0
_ROUNDS = 2
_MOST_WANDER_M = 3.0
_WALKING_MPS = 3.0
_FEWEST_FOR_NOISE = 4
_MOST_HEIGHTS = 0.8
_USUAL_SHARE = 0.1
"""Straying over less than this share of the way does not count against a lap."""


@dataclass(frozen=True, eq=False)
class FittedLine:
    """A line fitted to laps.

    Parameters
    ----------
    curve
        The line on its plane.
    laps
        The laps it is made of.
    rejected
        The laps that leave the line for good, each with a sentence.
    chainage_m, spread_m, speed_mps, height_m
        Shape (n,): even chainages along the curve, and at each the standard deviation of the
        laps' sideways places (NaN for one lap), the median speed, and the height (NaN where
        unknown).
    offset_m, weight
        Sideways places of each lap freed of its own shift, and how much each counted; shape
        (laps, n).
    accuracy
        How well the line is known at those chainages.
    wavelength_m
        With what the line was smoothed.
    """

    curve: Curve
    laps: tuple[FoundLap, ...]
    rejected: tuple[tuple[FoundLap, str], ...]
    chainage_m: Floats
    spread_m: Floats
    speed_mps: Floats
    height_m: Floats
    offset_m: Floats
    weight: Floats
    accuracy: KnownLine
    wavelength_m: float

    @property
    def accuracy_m(self) -> float:
        """Root mean square of the sigma of the line's sideways place, metres."""
        return self.accuracy.rms_m


def fit_line(
    laps: Sequence[FoundLap], *, closed: bool, strays: Sequence[FoundLap] = ()
) -> FittedLine:
    """Average laps into one line.

    The lap most like the others is the first guess.  Each lap's sideways distance from it is read
    by chainage, freed of the lap's own shift and averaged robustly
    (`trackkit.building.average.averaged`); the mean moves the guess.  That is done twice.  Of
    several laps all fixes together then move it once more (`trackkit.building.together`), and the
    laps are averaged freed of what each drive is off from place to place.  Each time the line is
    smoothed as its noise asks for.

    Parameters
    ----------
    laps
        At least one, all on the same plane.
    closed
        Whether they are laps, or runs of a point-to-point course.
    strays
        More laps, known to leave the line: used only if they turn out to follow it.
    """
    curve, kept, rejected = _guess(laps, strays, closed=closed)
    apart_m = _two_apart_m(kept)
    for _ in range(_ROUNDS):
        guess = curve
        chainage = curve.chainages(_SPACING_M)
        readings = [read_lap(guess, chainage, lap) for lap in kept]
        average = averaged(guess, chainage, kept, readings, apart_m)
        curve, wavelength = _smoothed(guess, chainage, kept, average)
    wander = wander_of(guess, chainage, kept, readings)
    together = laid_together(guess, chainage, kept, average, wander)
    if together is not None:
        guess = _moved(guess, chainage, together.offset_m)
        chainage = guess.chainages(_SPACING_M)
        beside = [together.beside[id(lap.path.drive)] for lap in kept]
        readings = [
            read_lap(guess, chainage, lap, drive) for lap, drive in zip(kept, beside, strict=True)
        ]
        average = averaged(guess, chainage, kept, readings, apart_m)
        curve, wavelength = _smoothed(guess, chainage, kept, average)
    accuracy = known_along(guess, chainage, kept, readings, average, wavelength, wander)
    # The line has moved by centimetres since: its chainages stretch with its length.
    chainage = chainage * (curve.length_m / (chainage[-1] + (chainage[1] if closed else 0.0)))
    return FittedLine(
        curve=curve,
        laps=tuple(kept),
        rejected=tuple(rejected),
        chainage_m=chainage,
        spread_m=average.spread_m,
        speed_mps=np.median([reading.speed_mps for reading in readings], axis=0),
        height_m=_heights(curve, readings),
        offset_m=average.offset_m - average.mean_m,
        weight=average.weight,
        accuracy=accuracy,
        wavelength_m=wavelength,
    )


def _moved(curve: Curve, chainage_m: Floats, offset_m: Floats) -> Curve:
    place = curve.position(chainage_m) + offset_m[:, None] * curve.left(chainage_m)
    return Curve.through(place, closed=curve.closed)


def _smoothed(
    curve: Curve, chainage_m: Floats, laps: list[FoundLap], average: Average
) -> tuple[Curve, float]:
    """Move a line to the average of laps and smooth it; tell the wavelength."""
    moved = curve.position(chainage_m) + average.mean_m[:, None] * curve.left(chainage_m)
    noise = _noise(laps, average, float(chainage_m[1] - chainage_m[0]))
    wavelength = chosen_wavelength(moved, closed=curve.closed, noise=noise)
    return smoothed_curve(moved, closed=curve.closed, wavelength_m=wavelength), wavelength


def _two_apart_m(laps: Sequence[FoundLap]) -> float:
    """Say how far two laps may be apart that both follow the line.

    What of the receiver's wander is not the shift of a lap as a whole pulls them apart, the more
    the longer a lap lasts.
    """
    if len(laps) != 2:
        return TWO_APART_M
    variance = 0.0
    for lap in laps:
        drive = lap.path.drive
        variance += LEAST_SCALE_M**2
        if not drive.has_doppler:
            lasting, constant = lap.end_s - lap.start_s, drive.levels.wander_time_s
            rest = 1.0 - float(variance_of_mean(lasting, constant))
            variance += rest * expected_level_m(drive) ** 2
    return max(TWO_APART_M, STRAY_SIGMAS * float(np.sqrt(variance)))


def _guess(
    laps: Sequence[FoundLap], strays: Sequence[FoundLap], *, closed: bool
) -> tuple[Curve, list[FoundLap], list[tuple[FoundLap, str]]]:
    """Lay a first line along the lap that is most like the others, and sort out the laps by it."""
    first = laps[_most_typical(laps)]
    curve = first_guess(first, closed=closed)
    if len(laps) > 2:
        chainage = curve.chainages(4.0)
        offset = np.array([read_lap(curve, chainage, lap).offset_m for lap in laps])
        covered = np.isfinite(offset).any(axis=0)
        middle = np.nanmedian(offset[:, covered], axis=0)
        away = np.nanquantile(np.abs(offset[:, covered] - middle), 1.0 - _USUAL_SHARE, axis=1)
        # The first lap itself may be the one that went off; the one nearest to the middle is not.
        farthest = np.nanmax(np.abs(offset[:, covered] - middle), axis=1)
        nearest = laps[int(np.argmin(away + 0.5 * farthest))]
        if nearest is not first:
            first, curve = nearest, first_guess(nearest, closed=closed)
    kept, rejected = sort_out([*laps, *strays], curve)
    if first not in kept:
        kept.append(first)
        rejected = [pair for pair in rejected if pair[0] is not first]
    return curve, kept, rejected


def _most_typical(laps: Sequence[FoundLap]) -> int:
    """Index of the lap whose length is the median."""
    lengths = np.array([lap.length_m for lap in laps])
    return int(np.argsort(lengths, kind="stable")[(len(laps) - 1) // 2])


def first_guess(lap: FoundLap, *, closed: bool) -> Curve:
    """Lay a line along one lap, closed where it should be."""
    position = lap.path.position_m[lap.part].copy()
    if closed:
        following = min(lap.end, len(lap.path.position_m) - 1)
        gap = lap.path.position_m[following] - position[0]
        # Only what lies across the direction of travel can be the receiver's wander, and only so
        # much of it; the rest is where the lap was begun or ended, and the spline bridges it.
        ahead = lap.path.direction[lap.begin]
        across = gap - float(gap @ ahead) * ahead
        across *= min(1.0, _MOST_WANDER_M / max(float(np.linalg.norm(across)), 1e-9))
        position -= np.linspace(0.0, 1.0, len(position))[:, None] * across
        while len(position) > 4 and (position[0] - position[-1]) @ ahead < 0.5 * lap.path.step_m:
            position = position[:-1]
    return smoothed_curve(position, closed=closed)


def _noise(laps: list[FoundLap], average: Average, step_m: float) -> Noise:
    if len(laps) >= _FEWEST_FOR_NOISE:
        rest = np.where(average.weight > 0, average.offset_m, average.mean_m)
        return noise_of_laps(rest, average.weight, average.mean_m, step_m)
    drive = laps[0].path.drive
    levels = drive.levels
    speed = float(np.median(laps[0].path.speed_mps[laps[0].part]))
    # Velocities tie positions to each other, and at speed the wander is spread over far more way
    # than a bend: it shows in what a walk is made of.
    walked = speed < _WALKING_MPS and not drive.has_doppler
    return noise_of_receiver(
        speed_mps=speed,
        interval_s=drive.recording.interval_s,
        white_m=levels.white_m,
        doppler_mps=levels.doppler_mps if drive.has_doppler else None,
        laps=len(laps),
        wander_m=expected_level_m(drive) if walked else 0.0,
        wander_time_s=levels.wander_time_s,
    )


def _heights(curve: Curve, readings: list[Reading]) -> Floats:
    rows = []
    for reading in readings:
        good = np.isfinite(reading.elevation_m)
        if good.mean() > _MOST_HEIGHTS:
            at = np.arange(len(good))
            rows.append(np.interp(at, at[good], reading.elevation_m[good]))
    if not rows:
        return np.full(len(readings[0].elevation_m), np.nan)
    mean = np.mean(rows, axis=0)
    return low_pass(mean[:, None], curve.length_m, HEIGHT_WAVELENGTH_M, closed=curve.closed)[:, 0]
