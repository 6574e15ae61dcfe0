"""What stretches of a drive that have jumped aside would explain of how it lies beside a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.motion.chain import Chain
from trackkit.motion.lap_pace import LapPace
from trackkit.motion.line_model import LineLevels, Sideways, prior_information
from trackkit.motion.line_shifts import SHIFT_M, risen
from trackkit.motion.shift_screen import most_explained

_STEP_S = 1.0
"""A shift is tried to come and go at every node that is so much later than the last."""
_MOST_A_PART, _AGAIN = 12, 2
_PACE_WITHIN_S = 3.0
"""What is gained so close to an end of a shift is that shift's."""
TRIED_RAMP_S, _COURSE_M = 1.1, 0.4
"""Over what time a shift is tried to come, and what of its true course that leaves, one sigma."""


@dataclass(frozen=True, eq=False)
class Trial:
    """What steps aside at chosen nodes would explain.

    Parameters
    ----------
    node
        Where steps begin, shape (m,).
    information
        Of steps, east and north, shape (m, 2, m, 2).
    pull
        What the offsets say of each by itself, shape (m, 2).
    time_s
        Of the nodes, shape (m,).
    by_pace, pulled_by_pace
        What the pace says of a step at each besides, shape (m, 2, 2) and (m, 2).
    """

    node: Indices
    information: Floats
    pull: Floats
    time_s: Floats
    by_pace: Floats
    pulled_by_pace: Floats

    def pairs(self, apart: Flags) -> tuple[Floats, Floats]:
        """Rise of the log-likelihood by a step at one node that a later one takes back.

        Parameters
        ----------
        apart
            Which pairs are a possible shift, shape (m, m).

        Returns
        -------
        gain
            Shape (m, m); minus infinity of no shift.
        shift_m
            The likeliest, east and north, shape (m, m, 2).
        """
        place = np.arange(len(self.node))
        own = self.information[place, :, place, :]
        both = self.information.transpose(0, 2, 1, 3)
        matrix = own[:, None] + own[None] - both - both.transpose(0, 1, 3, 2)
        matrix = matrix + self.by_pace[:, None] + self.by_pace[None] + np.eye(2) / SHIFT_M**2
        pull = self.pull + self.pulled_by_pace
        pull = pull[:, None] - pull[None]
        a, b, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 1]
        determinant = a * d - b**2
        east = (d * pull[..., 0] - b * pull[..., 1]) / determinant
        north = (a * pull[..., 1] - b * pull[..., 0]) / determinant
        gain = 0.5 * (east * pull[..., 0] + north * pull[..., 1])
        gain -= 0.5 * np.log(determinant * SHIFT_M**4)
        return np.where(apart, gain, -np.inf), np.stack([east, north], axis=-1)

    def together(self, pairs: Sequence[tuple[int, int]]) -> tuple[float, Floats]:
        """Rise of the log-likelihood by several shifts, and how far each most probably is.

        Parameters
        ----------
        pairs
            The nodes at which each comes and goes, k of them.

        Returns
        -------
        gain
            Their sizes averaged out.
        shift_m
            East and north, shape (k, 2).
        """
        first, last = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
        matrix, flat = self.information, 2 * len(first)
        between = matrix[first][:, :, first] - matrix[first][:, :, last]
        between = between - matrix[last][:, :, first] + matrix[last][:, :, last]
        place = np.arange(len(first))
        between[place, :, place, :] += self.by_pace[first] + self.by_pace[last]
        pull = self.pull + self.pulled_by_pace
        pulled = (pull[first] - pull[last]).ravel()
        own = between.reshape(flat, flat) + np.eye(flat) / SHIFT_M**2
        shift = np.linalg.solve(own, pulled)
        determinant = float(np.linalg.slogdet(own)[1]) + 2.0 * flat * float(np.log(SHIFT_M))
        gain = 0.5 * float(pulled @ shift) - 0.5 * determinant
        return gain, np.asarray(shift.reshape(-1, 2), dtype=float)

    def explained(self, first: int, last: int) -> Trial:
        """Take a shift between two of the nodes as an unknown of its own, of any size."""
        size = 2 * len(self.node)
        full, pull = self.information.reshape(size, size), self.pull.ravel()
        step = np.zeros((size, 2))
        step[2 * first : 2 * first + 2] = np.eye(2)
        step[2 * last : 2 * last + 2] = -np.eye(2)
        of_step = full @ step
        own = step.T @ of_step + np.eye(2) / SHIFT_M**2
        own += self.by_pace[first] + self.by_pace[last]
        by_pace = self.pulled_by_pace[first] - self.pulled_by_pace[last]
        gain = np.linalg.solve(own, of_step.T)
        left = full - of_step @ gain
        pulled = pull - gain.T @ (step.T @ pull + by_pace)
        # What was gained there has been explained, too.
        apart = np.abs(self.time_s[:, None] - self.time_s[[first, last]]).min(axis=1)
        free = apart > _PACE_WITHIN_S
        return Trial(
            self.node,
            left.reshape(self.information.shape),
            pulled.reshape(-1, 2),
            self.time_s,
            self.by_pace * free[:, None, None],
            self.pulled_by_pace * free[:, None],
        )


