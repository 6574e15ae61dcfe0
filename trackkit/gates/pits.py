"""Which fixes of a drive are in the pits."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.gates.meant import pit_lane_curves
from trackkit.track.features import Gate
from trackkit.track.model import Track

_ASIDE_M = 2.0
"""Nearer to the line than this a car is on the track, where the pit lane leaves it or joins it."""


def in_pits(track: Track, position_m: Floats, aside_m: Floats) -> Flags:
    """Find the fixes in the pits: nearer to the pit lane than to the line, or between its gates.

    Parameters
    ----------
    track
        The track.
    position_m
        Fixes on its plane in order of time, metres, shape (n, 2).
    aside_m
        Their distance from the line, metres, shape (n,).

    Returns
    -------
    ndarray
        Shape (n,).  From a passage of a pit-entry gate to the next of a pit-exit gate all are.
    """
    inside = np.zeros(len(position_m), dtype=bool)
    for lane in pit_lane_curves(track):
        _, offset = lane.project(position_m)
        inside |= (np.abs(offset) < aside_m) & (aside_m > _ASIDE_M)
    entered = _passages(track, position_m, track.gates_of_kind("pit-entry"))
    left = _passages(track, position_m, track.gates_of_kind("pit-exit"))
    for begin in entered.tolist():
        later = left[left > begin]
        if len(later):
            inside[begin : later[0] + 1] = True
    return inside


def _passages(track: Track, position_m: Floats, gates: tuple[Gate, ...]) -> Indices:
    """Find the fixes after which some gates are crossed from behind to in front, in order."""
    before, step = position_m[:-1], np.diff(position_m, axis=0)
    crossed = np.zeros(len(step), dtype=bool)
    for gate in gates:
        left, right = track.gate_ends(gate)
        span = right - left
        ahead = (before - left) @ np.array([-span[1], span[0]])
        gained = step @ np.array([-span[1], span[0]])
        steps = (ahead < 0.0) & (ahead + gained >= 0.0)
        place = before[steps] - (ahead[steps] / gained[steps])[:, None] * step[steps]
        share = (place - left) @ span / (span @ span)
        crossed[np.flatnonzero(steps)[(share >= 0.0) & (share <= 1.0)]] = True
    return np.flatnonzero(crossed)
