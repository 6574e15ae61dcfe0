"""How well the laps of a recording are known along them, alone and against each other.

What a lap reaches a place with, and what it takes from one place to another, has an error; so has
the difference of two laps, in which errors of one drive partly cancel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap
from trackkit.timing.passings import fastest_whole, passed_from_line_to_line
from trackkit.track.model import Track

MOST_TOGETHER = 30
"""Of so many laps each is held against each other; of more they are the fastest, which compare."""

Stretch = tuple[int, int]
"""Two places, by their numbers: a lap from one to the other."""


@dataclass(frozen=True, eq=False)
class LapSigmas:
    """Laps at places along them, with one sigma of their times and of the differences of those.

    Parameters
    ----------
    laps
        By the numbers of session and lap; those that are held against each other come first.
    together
        How many those are, t.
    passed_s
        When each lap reached each place, seconds since it began, shape (n, places); NaN where the
        recording does not tell.
    stretch_sigma_s
        Of the time from one end of each stretch to the other, shape (n, stretches).
    pair_sigma_s
        Of the difference of two laps in it, shape (t (t - 1) / 2, stretches): of the first with
        each after it, then of the second, and so on.
    """

    laps: tuple[tuple[int, int], ...]
    together: int
    passed_s: Floats
    stretch_sigma_s: Floats
    pair_sigma_s: Floats


def lap_sigmas(
    track: Track,
    drive: Drive,
    laps: Sequence[Lap],
    chainage_m: Floats,
    stretches: Sequence[Stretch],
) -> LapSigmas:
    """Work out how well laps and their differences are known along some stretches.

    The errors of all laps at all their places belong to one drive, and are correlated as they are
    (JCGM 100, "GUM", section 5.2; from memory).

    Parameters
    ----------
    track
        The track.
    drive
        That the laps are of.
    laps
        Those not driven from line to line past every gate are left out.
    chainage_m
        The places, rising, shape (places,): a lap's first and last are the gates it is timed at.
    stretches
        Between them.
    """
    whole = fastest_whole(laps)
    passed = passed_from_line_to_line(track, drive, whole, chainage_m)
    together = min(len(whole), MOST_TOGETHER)
    groups = [range(together), *([n] for n in range(together, len(whole)))]
    sigma = np.full((len(whole), len(stretches)), np.nan)
    pair_sigma = np.zeros((0, len(stretches)))
    for group in groups:
        if len(group):
            own, of_pairs = _sigmas(drive, [passed[n] for n in group], stretches)
            sigma[list(group)] = own
            pair_sigma = of_pairs if len(group) > 1 else pair_sigma
    return LapSigmas(
        tuple((lap.session, lap.number) for lap in whole),
        together,
        _times(passed) if passed else np.zeros((0, len(chainage_m))),
        sigma,
        pair_sigma,
    )


def _times(passed: Sequence[Sequence[Crossing | None]]) -> Floats:
    time = np.array(
        [[np.nan if place is None else place.time_s for place in lap] for lap in passed]
    )
    return np.asarray(time - time[:, :1])


def _sigmas(
    drive: Drive, passed: Sequence[Sequence[Crossing | None]], stretches: Sequence[Stretch]
) -> tuple[Floats, Floats]:
    """One sigma of laps by stretches, shape (n, stretches), and of the differences of pairs."""
    # The end of a lap is the beginning of the next.
    number: dict[Crossing, int] = {}
    for lap in passed:
        for place in lap:
            if place is not None:
                number.setdefault(place, len(number))
    places = list(number)
    kept = drive.fix_covariance(place.fix for place in places)
    parts = kept.covariances(
        np.array([place.fix for place in places]),
        np.array([place.share for place in places]),
        np.array([place.delay for place in places]),
    )
    where = np.array([[len(places) if p is None else number[p] for p in lap] for lap in passed])
    first, second = np.triu_indices(len(passed), 1)
    variance = np.zeros((len(passed), len(stretches)))
    of_pairs = np.zeros((len(first), len(stretches)))
    for part in parts:
        # What is not known has a number that is none, and the covariance there is NaN.
        padded = np.full((len(places) + 1, len(places) + 1), np.nan)
        padded[:-1, :-1] = part
        for column, (begin, end) in enumerate(stretches):
            a, b = where[:, begin], where[:, end]
            mixed = padded[np.ix_(b, a)]
            of_laps = padded[np.ix_(b, b)] - mixed - mixed.T + padded[np.ix_(a, a)]
            own = np.diag(of_laps)
            variance[:, column] += np.maximum(own, 0.0)
            apart = own[first] + own[second] - 2.0 * of_laps[first, second]
            of_pairs[:, column] += np.maximum(apart, 0.0)
    return np.sqrt(variance), np.sqrt(of_pairs)