def explaining(trial: Trial, apart: Flags, least_gain: float) -> list[tuple[int, int, Floats]]:
    """Find the shifts of a part: the likeliest, then the next, and each again beside the others.

    Parameters
    ----------
    trial
        What steps would explain.
    apart
        Which pairs of its nodes are a possible shift.

    Returns
    -------
    list
        Of each the two nodes and how far, east and north, the others being what they most
        probably are.
    """

    def likeliest(others: Trial) -> tuple[float, int, int, Floats]:
        gain, aside = others.pairs(apart)
        first, final = divmod(int(np.argmax(gain)), len(trial.node))
        return float(gain[first, final]), first, final, aside[first, final]

    chosen: list[tuple[int, int]] = []
    left = trial
    while len(chosen) < _MOST_A_PART:
        gain, first, final, _ = likeliest(left)
        if not gain > least_gain:
            break
        chosen.append((first, final))
        left = left.explained(first, final)
    for _ in range(_AGAIN if len(chosen) > 1 else 0):
        before = chosen = _paired_best(trial, chosen, apart, least_gain)
        for pair in before:
            chosen = [other for other in chosen if other != pair]
            left = trial
            for other in chosen:
                left = left.explained(*other)
            gain, first, final, _ = likeliest(left)
            if gain > least_gain:
                chosen = [*chosen, (first, final)]
        if set(chosen) == set(before):
            break
    if not chosen:
        return []
    _, aside = trial.together(chosen)
    return [(*pair, size) for pair, size in zip(chosen, aside, strict=True)]


def _paired_best(
    trial: Trial, pairs: list[tuple[int, int]], apart: Flags, least_gain: float
) -> list[tuple[int, int]]:
    """Pair the nodes at which shifts come and go as is likeliest.

    Of two shifts the likeliest by itself may reach over the gap between both.
    """
    best, _ = trial.together(pairs)
    best -= least_gain * len(pairs)
    improved = True
    while improved:
        improved = False
        for both in combinations(pairs, 2):
            a, b, c, d = sorted((*both[0], *both[1]))
            rest = [pair for pair in pairs if pair not in both]
            ways = ([(a, b), (c, d)], [(a, c), (b, d)], [(a, d), (b, c)], [(a, d)], [(a, b)])
            for way in (*ways, [(c, d)], [(a, c)], [(b, d)]):
                if not all(apart[pair] for pair in way):
                    continue
                gain, _ = trial.together([*rest, *way])
                gain -= least_gain * (len(rest) + len(way))
                if gain > best + 1e-6:
                    pairs, best, improved = [*rest, *way], gain, True
                    break
            if improved:
                break
    return pairs


def explained_at_most(
    side: Sideways,
    rest_m: Floats,
    levels: LineLevels,
    pace: LapPace | None,
    lasting_s: tuple[float, float],
) -> Floats:
    """Say what the likeliest shift that begins at each node of a drive would explain.

    Parameters
    ----------
    side, rest_m, levels, pace
        As for `tried`, of a whole drive.
    lasting_s
        How long a shift is at least and at most.

    Returns
    -------
    Floats
        Rise of the log-likelihood, shape (n,), about as `Trial.pairs` tells it.
    """
    chain, trust, seen = _chain(side, levels)
    by_pace = _by_pace(side, np.arange(len(trust)), pace)
    return most_explained(side, rest_m, trust, chain, seen, by_pace, lasting_s)


def _chain(side: Sideways, levels: LineLevels) -> tuple[Chain, Floats, Floats]:
    """Error and deviation, having seen offsets; the trust in those, and what they see."""
    count, states = len(side.time_s), levels.states
    band, _ = prior_information(side, levels)
    trust = 1.0 / (side.sigma_m**2 + _COURSE_M**2)
    seen = np.zeros((count, states))
    seen[:, :2], seen[:, -2] = side.left, 1.0
    for column in range(states):
        for row in range(column, states):
            band[row - column, column::states] += trust * seen[:, row] * seen[:, column]
    return Chain.of(band, states), trust, seen


def _by_pace(side: Sideways, node: Indices, pace: LapPace | None) -> tuple[Floats, Floats]:
    """Information of the pace about a step at some nodes, and what it pulls that to."""
    if pace is None:
        return np.zeros((len(node), 2, 2)), np.zeros((len(node), 2))
    gained, sigma = pace.gained(side.time_s[node])
    ahead = np.stack([side.left[node, 1], -side.left[node, 0]], axis=1)
    weight = sigma[:, None] ** -2.0 * ahead
    return weight[:, :, None] * ahead[:, None, :], gained[:, None] * weight


def tried(side: Sideways, rest_m: Floats, levels: LineLevels, pace: LapPace | None) -> Trial:
    """Work out what steps at every second or so would explain of a part of a drive.

    Parameters
    ----------
    side
        The part.
    rest_m
        How far it lies to the left of the repeated line, shape (n,).
    levels
        Of its error and of the laps about the line.
    pace
        Of all laps, or None.
    """
    chain, trust, seen = _chain(side, levels)
    count, states = seen.shape
    second = np.floor((side.time_s - side.time_s[0]) / _STEP_S)
    node = np.flatnonzero(np.diff(second, prepend=second[0] - 1.0) > 0)
    after = risen(side.time_s[:, None] - side.time_s[node], TRIED_RAMP_S)
    step = (after[:, :, None] * side.left[:, None, :]).reshape(count, -1)
    weighted = trust[:, None] * step
    right = (seen[:, :, None] * weighted[:, None, :]).reshape(count * states, -1)
    information = step.T @ weighted - chain.squared(right)
    alone = chain.solved(((trust * rest_m)[:, None] * seen).reshape(-1, 1))
    explained = np.einsum("ij,ij->i", seen, alone.reshape(count, states))
    pull = (step.T @ (trust * (rest_m - explained))).reshape(-1, 2)
    information = information.reshape(len(node), 2, len(node), 2)
    by_pace, pulled = _by_pace(side, node, pace)
    return Trial(node, information, pull, side.time_s[node], by_pace, pulled)
