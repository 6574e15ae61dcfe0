"""A second generator for the bench of all laps together: racing lines, with drivers' mistakes.

It shares no code and no model with what is measured, and none with `joint_sessions` but the types
it gives back.  A driver plans the path of least curvature within the track's width (common
practice of line optimisers, no source), drives it as fast as grip, engine and brakes allow, and
makes mistakes: brakes late and runs wide, or is slow out of a corner; and the points he aims for
move from lap to lap.  There is no deviation of a given level and reach.  The receiver's errors are
a slow second-order autoregression, a coloured short noise, and the steps of what it writes.
"""

from __future__ import annotations

import numpy as np
from joint_circuits import Circuit
from joint_sessions import Case, DrivenLine
from scipy.interpolate import CubicSpline
from scipy.optimize import lsq_linear
from scipy.signal import lfilter
from scipy.sparse import csr_matrix

HALF_WIDTH_M = {"car": 5.0, "kart": 3.5}
"""From the centreline to where a driver keeps his wheels."""
GRIP_MPS2 = {"car": 13.0, "kart": 15.0}
TOP_MPS = {"car": 58.0, "kart": 28.0}
PUSH_W_KG = {"car": 190.0, "kart": 75.0}
"""Power over mass."""
_PLAN_M = 8.0
_STEP_M = 1.0
_AIM_M = 60.0
"""Between the points a driver aims for."""
_MISTAKES = 0.6
"""Mistakes a lap."""


def drives_a_racing_line(ground: Circuit, case: Case, random: np.random.Generator) -> DrivenLine:
    """Drive the path of least curvature with mistakes."""
    length, kind = ground.curve.length_m, ground.kind
    count = round(length / _STEP_M)
    step = length / count
    plans = [_plan(ground, random)]
    if case.change != "none":
        plans.append(_plan(ground, random))
    turns = case.laps + 2
    aims = int(np.ceil(turns * length / _AIM_M)) + 4
    skill_m = random.uniform(*case.deviation_m)
    chainage = np.arange(round(0.1 * count), round((turns - 0.1) * count)) * step
    lap = chainage / length - 1.0
    aside = CubicSpline(np.arange(aims) * _AIM_M, skill_m * random.normal(size=aims))(chainage)
    changed = np.clip((lap - 0.5 * case.laps) * 12.0, 0.0, 1.0)
    changed = changed**2 * (3.0 - 2.0 * changed)
    index = np.round(chainage / step).astype(int) % count
    aside += (1.0 - changed) * plans[0][index] + changed * plans[-1][index]
    slower = np.ones(len(chainage))
    for _ in range(random.poisson(_MISTAKES * case.laps)):
        _blunder(chainage, random, aside, slower)
    if case.change == "rain":
        slower *= 1.0 - 0.15 * changed
    # A lap that is hotter or calmer as a whole.
    slower *= np.interp(lap, np.arange(-1.0, turns), 1.0 + 0.005 * random.normal(size=turns + 1))
    slower *= np.where((lap < 0.0) | (lap > case.laps), 0.8, 1.0)
    position = ground.curve.position(chainage)
    position = position + aside[:, None] * ground.curve.left(chainage)
    stride = np.linalg.norm(np.diff(position, axis=0), axis=1)
    speed = _paced(position, stride, slower, kind)
    time = np.concatenate([[0.0], np.cumsum(2.0 * stride / (speed[1:] + speed[:-1]))])
    return DrivenLine(time, position, chainage - length)


def _plan(ground: Circuit, random: np.random.Generator) -> np.ndarray:
    """Path of least curvature within the width, left of the centreline, every `_STEP_M`.

    Quadratic in the offsets where they are small against the radius: the second difference of the
    path across it is what is squared.  Each driver has an own opinion of how wide the track is.
    """
    curve = ground.curve
    count = round(curve.length_m / _PLAN_M)
    place = np.arange(count) * (curve.length_m / count)
    left = curve.left(place)
    point = curve.position(place)
    before, after = np.roll(np.arange(count), 1), np.roll(np.arange(count), -1)
    bend = point[before] - 2.0 * point + point[after]
    rows, columns, values = [], [], []
    for axis in (0, 1):
        for at, weight in ((before, 1.0), (np.arange(count), -2.0), (after, 1.0)):
            rows.append(2 * np.arange(count) + axis)
            columns.append(at)
            values.append(weight * left[at, axis])
    matrix = csr_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))),
        shape=(2 * count, count),
    )
    room = HALF_WIDTH_M[ground.kind] * random.uniform(0.55, 0.85, count)
    room = np.convolve(np.pad(room, 4, mode="wrap"), np.ones(9) / 9.0, mode="valid")
    aside = lsq_linear(matrix, -bend.ravel(), (-room, room), tol=1e-6, max_iter=60).x
    ring = np.append(aside, aside[0])
    through = CubicSpline(np.append(place, curve.length_m), ring, bc_type="periodic")
    fine = round(curve.length_m / _STEP_M)
    return through(np.arange(fine) * (curve.length_m / fine))


