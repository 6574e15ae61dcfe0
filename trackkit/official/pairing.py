"""Official lap times paired with recorded ones, and how well they agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from trackkit.arrays import Floats, robust_spread
from trackkit.official.times import OfficialLap, OfficialTimes
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.words import counted

MISSING = 0.1
"""Share of laps taken to be missing on either side, before anything is seen."""
_ODD = 0.05
"""Share of pairs taken to differ by more than their uncertainty says."""
_LEAST_SPREAD_S = 0.1
_UNKNOWN_SIGMA_S = 0.05
_SHIFT_ODDS = 3.0
OUTLIER = 3.5
"""From so many robust standard deviations on a difference is an outlier (Iglewicz & Hoaglin 1993,
How to Detect and Handle Outliers; from memory)."""
_FEWEST_FOR_OUTLIERS = 4
SURE = 0.9
"""A pair that is less probable than this is in doubt."""


@dataclass(frozen=True)
class Pair:
    """An official lap and the recorded one it is.

    Parameters
    ----------
    official, lap
        The two.
    difference_s, sigma_s
        Recorded less official time, and its uncertainty: the recorded time's, and the rounding
        of the official one.
    probability
        That the two are one lap, under the model of `pair`.
    outlier
        Whether the difference is far from those of the other pairs.
    sectors_s
        Differences of the sectors; empty where the list has none, or another number of them.
    """

    official: OfficialLap
    lap: Lap
    difference_s: float
    sigma_s: float
    probability: float
    outlier: bool
    sectors_s: tuple[float | None, ...]

    def as_row(self) -> dict[str, Any]:
        """Return the pair as JSON."""
        return {
            "official_lap": self.official.number,
            "official_s": self.official.time_s,
            "session": self.lap.session,
            "lap": self.lap.number,
            "time_s": self.lap.time_s,
            "difference_s": self.difference_s,
            "sigma_s": self.sigma_s,
            "probability": self.probability,
            "outlier": self.outlier,
            "sector_differences_s": list(self.sectors_s),
        }


@dataclass(frozen=True)
class Agreement:
    """How differences, recorded less official, are spread.

    Parameters
    ----------
    count
        How many there are, outliers left out.
    bias_s, bias_sigma_s
        Their mean, and its uncertainty as they scatter (None for fewer than two).
    spread_s
        Their standard deviation (None for fewer than two).
    expected_s
        What it would be if the uncertainties of the times were right (None where unknown).
    outliers
        Indices of the differences left out.
    """

    count: int
    bias_s: float
    bias_sigma_s: float | None
    spread_s: float | None
    expected_s: float | None
    outliers: tuple[int, ...]


@dataclass(frozen=True)
class Pairing:
    """The official times and a recording's laps, paired; what was left over on either side.

    Parameters
    ----------
    times
        The official times, of one driver.
    pairs
        In the order driven.
    official_alone
        Official laps that no recorded lap is paired with.
    laps_alone
        Recorded laps that no official lap is paired with.
    agreement
        How lap times differ; None where no pair has both.
    sectors
        How the times of each sector differ, in racing order.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=5, seed=1)
    >>> recording, laps = drive.recording, drive.truth["laps"]
    >>> times = pd.DataFrame({"time": [round(lap["time_s"], 3) for lap in laps]})
    >>> times.to_csv("official.csv", index=False)
    >>> official = trackkit.read_official("official.csv")
    >>> pairing = trackkit.pair_official(official, trackkit.time_laps(track, recording))
    >>> len(pairing.pairs), pairing.official_alone
    (5, ())
    """

    times: OfficialTimes
    pairs: tuple[Pair, ...]
    official_alone: tuple[OfficialLap, ...]
    laps_alone: tuple[Lap, ...]
    agreement: Agreement | None
    sectors: tuple[Agreement | None, ...]

    def __repr__(self) -> str:
        return (
            f"{type(self).__name__}({counted(self.pairs, 'pair')}, "
            f"{counted(self.official_alone, 'official lap')} and "
            f"{counted(self.laps_alone, 'recorded lap')} alone)"
        )

    def as_row(self) -> dict[str, Any]:
        """Return the pairing as JSON.

        Returns
        -------
        dict
            As ``official`` of a recording in the output of ``laps --json``.
        """
        return {
            "file": self.times.file,
            "pairs": [pair.as_row() for pair in self.pairs],
            "official_alone": [lap.number for lap in self.official_alone],
            "laps_alone": [lap.number for lap in self.laps_alone],
            **_agreement_row(self.agreement),
            "outliers": [pair.lap.number for pair in self.pairs if pair.outlier],
            "sectors": [_agreement_row(agreement) for agreement in self.sectors],
        }


def pair_official(times: OfficialTimes, report: LapReport) -> Pairing:
    """Pair official lap times with a recording's laps, in order, laps missing on either side.

    Of all pairings that keep the order the most probable one is taken.  A pair's times differ by
    their uncertainty (normal), or now and then by much more (Cauchy, of the same scale).  A lap
    is missing on one side with the probability `MISSING`; its time is anywhere within the spread
    of the session.  That gives both the worth of a pair and the cost of a gap, and dynamic
    programming the best sum (Needleman & Wunsch 1970; from memory).  Summing over all pairings
    instead gives the probability of each pair.  Finish lines that are not in the same place on a
    point-to-point course make a constant difference: where one explains the times far better than
    none, it is taken out first.

    Parameters
    ----------
    times
        Of one driver.
    report
        Its laps that have a time take part, whatever their kind.

    Returns
    -------
    Pairing
        Pairs in the order driven, and how their times agree.

    Examples
    --------
    >>> import pandas as pd
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=5, seed=1)
    >>> recording, laps = drive.recording, drive.truth["laps"]
    >>> times = pd.DataFrame({"time": [round(lap["time_s"], 3) for lap in laps]})
    >>> times.to_csv("official.csv", index=False)
    >>> official = trackkit.read_official("official.csv")
    >>> pairing = trackkit.pair_official(official, trackkit.time_laps(track, recording))
    >>> [abs(pair.difference_s) < 0.05 for pair in pairing.pairs]
    [True, True, True, True, True]
    """
    listed = [lap for lap in times.laps if lap.time_s is not None]
    laps = [lap for lap in report.laps if lap.time_s is not None]
    official_s = np.array([lap.time_s for lap in listed], dtype=float)
    recorded_s = np.array([lap.time_s for lap in laps], dtype=float)
    rounding = times.resolution_s / math.sqrt(12.0)
    own = np.array([lap.sigma_s or _UNKNOWN_SIGMA_S for lap in laps], dtype=float)
    sigma = np.hypot(own, rounding)
    matched, probability = align(official_s, recorded_s, sigma)
    differences = [float(recorded_s[j] - official_s[i]) for i, j in matched]
    agreement = _agreement(differences, [float(sigma[j]) for _, j in matched])
    outliers = () if agreement is None else agreement.outliers
    paired = {i for i, _ in matched}, {j for _, j in matched}
    pairs = tuple(
        Pair(
            official=listed[i],
            lap=laps[j],
            difference_s=differences[index],
            sigma_s=float(sigma[j]),
            probability=float(probability[i, j]),
            outlier=index in outliers,
            sectors_s=_sector_differences(listed[i], laps[j]),
        )
        for index, (i, j) in enumerate(matched)
    )
    return Pairing(
        times=times,
        pairs=pairs,
        official_alone=tuple(listed[i] for i in sorted(set(range(len(listed))) - paired[0])),
        laps_alone=tuple(laps[j] for j in sorted(set(range(len(laps))) - paired[1])),
        agreement=agreement,
        sectors=_sector_agreements(pairs, rounding),
    )


def align(
    official_s: Floats, recorded_s: Floats, sigma_s: Floats
) -> tuple[list[tuple[int, int]], Floats]:
    """Pair two sequences of lap times; see `pair` for the model.

    Parameters
    ----------
    official_s
        Shape (n,), in the order driven.
    recorded_s, sigma_s
        Shape (m,): times, and the uncertainty of their difference from the official ones.

    Returns
    -------
    matched
        Indices into the two, in order.
    probability
        Shape (n, m): how probable each pair is.
    """
    if not len(official_s) or not len(recorded_s):
        return [], np.zeros((len(official_s), len(recorded_s)))
    apart = recorded_s[None, :] - official_s[:, None]
    spread = max(
        0.5 * float(robust_spread(official_s) + robust_spread(recorded_s)),
        _LEAST_SPREAD_S,
        2.0 * float(np.median(sigma_s)),
    )
    gap = math.log(MISSING) - 0.5 * math.log(6.0 * spread)
    shift = _likeliest_shift(apart, sigma_s, gap)
    worth = _worth(apart - shift, sigma_s)
    matched = _best(worth, gap)
    forward, _ = _sums(worth, gap, np.logaddexp)
    backward, _ = _sums(worth[::-1, ::-1], gap, np.logaddexp)
    total = forward[-1, -1]
    probability = np.exp(forward[:-1, :-1] + worth + backward[::-1, ::-1][1:, 1:] - total)
    return matched, probability


def _worth(apart_s: Floats, sigma_s: Floats) -> Floats:
    """Logarithm of the density of a difference between the times of one lap."""
    z = apart_s / sigma_s
    normal = np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
    cauchy = 1.0 / (math.pi * (1.0 + z**2))
    return np.asarray(np.log(((1.0 - _ODD) * normal + _ODD * cauchy) / sigma_s))


def _likeliest_shift(apart_s: Floats, sigma_s: Floats, gap: float) -> float:
    """Find a constant difference, or 0 where none explains the times far better than that."""
    ordered = np.sort(apart_s, axis=None)
    width = 4.0 * float(np.median(sigma_s))
    inside = np.searchsorted(ordered, ordered + width, side="right") - np.arange(len(ordered))
    begin = int(np.argmax(inside))
    shift = float(np.median(ordered[begin : begin + inside[begin]]))
    # A shift can always be chosen that fits one pair, and of many tried some fit by chance.
    pair_worth = float(_worth(np.zeros(1), sigma_s[:1])[0]) - 2.0 * gap
    odds = pair_worth + math.log(len(ordered)) + _SHIFT_ODDS
    shifted, _ = _sums(_worth(apart_s - shift, sigma_s), gap, np.maximum)
    unshifted, _ = _sums(_worth(apart_s, sigma_s), gap, np.maximum)
    return shift if shifted[-1, -1] > unshifted[-1, -1] + odds else 0.0


def _sums(worth: Floats, gap: float, combine: np.ufunc) -> tuple[Floats, Floats]:
    """Score all pairings of the first i official and the first j recorded laps.

    Between two pairs, official laps left alone are counted before recorded ones, so that each
    pairing is counted once.

    Returns
    -------
    every, open_
        Shape (n + 1, m + 1): all pairings; those that do not end with a recorded lap alone.
    """
    count, other = worth.shape
    every = np.full((count + 1, other + 1), -np.inf)
    open_ = np.full((count + 1, other + 1), -np.inf)
    step = gap * np.arange(other + 1)
    open_[0, 0] = 0.0
    every[0] = step
    for i in range(1, count + 1):
        open_[i] = open_[i - 1] + gap
        open_[i, 1:] = combine(open_[i, 1:], every[i - 1, :-1] + worth[i - 1])
        every[i] = combine.accumulate(open_[i] - step) + step
    return every, open_


def _best(worth: Floats, gap: float) -> list[tuple[int, int]]:
    every, open_ = _sums(worth, gap, np.maximum)
    matched = []
    i, j = worth.shape
    while i > 0 and j > 0:
        if open_[i, j] < every[i, j] - 1e-9:
            j -= 1
        elif every[i - 1, j - 1] + worth[i - 1, j - 1] >= open_[i, j] - 1e-9:
            i, j = i - 1, j - 1
            matched.append((i, j))
        else:
            # What is left scores best without a recorded lap alone at its end, as all of it did.
            i -= 1
    return matched[::-1]


def _agreement(differences: Sequence[float], sigmas: Sequence[float | None]) -> Agreement | None:
    if not differences:
        return None
    values = np.array(differences)
    stated_sigmas = [sigma for sigma in sigmas if sigma is not None]
    usual = float(np.median(stated_sigmas)) if stated_sigmas else 0.0
    scale = max(float(robust_spread(values)), usual, 1e-6)
    away = np.abs(values - np.median(values)) > OUTLIER * scale
    if len(values) < _FEWEST_FOR_OUTLIERS:
        away[:] = False
    kept = values[~away]
    spread = float(kept.std(ddof=1)) if len(kept) > 1 else None
    expected = None
    if len(stated_sigmas) == len(values):
        expected = float(np.sqrt(np.mean(np.array(stated_sigmas)[~away] ** 2)))
    return Agreement(
        count=len(kept),
        bias_s=float(kept.mean()),
        bias_sigma_s=None if spread is None else spread / math.sqrt(len(kept)),
        spread_s=spread,
        expected_s=expected,
        outliers=tuple(int(index) for index in np.flatnonzero(away)),
    )


def _sector_differences(official: OfficialLap, lap: Lap) -> tuple[float | None, ...]:
    if len(official.sectors_s) != len(lap.sectors):
        return ()
    return tuple(
        None if theirs is None or ours.time_s is None else ours.time_s - theirs
        for theirs, ours in zip(official.sectors_s, lap.sectors, strict=True)
    )


def _sector_agreements(pairs: Sequence[Pair], rounding: float) -> tuple[Agreement | None, ...]:
    agreements = []
    for index in range(max((len(lap_pair.sectors_s) for lap_pair in pairs), default=0)):
        differences, sigmas = [], []
        for lap_pair in pairs:
            difference = lap_pair.sectors_s[index] if lap_pair.sectors_s else None
            if difference is not None:
                sigma = lap_pair.lap.sectors[index].sigma_s
                differences.append(difference)
                sigmas.append(None if sigma is None else math.hypot(sigma, rounding))
        agreements.append(_agreement(differences, sigmas))
    return tuple(agreements)


def _agreement_row(agreement: Agreement | None) -> dict[str, Any]:
    return {
        "count": 0 if agreement is None else agreement.count,
        "bias_s": None if agreement is None else agreement.bias_s,
        "bias_sigma_s": None if agreement is None else agreement.bias_sigma_s,
        "spread_s": None if agreement is None else agreement.spread_s,
        "expected_spread_s": None if agreement is None else agreement.expected_s,
    }
