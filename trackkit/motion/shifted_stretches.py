"""Stretches of a drive that lie beside all other laps as a whole, found by their likelihood.

Each lap deviates from the line that all repeat as laps do, and is off as receivers wander.  A
stretch that lies beside the line in one direction, through bends that face different ways, as
neither of them makes it, has been shifted: the drive jumped aside there, and back.
"""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.motion.lap_pace import LapPace
from trackkit.motion.line_model import LineLevels, Sideways
from trackkit.motion.line_shifts import SHIFT_M, Shifts, risen
from trackkit.motion.repeated_line import RepeatedLine
from trackkit.motion.tried_shifts import TRIED_RAMP_S, explained_at_most, explaining, tried

_SHORTEST_S, _LONGEST_S = 2.0, 60.0
LEAST_GAIN, AGAIN_GAIN = 14.0, 8.0
"""By how much a shift must raise the logarithm of the likelihood, its size averaged out, to be
believed of a receiver that has not been seen to jump, and of one that has (tried on simulated
sessions, with jumps and without)."""
_PART_S, _BEFORE_S, _AFTER_S = 120.0, 20.0, 20.0
"""Parts in which shifts may come, looked at one after the other, and what is looked at around."""
_LOOKS_S = (4.0, 8.0, 16.0, 32.0)
_SUSPECT = 20.0
"""So large the square of two normal values is once in twenty thousand times."""
_SUSPECT_GAIN = 2.9
"""So many sigmas gained on other laps at once are looked into, too."""
_CHI_MEDIAN = 2.0 * np.log(2.0)
_ISOTROPIC = 0.1
"""So much of what is seen sideways, bends are taken to tell ahead at least."""
_UNSURE_GAIN = 4.0
"""So much more a shift may explain than is promised of steps that come at once, at nodes."""
_MARK_M, _NEIGHBOURS, _FEWEST_NEIGHBOURS = 16.0, 3, 3


def suspected(side: Sideways, rest_m: Floats, pace: LapPace | None) -> Flags:
    """Mark nodes around which a shift is worth looking for.

    Parameters
    ----------
    side
        The drive beside the centreline.
    rest_m
        What line, deviation and error leave of its offsets, shape (n,).
    pace
        Of its laps, or None.

    Returns
    -------
    ndarray
        Shape (n,); hardly any of a drive without shifts.
    """
    time, left = side.time_s, side.left
    pulled = (side.sigma_m**-2.0 * rest_m)[:, None] * left
    facing = left[:, :, None] * left[:, None, :] * np.isfinite(side.sigma_m)[:, None, None]
    pulled, facing = (
        np.concatenate([np.zeros((1, *value.shape[1:])), np.cumsum(value, axis=0)])
        for value in (pulled, facing)
    )
    change = np.zeros(len(time) + 1)
    for span in _LOOKS_S:
        end = np.searchsorted(time, time + span)
        begin = np.flatnonzero(end < len(time))
        end = end[begin]
        pull, matrix = pulled[end] - pulled[begin], facing[end] - facing[begin]
        trace = matrix[:, 0, 0] + matrix[:, 1, 1]
        a, d = (matrix[:, k, k] + _ISOTROPIC * trace + 1e-9 for k in range(2))
        b = matrix[:, 0, 1]
        square = d * pull[:, 0] ** 2 - 2.0 * b * pull[:, 0] * pull[:, 1] + a * pull[:, 1] ** 2
        square /= a * d - b**2
        usual = float(np.median(square)) if len(square) else 0.0
        odd = np.flatnonzero(square * _CHI_MEDIAN > _SUSPECT * usual)
        np.add.at(change, begin[odd], 1.0)
        np.add.at(change, end[odd], -1.0)
    marked = np.cumsum(change)[:-1] > 0.5
    if pace is not None:
        gained, sigma = pace.gained(time)
        marked |= np.abs(gained) > _SUSPECT_GAIN * sigma
    return np.asarray(marked)


