"""The noise of a receiver's velocities, read from their spectrum.

Noise that a receiver has filtered looks like driving to anything but its spectrum: white noise is
flat there, filtered noise falls off with the square of the frequency, and a drive, which is smooth,
far faster than either.  Which of the two a recording carries is chosen by likelihood.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.motion.noise import USUAL, Levels, Measured

FASTER_THAN_MPS = 3.0
"""Only fixes at this speed count: standing receivers filter their noise away."""
DIFFERENCES_WITHIN_S = 0.25
"""Fixes farther apart in time than this show motion rather than noise."""
_STRETCH_S = 6.4
_FEWEST_STRETCHES = 4
_MOST_STRETCHES = 600
_EVEN = 0.2
"""Share of the usual interval by which one may differ in a stretch."""
_QUIET = 0.35
"""Share of stretches, from the quietest on, that the power at a frequency is read from."""
_QUIET_POWER = {1: 0.4308, 2: 0.6175}
"""The same quantile of the power of white noise of unit variance, by how many axes it is on: of a
gamma variable of that shape and of mean 1."""
_LEAST_HZ = 0.7
"""Below this frequency the drive outweighs any noise."""
_HIGH = 0.4
"""Share of the highest frequency above which white noise is read."""
_STEEPNESS = (5.75, 6.5, 8.0, 10.0)
"""Powers of the frequency by which a drive may fall off above that."""
_PER_STRETCH, _MOST_WEIGHT = 0.6, 60.0
"""What a stretch counts for, as stretches overlap by half, tapers tie neighbouring frequencies and
a quantile tells less than a mean; and what all may, since the spectra are not quite as assumed."""
_ROUNDS = 60
_LEAST_WHITE = 0.04
"""No velocities are taken to have less white noise than this share of the usual."""
_MOST_WHITE_OF_FILTERED = 0.5
"""Nor filtered ones more than this: that filters do away with it is what tells them."""
_TIMES_S = np.geomspace(0.15, 4.0, 31)
"""Time constants of filters that are tried."""
_USUAL_TIME_S = 1.0
_TIME_FACTOR = 1.35
_WHITE_FACTOR = 1.3
"""One standard deviation of the priors of a filter's time constant and of the white noise of
velocities that are not filtered, as factors (common practice, no source)."""
_FILTERED_ODDS = 1.0
"""Logarithm of the odds that velocities are not filtered, beforehand."""


def doppler_levels(measured: Measured) -> Levels:
    """Read the noise of velocities, white or correlated, from their spectrum.

    Velocities are differenced three times, which evens out the spectrum of a drive, and cut into
    tapered stretches (Welch 1967, The use of fast Fourier transform for the estimation of power
    spectra; from memory); the power at each frequency is that of the quiet ones, so that bursts of
    driving count for little.  White noise of any level, and noise of the usual level that is
    correlated over any time, each with a drive of any strength, are judged by Whittle's likelihood
    (Whittle 1953, Estimation and information in stationary time series; from memory) and by how
    far they are from the usual.

    High frequencies tell the variance of filtered noise over its time constant, not the two by
    themselves: its variance is taken to be as large as usual.

    Parameters
    ----------
    measured
        At least three fixes.

    Returns
    -------
    Levels
        The usual ones, but for the noise of velocities; as usual altogether where fixes are too
        rare, too few or too uneven to tell.
    """
    spectrum = _spectrum(measured)
    if spectrum is None:
        return USUAL
    interval, frequency, power, weight = spectrum
    usual = USUAL.doppler_mps**2
    slow = np.stack([_filtered_spectrum(frequency * interval, interval / t) for t in _TIMES_S])
    # The first row is of velocities that are not filtered.
    base = np.concatenate([np.zeros((1, len(power))), usual * slow])
    most = np.full(len(base), _MOST_WHITE_OF_FILTERED**2 * usual)
    most[0] = np.inf
    fits = [_fitted(base, most, frequency**-steep, power, weight) for steep in _STEEPNESS]
    white, score = (np.stack(part) for part in zip(*fits, strict=True))
    score[:, 0] -= _doubt(white[:, 0], USUAL.doppler_mps, _WHITE_FACTOR)
    score[:, 1:] -= _doubt(_TIMES_S, _USUAL_TIME_S, _TIME_FACTOR) + _FILTERED_ODDS
    if score[:, 0].max() >= score[:, 1:].max():
        # What a drive has at high frequencies is least where they are highest.
        high = frequency >= _HIGH * frequency.max()
        steep = _STEEPNESS[int(np.argmax(score[:, 0]))]
        white, _ = _fitted(base[:1, high], most[:1], frequency[high] ** -steep, power[high], weight)
        return replace(USUAL, doppler_mps=float(white[0]))
    share = np.exp(score[:, 1:] - score[:, 1:].max())
    share /= share.sum()
    return replace(
        USUAL,
        doppler_mps=float((share * white[:, 1:]).sum()),
        slow_doppler_mps=USUAL.doppler_mps,
        slow_doppler_time_s=float(np.exp(share.sum(axis=0) @ np.log(_TIMES_S))),
    )


def moving(measured: Measured) -> Flags:
    """Mark fixes with a known velocity that is not small."""
    with np.errstate(invalid="ignore"):
        speed = np.hypot(measured.velocity_mps[:, 0], measured.velocity_mps[:, 1])
        return np.asarray(speed > FASTER_THAN_MPS)


def _spectrum(measured: Measured) -> tuple[float, Floats, Floats, float] | None:
    """Find the interval, frequencies, hertz, the power at each in (m/s)^2, and what they count.

    The power of white noise is its variance.  None where that cannot be told.
    """
    velocity, time, fast = measured.velocity_mps, measured.time_s, moving(measured)
    # Repeated velocities (rows written faster than the receiver measures) say nothing.
    fresh = np.concatenate([[True], np.any(np.diff(velocity, axis=0) != 0, axis=1)])
    if np.count_nonzero(~fresh & fast) > 0.1 * np.count_nonzero(fast):
        velocity, time, fast = velocity[fresh], time[fresh], fast[fresh]
    step = np.diff(time)
    interval = float(np.median(step)) if len(step) else np.inf
    count = int(_STRETCH_S / interval)
    if interval > DIFFERENCES_WITHIN_S or len(time) < count + 3:
        return None
    even = np.abs(step - interval) < _EVEN * interval
    bad = np.concatenate([[0], np.cumsum(~(fast[1:] & even))])
    # As much is left over at either end, so that a drive turned round reads the same.
    spare = len(time) - count - 3
    starts = np.arange(spare % (count // 2) // 2, spare + 1, count // 2)
    starts = starts[fast[starts] & (bad[starts + count + 2] == bad[starts])]
    if len(starts) < _FEWEST_STRETCHES:
        return None
    starts = starts[:: -(-len(starts) // _MOST_STRETCHES)]
    stretch = velocity[starts[:, None] + np.arange(count + 3)]
    third = np.diff(stretch, n=3, axis=1)
    taper = np.hanning(count + 2)[1:-1]
    taper /= np.sqrt((taper**2).sum())
    turning = np.fft.rfft(third * taper[:, None], axis=1)
    # Speeds without courses err along the direction of travel only.
    axes = 2 if measured.direction is None else 1
    power = (turning.real**2 + turning.imag**2).sum(axis=2) / axes
    frequency = np.arange(power.shape[1]) / (count * interval)
    used = frequency >= _LEAST_HZ
    quiet = np.quantile(power[:, used], _QUIET, axis=0) / _QUIET_POWER[axes]
    gain = (2.0 - 2.0 * np.cos(2.0 * np.pi * frequency[used] * interval)) ** 3
    weight = min(_PER_STRETCH * len(starts), _MOST_WEIGHT)
    return interval, frequency[used], quiet / gain, weight


def _filtered_spectrum(turns: Floats, rate: float) -> Floats:
    """Spectrum of a sampled first-order Gauss-Markov process of unit variance.

    Parameters
    ----------
    turns
        Frequency times the interval, shape (k,).
    rate
        Interval over the time constant.
    """
    kept = np.exp(-rate)
    return np.asarray((1.0 - kept**2) / (1.0 + kept**2 - 2.0 * kept * np.cos(2.0 * np.pi * turns)))


def _fitted(
    base: Floats, most_white: Floats, drive: Floats, power: Floats, weight: float
) -> tuple[Floats, Floats]:
    """Find the likeliest white noise and drive beside some spectra, and how likely they are.

    Multiplying each part by the root of what pulls it up over what pulls it down never lowers the
    likelihood (Fevotte, Bertin & Durrieu 2009, Nonnegative matrix factorization with the
    Itakura-Saito divergence; from memory).

    Parameters
    ----------
    base
        Spectra that are there besides, shape (m, k).
    most_white
        Most variance of the white noise beside each, (m/s)^2, shape (m,).
    drive
        Spectrum of a drive, of any strength, shape (k,).
    power
        What was measured, shape (k,).
    weight
        How many independent values each of these stands for.

    Returns
    -------
    white_mps, log_likelihood
        Shape (m,): white noise, one sigma, and the likelihood but for a constant.
    """
    shape = np.stack([np.ones_like(drive), drive / drive.mean()])
    least = np.array([(_LEAST_WHITE * USUAL.doppler_mps) ** 2, 1e-12])
    most = np.stack([most_white, np.full(len(base), np.inf)], axis=1)
    part = np.clip(np.full((len(base), 2), 0.3 * power.mean()), least, most)
    for _ in range(_ROUNDS):
        model = 1.0 / (base + part @ shape)
        pulled = np.sqrt(((power * model**2) @ shape.T) / (model @ shape.T))
        part = np.clip(part * pulled, least, most)
    model = base + part @ shape
    return np.sqrt(part[:, 0]), -weight * (np.log(model) + power / model).sum(axis=1)


def _doubt(value: Floats, usual: float, factor: float) -> Floats:
    """Half the squared distance from a usual value, in standard deviations, as factors go."""
    return np.asarray(0.5 * (np.log(value / usual) / np.log(factor)) ** 2)
