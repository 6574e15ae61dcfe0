"""How much a line is smoothed: as much as its own noise asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve

SMOOTHING_WAVELENGTH_M = 12.0
"""Features of this length keep half their size where the noise of a line is not known."""
WAVELENGTHS_M = (4.0, 5.0, 6.0, 7.5, 9.0, 11.0, 13.5, 16.5, 20.0, 25.0)
"""Candidates where the noise is known: half of a feature of this length is kept."""
SPACING_M = 1.0
_ORDER = 3


def smoothed_curve(
    position_m: Floats, *, closed: bool, wavelength_m: float = SMOOTHING_WAVELENGTH_M
) -> Curve:
    """Fit a smoothing spline through positions along a line.

    The line is resampled evenly and its Fourier components are weighted with
    1 / (1 + (c / w)**6), where w is the wavelength and c `wavelength_m`: the smoothing
    spline that penalises the square of the third derivative, which is diagonal in that basis on
    an even grid (Wahba, Spline Models for Observational Data, 1990; from memory).
    """
    rough = Curve.through(position_m, closed=closed)
    even = rough.position(rough.chainages(_spacing(rough)))
    return Curve.through(low_pass(even, rough.length_m, wavelength_m, closed=closed), closed=closed)


def _spacing(curve: Curve) -> float:
    return min(SPACING_M, curve.length_m / 200)


def low_pass(value: Floats, length_m: float, wavelength_m: float, *, closed: bool) -> Floats:
    """Smooth evenly spaced values, shape (n, k); an open line keeps its two ends."""
    signal, base, length_m = _periodic(value, length_m, closed=closed)
    frequency = _frequencies(len(signal), length_m / len(signal))
    keep = _kept(frequency, wavelength_m)
    smooth = np.fft.irfft(np.fft.rfft(signal, axis=0) * keep[:, None], n=len(signal), axis=0)
    return np.asarray(smooth[: len(value)] + base)


def _frequencies(count: int, spacing_m: float) -> Floats:
    return np.asarray(np.fft.rfftfreq(count, d=spacing_m), dtype=float)


def _kept(frequency: Floats, wavelength_m: float) -> Floats:
    return np.asarray(1.0 / (1.0 + (wavelength_m * frequency) ** (2 * _ORDER)))


def _periodic(value: Floats, length_m: float, *, closed: bool) -> tuple[Floats, Floats, float]:
    if closed:
        return value, np.zeros_like(value), length_m
    # Odd reflection of what is left over a straight base keeps the ends where they are.
    base = value[0] + np.linspace(0.0, 1.0, len(value))[:, None] * (value[-1] - value[0])
    bent = value - base
    return np.concatenate([bent, -bent[-2:0:-1]]), base, 2.0 * length_m


def chosen_wavelength(position_m: Floats, *, closed: bool, noise: Noise) -> float:
    """Choose the smoothing whose heading is expected to err least.

    Mallows' C_p (1973; from memory) on the line's slope: for a filter h of the Fourier components
    m with noise power N, the expected square error is that of |(1 - h) m|^2 + (2 h - 1) N but for
    a constant.  Slope rather than place, because headings and radii are read from the line.
    """
    rough = Curve.through(position_m, closed=closed)
    even = rough.position(rough.chainages(_spacing(rough)))
    signal, _, length = _periodic(even, rough.length_m, closed=closed)
    frequency = _frequencies(len(signal), length / len(signal))
    power = (np.abs(np.fft.rfft(signal, axis=0)) ** 2).sum(axis=1) / len(signal)
    expected = noise.power(frequency, length / len(signal))
    risks = []
    for wavelength in WAVELENGTHS_M:
        kept = _kept(frequency, wavelength)
        risk = (1.0 - kept) ** 2 * power + (2.0 * kept - 1.0) * expected
        risks.append(float((frequency**2 * risk).sum()))
    return WAVELENGTHS_M[int(np.argmin(risks))]


@dataclass(frozen=True, eq=False)
class Noise:
    """A line's sideways noise by spatial frequency.

    Parameters
    ----------
    frequency_per_m
        Cycles a metre in rising order, shape (k,).
    density
        Power density there, m^2 per cycle a metre, two-sided, shape (k,).
    """

    frequency_per_m: Floats
    density: Floats

    def power(self, frequency_per_m: Floats, spacing_m: float) -> Floats:
        """Work out the expected |FFT|^2 / n, m^2, of the components of a line at a spacing."""
        return np.interp(frequency_per_m, self.frequency_per_m, self.density) / spacing_m


def noise_of_laps(offset_m: Floats, weight: Floats, mean_m: Floats, step_m: float) -> Noise:
    """Read the noise of the mean of laps, shape (laps, n), from how they scatter about it.

    Drivers' lines differ as well, but hardly over so short a distance as smoothing cuts.
    """
    rest = weight * (offset_m - mean_m)
    spectrum = (np.abs(np.fft.rfft(rest, axis=1)) ** 2).mean(axis=0)
    density = spectrum / rest.shape[1] * step_m / max(len(rest) - 1, 1)
    reach = max(1, len(density) // 100)
    padded = np.pad(density, reach, mode="edge")
    even = np.convolve(padded, np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), mode="valid")
    return Noise(_frequencies(rest.shape[1], step_m), even)


def noise_of_receiver(
    speed_mps: float,
    interval_s: float,
    white_m: float,
    doppler_mps: float | None,
    laps: int,
    *,
    wander_m: float = 0.0,
    wander_time_s: float = 120.0,
) -> Noise:
    """Work out the noise of the mean of laps from a receiver's levels.

    A white error of positions d apart has the density sigma^2 d, one of velocities
    (sigma_v / v)^2 d / (2 pi f)^2; the informations of both add up.  The wander, which is spread
    over speed times its time constant l, has 2 sigma^2 l / (1 + (2 pi f l)^2) besides (the spectrum
    of a first-order Gauss-Markov process; Brown & Hwang, from memory): the slower one goes, the
    more of it is in what looks like bends.
    """
    frequency = np.linspace(0.0, 0.5, 501)[1:]
    apart = speed_mps * interval_s
    information = np.full(len(frequency), 1.0 / (white_m**2 * apart))
    if doppler_mps is not None:
        information += (2 * np.pi * frequency) ** 2 / ((doppler_mps / speed_mps) ** 2 * apart)
    lasting = speed_mps * wander_time_s
    wander = 2.0 * wander_m**2 * lasting / (1.0 + (2 * np.pi * frequency * lasting) ** 2)
    return Noise(frequency, (1.0 / information + wander) / max(laps, 1))


def moving_mean(value: Floats, over_m: float, step_m: float, *, closed: bool) -> Floats:
    """Average evenly spaced values, along the last axis, over a window."""
    reach = max(1, round(0.5 * over_m / step_m))
    reach = min(reach, value.shape[-1] - 1)
    pad = [(0, 0)] * (value.ndim - 1) + [(reach, reach)]
    total = np.cumsum(np.pad(value, pad, mode="wrap" if closed else "edge"), axis=-1)
    total = np.concatenate([np.zeros((*value.shape[:-1], 1)), total], axis=-1)
    width = 2 * reach + 1
    return np.asarray((total[..., width:] - total[..., :-width]) / width)
