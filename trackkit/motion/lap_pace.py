"""By how much more a lap moves ahead within a moment than other laps do at the same place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, robust_spread
from trackkit.motion.line_model import Sideways

_MARK_M = 12.0
_HALF_S = 1.25
"""A shift comes or goes within twice this; the pace is compared with that of as long a time before
and after."""
_LONGEST_S = 3.0
"""Nodes farther apart tell nothing of what is between them."""
_FEWEST_LAPS = 3
_LEAST_M = 0.2
"""Nobody drives a second so exactly like another lap's, one sigma."""
_WINDOW = 5
_UNSTEADY = 0.5
"""How much of a change of pace before or after may be in what is gained between."""
_MOST_SIGMAS = 3.0
"""Pace never speaks louder than this: drivers brake where they like."""


@dataclass(frozen=True, eq=False)
class LapPace:
    """How much further than other laps a drive has got, as time goes by.

    Parameters
    ----------
    time_s
        When marks along the track are passed, rising, shape (m,).
    ahead_m
        Sum of what was gained on the usual pace since the first of them, shape (m,).
    broken
        How many of the times between marks up to there tell nothing, shape (m,).
    sigma_m
        Of what is gained at each mark, as `gained` tells it, one sigma, shape (m,).
    """

    time_s: Floats
    ahead_m: Floats
    broken: Floats
    sigma_m: Floats

    @classmethod
    def of(cls, side: Sideways, length_m: float) -> LapPace | None:
        """Compare all laps of a drive.

        Parameters
        ----------
        side
            The drive beside the centreline.
        length_m
            Of the centreline.

        Returns
        -------
        LapPace or None
            None of too few laps.
        """
        count = max(round(length_m / _MARK_M), 4)
        spacing = length_m / count
        step = np.diff(side.chainage_m)
        step -= length_m * np.round(step / length_m)
        progress = side.chainage_m[:1] + np.concatenate([[0.0], np.cumsum(step)])
        progress = np.maximum.accumulate(progress)
        first, last = int(np.ceil(progress[0] / spacing)), int(progress[-1] / spacing)
        mark = np.arange(first, last + 1)
        laps = last // count - first // count + 1
        if len(mark) < 2 or laps < _FEWEST_LAPS:
            return None
        time = np.interp(mark * spacing, progress, side.time_s)
        node = np.clip(np.searchsorted(progress, mark * spacing), 1, len(progress) - 1)
        gap = side.time_s[node] - side.time_s[node - 1] > _LONGEST_S
        taken = np.diff(time)
        telling = ~(gap[1:] | gap[:-1]) & (taken > 0)
        lap, place = mark[:-1] // count - first // count, mark[:-1] % count
        usual = _medians(lap, place, np.where(telling, taken, np.nan), (laps, count))[place]
        telling &= np.isfinite(usual)
        gain = np.where(telling, spacing * (1.0 - taken / np.where(telling, usual, 1.0)), 0.0)
        ahead = np.concatenate([[0.0], np.cumsum(gain)])
        broken = np.concatenate([[0.0], np.cumsum(~telling)])
        pace = cls(time, ahead, broken, np.ones(len(time)))
        gained, sigma = pace.gained(time)
        gained = np.where(np.isfinite(sigma), gained, np.nan)
        table = np.full((laps, count), np.nan)
        table[mark // count - first // count, mark % count] = gained
        table = np.concatenate([np.roll(table, k - _WINDOW // 2, axis=1) for k in range(_WINDOW)])
        telling_some = np.isfinite(table).any(axis=0)
        usual_m = max(float(robust_spread(gained)), _LEAST_M) if telling_some.any() else _LEAST_M
        spread = np.full(count, np.nan)
        spread[telling_some] = robust_spread(table[:, telling_some], axis=0)
        by_place = np.maximum(spread[mark % count], usual_m)
        return cls(time, ahead, broken, np.where(np.isfinite(by_place), by_place, usual_m))

    def gained(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Tell what is gained around some times, on the pace just before and after.

        Parameters
        ----------
        time_s
            Shape (k,).

        Returns
        -------
        gained_m, sigma_m
            Shape (k,); sigma is infinite where nothing tells it.
        """
        around = time_s[:, None] + _HALF_S * np.array([-3.0, -1.0, 1.0, 3.0])
        ahead = np.interp(around, self.time_s, self.ahead_m)
        broken = np.interp(around[:, [0, -1]], self.time_s, self.broken)
        before, gained, after = np.diff(ahead, axis=1).T
        gained = gained - 0.5 * (before + after)
        place = np.clip(np.searchsorted(self.time_s, time_s), 0, len(self.time_s) - 1)
        inside = (around[:, 0] >= self.time_s[0]) & (around[:, -1] <= self.time_s[-1])
        told = inside & (broken[:, 1] == broken[:, 0])
        # A lap that is slower for a while, or brakes elsewhere, tells less of what comes between;
        # and what is gained otherwise than by a shift is not normal.
        unsteady = np.maximum(np.abs(before), np.abs(after))
        sigma = np.hypot(self.sigma_m[place], _UNSTEADY * unsteady)
        sigma = np.maximum(sigma, np.abs(gained) / _MOST_SIGMAS)
        return gained, np.where(told, sigma, np.inf)


def _medians(row: np.ndarray, column: np.ndarray, value: Floats, shape: tuple[int, int]) -> Floats:
    """Medians of the columns of a table, of what there is in each; NaN of too few."""
    table = np.full(shape, np.nan)
    table[row, column] = value
    table.sort(axis=0)
    count = np.isfinite(table).sum(axis=0)
    place = np.arange(shape[1])
    low, high = (np.maximum(count, 1) - 1) // 2, np.maximum(count, 1) // 2
    middle = 0.5 * (table[low, place] + table[high, place])
    return np.asarray(np.where(count >= _FEWEST_LAPS, middle, np.nan))