def beside_neighbours(side: Sideways, deviation_m: Floats, length_m: float) -> Floats:
    """Tell what the laps just before and after deviate at the same places: their median.

    A driver who changes line does so for many laps; a receiver that jumps does so at a place once.

    Parameters
    ----------
    side
        The drive beside the centreline.
    deviation_m
        From the line that all its laps repeat, shape (n,).
    length_m
        Of the centreline.

    Returns
    -------
    Floats
        Shape (n,); 0 of too few laps.
    """
    count = max(round(length_m / _MARK_M), 4)
    step = np.diff(side.chainage_m)
    step -= length_m * np.round(step / length_m)
    progress = side.chainage_m[:1] + np.concatenate([[0.0], np.cumsum(step)])
    progress = np.maximum.accumulate(progress) * (count / length_m)
    first, last = int(np.floor(progress[0])), int(np.ceil(progress[-1]))
    lap = np.arange(first // count, last // count + 1)
    mark = lap[:, None] * count + np.arange(count + 1)
    inside = (mark >= first) & (mark <= last)
    table = np.where(inside, np.interp(mark, progress, deviation_m), np.nan)
    padded = np.pad(table, ((_NEIGHBOURS, _NEIGHBOURS), (0, 0)), constant_values=np.nan)
    beside = [padded[k : k + len(lap)] for k in range(2 * _NEIGHBOURS + 1) if k != _NEIGHBOURS]
    ordered = np.sort(np.stack(beside), axis=0)
    present = np.isfinite(ordered).sum(axis=0)
    low, high = (np.maximum(present, 1) - 1) // 2, np.maximum(present, 1) // 2
    both = [np.take_along_axis(ordered, place[None], axis=0)[0] for place in (low, high)]
    middle = np.where(present >= _FEWEST_NEIGHBOURS, 0.5 * (both[0] + both[1]), 0.0)
    return np.interp(progress, mark[:, :-1].ravel(), middle[:, :-1].ravel())


def shifted_stretches(
    side: Sideways,
    line_m: Floats,
    levels: LineLevels,
    marked: Flags,
    pace: LapPace | None,
    least_gain: float = LEAST_GAIN,
) -> Shifts | None:
    """Find when a drive is shifted.

    Parameters
    ----------
    side
        The drive beside the centreline.
    line_m
        The repeated line at its nodes, to the left of the centreline, shape (n,).
    levels
        Of its error and of the laps about the line.
    marked
        Nodes around which to look, from `suspected`.
    pace
        Of its laps, or None.

    Returns
    -------
    Shifts or None
        None where it never is.
    """
    time = side.time_s
    rest = side.offset_m - line_m
    shift: list[tuple[int, int]] = []
    size: list[float] = []
    wanted = np.flatnonzero(marked)
    if not len(wanted):
        return None
    promised = explained_at_most(side, rest, levels, pace, (_SHORTEST_S, _LONGEST_S))
    promised[np.isnan(promised)] = np.inf
    changed_s = -np.inf
    place = 0
    while place < len(wanted):
        begin_s = time[wanted[place]] - _BEFORE_S
        last = np.searchsorted(time[wanted], begin_s + _PART_S)
        end_s = min(begin_s + _PART_S, time[wanted[last - 1]] + _BEFORE_S)
        place = int(last)
        low = int(np.searchsorted(time, begin_s - _BEFORE_S))
        high = int(np.searchsorted(time, end_s + _LONGEST_S + _AFTER_S))
        if time[low] > changed_s and promised[low:high].max() < least_gain - _UNSURE_GAIN:
            continue
        part = np.arange(low, high)
        trial = tried(side.only(part), rest[part], levels, pace)
        at = time[low:high][trial.node]
        span = at - at[:, None]
        apart = (span >= _SHORTEST_S) & (span <= _LONGEST_S)
        for first, final, aside in explaining(trial, apart, least_gain):
            # What begins later is left to the next part, which sees more of it.
            if begin_s <= at[first] < end_s:
                shift.append((low + int(trial.node[first]), low + int(trial.node[final])))
                size.append(float(np.hypot(*aside)))
                share = risen(time - at[first], TRIED_RAMP_S)
                share -= risen(time - at[final], TRIED_RAMP_S)
                rest -= share * (side.left @ aside)
                changed_s = max(changed_s, at[final] + TRIED_RAMP_S)
    if not shift:
        return None
    edges = np.array(shift)
    edge_s = time[edges]
    ahead = np.stack([side.left[edges][..., 1], -side.left[edges][..., 0]], axis=-1)
    gained, sigma = np.zeros(edges.shape), np.full(edges.shape, np.inf)
    if pace is not None:
        for end in range(2):
            gained[:, end], sigma[:, end] = pace.gained(edge_s[:, end])
    return Shifts(edge_s[:, 0], edge_s[:, 1], np.array(size), ahead, gained, sigma)


def standing_out(line: RepeatedLine, least_gain: float = LEAST_GAIN) -> Flags:
    """Tell which shifts all laps together bear out, once they are fitted with the line.

    The likelihood without a shift is to that with it as the density that it is nothing, after all
    was seen, to that beforehand (Dickey 1971; from memory).

    Parameters
    ----------
    line
        Fitted with shifts.
    least_gain
        By how much each must raise the logarithm of the likelihood.

    Returns
    -------
    ndarray
        Shape (j,).
    """
    count = 0 if line.shifts is None else line.shifts.count
    kept = np.ones(count, dtype=bool)
    shift, covariance = line.shift_m, line.shift_covariance_m2
    if shift is None or covariance is None:
        return kept
    while kept.any():
        gain = np.full(count, np.inf)
        for place in np.flatnonzero(kept):
            mine = np.array([place, place + 3 * count])
            own = covariance[np.ix_(mine, mine)]
            square = float(shift[mine] @ np.linalg.solve(own, shift[mine]))
            gain[place] = 0.5 * square + 0.5 * float(np.log(np.linalg.det(own) / SHIFT_M**4))
        least = int(np.argmin(gain))
        if gain[least] > least_gain:
            break
        # Without it the others have to explain what it did.
        kept[least] = False
        mine = np.array([least, least + 3 * count])
        share = np.linalg.solve(covariance[np.ix_(mine, mine)], covariance[mine])
        shift = shift - share.T @ shift[mine]
        covariance = covariance - covariance[:, mine] @ share
    return kept