def _blunder(
    chainage: np.ndarray, random: np.random.Generator, aside: np.ndarray, slower: np.ndarray
) -> None:
    """Brake late and run wide, or lose the exit: 1 to 2.5 m for 50 to 120 m, and time after it."""
    middle = random.uniform(chainage[0], chainage[-1])
    reach = random.uniform(50.0, 120.0)
    near = np.clip(1.0 - np.abs(chainage - middle) / reach, 0.0, 1.0)
    aside += random.choice([-1.0, 1.0]) * random.uniform(1.0, 2.5) * near**2 * (3.0 - 2.0 * near)
    late = np.clip(1.0 - np.abs(chainage - middle - 0.7 * reach) / (1.5 * reach), 0.0, 1.0)
    slower *= 1.0 - random.uniform(0.02, 0.08) * late**2 * (3.0 - 2.0 * late)


def _paced(position: np.ndarray, stride: np.ndarray, slower: np.ndarray, kind: str) -> np.ndarray:
    """Speed along a path: as fast as grip, power and brakes allow, slower by a factor."""
    heading = np.unwrap(np.arctan2(*np.gradient(position, axis=0).T[::-1]))
    bend = np.abs(np.gradient(heading)) / np.append(stride, stride[-1])
    box = np.ones(9) / 9.0
    bend = np.convolve(np.pad(bend, 4, mode="edge"), box, mode="valid")
    grip, power = GRIP_MPS2[kind], PUSH_W_KG[kind]
    limit = np.minimum(TOP_MPS[kind], np.sqrt(grip / np.maximum(bend, 1e-6))) * slower
    speed = limit.tolist()
    speed[0] = min(speed[0], 4.0)
    for k, way in enumerate(stride.tolist()):
        most = speed[k] ** 2 + 2.0 * way * min(0.55 * grip, power / max(speed[k], 6.0))
        speed[k + 1] = min(speed[k + 1], most**0.5)
    speed[-1] = min(speed[-1], 6.0)
    for k in range(len(stride) - 1, -1, -1):
        speed[k] = min(speed[k], (speed[k + 1] ** 2 + 2.0 * stride[k] * 0.8 * grip) ** 0.5)
    # Nobody goes from full power to full brakes within a metre.
    wide = np.hanning(27)[1:-1]
    return np.convolve(np.pad(speed, 12, mode="edge"), wide / wide.sum(), mode="valid")


def receiver_of_another_kind(
    time_s: np.ndarray, case: Case, random: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Slow errors that are smooth, short errors that are coloured, and steps of what is written.

    Two low passes of half the time constant each make the wander; errors come in steps of a
    centimetre and of 0.01 m/s.
    """
    count = len(time_s)
    burn = int(6.0 * case.wander_s * case.rate_hz)
    slow = random.normal(size=(burn + count, 2))
    kept = np.exp(-2.0 / (case.wander_s * case.rate_hz))
    for _ in range(2):
        slow = lfilter([1.0], [1.0, -kept], slow, axis=0)
    # Two equal poles: the variance of what comes out of unit noise.
    slow *= np.sqrt((1.0 - kept**2) ** 3 / (1.0 + kept**2))
    short = lfilter([1.0], [1.0, -0.6], random.normal(size=(count, 2)), axis=0) * 0.8
    ringing = lfilter([1.0], [1.0, -0.5, 0.3], random.normal(size=(count, 2)), axis=0)
    off = case.wander_m * slow[burn:] + case.white_m * short
    off_mps = case.doppler_mps * ringing / 1.14
    return np.round(off, 2), np.round(off_mps, 2)
